"""A sheet as PDF/A, typeset by typst with the fonts that come with it."""

from __future__ import annotations

import json
import re
import tempfile
from dataclasses import asdict, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from truekev.errors import StoreError
from truekev.sheets.content import Figure, Sheet, texts_of
from truekev.sheets.trefoil import trefoil_svg

__all__ = ["sheet_pdf"]

_FONTS = ("Libertinus Serif", "New Computer Modern Math", "DejaVu Sans Mono")
_STANDARD: Literal["a-2b"] = "a-2b"  # refuses a glyph that no font has, so none is ever missing on paper
_LONG_WORD = re.compile(r"\S{18}(?=\S)")  # may be broken there, so that no word runs out of its column
_NO_GLYPH = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)


def sheet_pdf(sheet: Sheet) -> bytes:
    """The sheet as PDF/A-2b; the same content gives the same bytes.

    A character that no font of typst has is written as its number, as [U+5BA4].

    Raises
    ------
    StoreError
        The sheet cannot be typeset; says what typst said.
    """
    import typst

    unusual = {c for text in texts_of(sheet) for c in text if not " " <= c <= "~"}
    absent = {ord(c): f"[U+{ord(c):04X}]" for c in unusual if not _has_glyph(c)}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "sheet.typ").write_bytes(resources.files("truekev.sheets").joinpath("sheet.typ").read_bytes())
        (folder / "sheet.json").write_text(json.dumps(_plain(sheet, folder, absent)), encoding="utf-8")
        (folder / "trefoil.svg").write_text(trefoil_svg(), encoding="utf-8")
        try:
            compiler = typst.Compiler(input=str(folder / "sheet.typ"), root=name, ignore_system_fonts=True)
            made = compiler.compile(format="pdf", pdf_standards=_STANDARD, timestamp=0)
        except typst.TypstError as error:
            raise StoreError(f"sheet {sheet.title!r}: cannot be typeset ({error.message}).") from error
    assert isinstance(made, bytes)
    return made


@cache
def _has_glyph(character: str) -> bool:
    """True where one of the fonts has the character."""
    import typst

    fonts = ", ".join(f'"{name}"' for name in _FONTS)
    source = f"#set text(font: ({fonts}))\n#sys.inputs.character".encode()
    compiler = typst.Compiler(input=source, ignore_system_fonts=True, sys_inputs={"character": character})
    try:
        compiler.compile(format="pdf", pdf_standards=_STANDARD)
    except typst.TypstError as error:
        if _NO_GLYPH.search(error.message):
            return False
        raise
    return True


def _plain(sheet: Sheet, folder: Path, absent: dict[int, str]) -> dict[str, Any]:
    """The sheet as plain values for typst; pictures become files in the folder."""
    parts = []
    for number, part in enumerate(sheet.parts):
        entry: dict[str, Any] = {"form": type(part).__name__}
        if isinstance(part, Figure):
            entry["file"] = f"figure-{number}.png"
            (folder / entry["file"]).write_bytes(part.png)
            entry |= {"caption": part.caption, "alternative": part.alternative}
        else:
            entry |= asdict(part)
        parts.append(entry)
    document = asdict(replace(sheet, parts=())) | {"parts": parts}
    plain: dict[str, Any] = _translated(document, absent)
    return plain


def _translated(value: Any, absent: dict[int, str]) -> Any:
    if isinstance(value, str):
        return _LONG_WORD.sub("\\g<0>\u200b", value.translate(absent))
    if isinstance(value, dict):
        return {key: _translated(item, absent) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_translated(item, absent) for item in value]
    return value
