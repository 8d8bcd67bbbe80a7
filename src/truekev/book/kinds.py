"""All kinds of record by their word, and reading a stored body back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from truekev.book import things, work
from truekev.book.body import Body
from truekev.errors import FileFormatError, UnknownNameError

__all__ = ["KINDS", "body_from_mapping", "kind_named"]

KINDS: dict[str, type[Body]] = {
    body.kind: body
    for body in (
        things.Stock,
        work.Batch,
        work.Recovery,
        things.Source,
        things.Find,
        things.Waste,
        things.Departure,
        things.Upkeep,
        things.HouseMove,
        things.Instrument,
        work.SpectrumFile,
        work.Scale,
        work.Relock,
        work.Sample,
        work.Result,
        work.Authority,
        work.Note,
        work.Picture,
        work.Withdrawn,
    )
}


def kind_named(kind: str) -> type[Body]:
    """The model of a kind.

    Raises
    ------
    UnknownNameError
        No such kind in this version.
    """
    if kind not in KINDS:
        raise UnknownNameError("kind of record", kind, KINDS, "A newer truekev may know it.")
    return KINDS[kind]


def body_from_mapping(kind: str, entries: Mapping[str, Any], *, file: str | None = None) -> Body:
    """A checked body from plain values, as a form or a file gives them.

    Raises
    ------
    FileFormatError
        A field is missing, unknown or out of range; every such field is named.
    UnknownNameError
        No such kind.
    """
    model = kind_named(kind)
    try:
        return model.model_validate(entries)
    except ValidationError as error:
        said = [
            (".".join(map(str, item["loc"])) or kind, item["msg"].removeprefix("Value error, "))
            for item in error.errors()
        ]
        rest = "".join(f"; {field}: {message}" for field, message in said[1:])
        raise FileFormatError(f"{said[0][1]}{rest}.", file=file, field=said[0][0]) from None
