"""One record into the book from a file that a person wrote, or a spectrum file."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from truekev.bench.settings import batch_from_mapping
from truekev.book.body import Body
from truekev.book.book import Book
from truekev.book.kinds import body_from_mapping
from truekev.book.records import BookRecord, NewFile
from truekev.book.spectra import add_spectrum_file
from truekev.book.work import Batch, Picture, SpectrumFile
from truekev.errors import FileFormatError, InputError
from truekev.sources.settings import read_source_file

__all__ = ["add_from_file", "batch_body"]

_PICTURES = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".pdf": "application/pdf"}
_LARGEST_TOML = 4 * 1024 * 1024


def add_from_file(
    book: Book, kind: str, path: str | Path, *, place: str = "", supersedes: int | None = None
) -> BookRecord[Body]:
    """Add what stands in a file as a record of a kind.

    Parameters
    ----------
    book : Book
        Where it goes.
    kind : str
        "spectrum": any spectrum file. "batch": a batch file. "source": a source file. "picture": an image. Any other
        kind: a TOML file with the fields of that kind.
    path : path
        The file.
    place : str
        Where the thing stands, for a source.
    supersedes : int, optional
        The record that it takes the place of.

    Raises
    ------
    InputError
        The file cannot be read or does not hold what the kind needs.
    """
    file = Path(path)
    if kind == SpectrumFile.kind:
        if supersedes is not None:
            raise InputError("a spectrum is not superseded by another file: withdraw it, then add the right one.")
        return _any(add_spectrum_file(book, file))
    if kind == Picture.kind:
        return _picture(book, file, supersedes)
    if kind == Batch.kind:
        body: Body = batch_body(_text(file), str(file))
    elif kind == "source":
        description = read_source_file(file)
        body = body_from_mapping(
            kind, {"name": description.name, "description": _text(file), "place": place or "not said"}, file=str(file)
        )
    else:
        body = body_from_mapping(kind, _entries(_text(file), str(file)), file=str(file))
    return book.add(body, supersedes=supersedes)


def batch_body(text: str, file: str) -> Batch:
    """The record of a batch from the text of a batch file.

    Raises
    ------
    FileFormatError
        It is not TOML, or a field is wrong.
    """
    batch = batch_from_mapping(_entries(text, file), file=file)
    settings = batch.model_dump(mode="json", by_alias=True, exclude_none=True)
    return Batch(name=batch.name, settings=settings, text=text)


def _any(record: BookRecord[Any]) -> BookRecord[Body]:
    return record


def _picture(book: Book, file: Path, supersedes: int | None) -> BookRecord[Body]:
    media_type = _PICTURES.get(file.suffix.lower())
    if media_type is None:
        raise FileFormatError(f"pictures end in {', '.join(_PICTURES)}.", file=file)
    new = NewFile(_bytes(file), media_type)
    body = Picture(name=file.name, file_sha256=new.sha256, file_name=file.name)
    return _any(book.add(body, files=[new], supersedes=supersedes))


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise FileFormatError(f"cannot be read ({error.strerror}).", file=file) from error


def _text(file: Path) -> str:
    data = _bytes(file)
    if len(data) > _LARGEST_TOML:
        raise FileFormatError("is too large for a file that a person writes.", file=file)
    try:
        return data.decode().replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise FileFormatError("is not text in UTF-8; save it as UTF-8.", file=file) from None


def _entries(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileFormatError(f"is not valid TOML: {error}.", file=file) from None
