"""What is wrong with a batch file, in words: every field that cannot be, with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
import typing
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from truekev.errors import FileFormatError
from truekev.toml_text import line_of_key

__all__ = ["entries_of", "format_error"]

Path = tuple[str | int, ...]


def entries_of(text: str, file: str) -> dict[str, Any]:
    """The entries of a TOML text.

    Raises
    ------
    FileFormatError
        It is no TOML; says where, and names the decimal comma where that is the reason.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"line (\d+)", str(error))
        line = int(at[1]) if at else len(text.splitlines())
        said = re.sub(r"\s*\(at .*\)", "", str(error))
        written = text.splitlines()[line - 1] if 0 < line <= len(text.splitlines()) else ""
        comma = re.match(r"\s*[\w-]+\s*=\s*\d+,\d", written)
        advice = "; decimals are written with a point, as 30.5" if comma else f" in {written.strip()[:60]!r}"
        raise FileFormatError(f"is not valid TOML: {said}{advice}.", file=file, line=line) from None


def format_error(
    error: ValidationError, model: type[BaseModel], *, file: str | None, text: str | None
) -> FileFormatError:
    """One error that names every wrong field; line and field are those of the first."""
    found = error.errors()
    inner = [item for item in found if not _only_follows(item, found)]
    problems = [(item["loc"], _in_words(item, model)) for item in inner]
    path, first = problems[0]
    rest = "".join(f"; {_name(loc)} {words}" for loc, words in problems[1:])
    line = None if text is None else line_of_key(text, path)
    advice = "'truekev new batch' prints a commented template."
    return FileFormatError(f"{first}{rest}. {advice}", file=file, line=line, field=_name(path) or "batch")


def _only_follows(item: Mapping[str, Any], found: list[Any]) -> bool:
    """A list that is called too short because its entries are wrong."""
    return item["type"] == "too_short" and any(
        len(other["loc"]) > len(item["loc"]) and other["loc"][: len(item["loc"])] == item["loc"] for other in found
    )


def _name(path: Path) -> str:
    name = ""
    for part in path:
        name += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if name else part
    return name


def _in_words(item: Mapping[str, Any], model: type[BaseModel]) -> str:
    match item["type"]:
        case "missing":
            return "is missing"
        case "extra_forbidden":
            known = _fields_at(model, item["loc"][:-1])
            near = difflib.get_close_matches(str(item["loc"][-1]), known, n=2, cutoff=0.5)
            return "is no field there" + (f" ({' or '.join(near)}?)" if near else "")
        case "value_error":
            return str(item["ctx"]["error"])
        case "literal_error":
            return f"{item['input']!r} was given; it must be {item['ctx']['expected']}"
        case _:
            said = item["msg"].removeprefix("Input ")
            return f"{item['input']!r} was given; it {said[0].lower()}{said[1:]}"


def _fields_at(model: type[BaseModel], path: Path) -> list[str]:
    """Names that may stand in the table at a path."""
    here = model
    for part in path:
        if isinstance(part, str) and part in here.model_fields:
            here = next(iter(_models_in(here.model_fields[part].annotation)), here)
    return [field.alias or name for name, field in here.model_fields.items()]


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [one for argument in typing.get_args(annotation) for one in _models_in(argument)]
