"""What all kinds of record have in common: a name, what they refer to, which files they hold."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, ClassVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from truekev.quantity import Measured

__all__ = [
    "Body",
    "Day",
    "InputRecord",
    "Line",
    "Moment",
    "NotNegative",
    "Positive",
    "Prose",
    "RecordId",
    "Sha256",
    "Value",
]


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("it holds a line break or another character that cannot be printed; use one plain line")
    return text


def _prose(text: str) -> str:
    if any(not (c.isprintable() or c in "\n\t") for c in text):
        raise ValueError("it holds a character that cannot be printed")
    return text


def _local(moment: datetime) -> datetime:
    if moment.tzinfo is not None:
        raise ValueError("times in the book are local; leave out the offset from universal time")
    return moment


Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=300), AfterValidator(_one_line)]
Name = Annotated[Line, Field(min_length=1)]
Prose = Annotated[str, StringConstraints(max_length=200_000), AfterValidator(_prose)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
RecordId = Annotated[int, Field(gt=0, lt=2**53)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Moment = Annotated[datetime, AfterValidator(_local)]
Day = date


class Value(BaseModel):
    """A value with its standard uncertainty and unit, as stored; `measured` gives the program's own type."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    value: Annotated[float, Field(allow_inf_nan=False)]
    u: NotNegative
    unit: Line = ""

    @classmethod
    def of(cls, measured: Measured) -> Value:
        """The stored form of a measured value."""
        return cls(value=measured.value, u=measured.u, unit=measured.unit)

    @property
    def measured(self) -> Measured:
        """The value as the rest of the program takes it."""
        return Measured(self.value, self.u, self.unit)


class InputRecord(BaseModel):
    """A record that went into a result, with the sha256 it had."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    id: RecordId
    sha256: Sha256


class Body(BaseModel):
    """Base of every kind of record.

    `kind` is the word by which the book knows it; `refers` names the fields that hold numbers of other records with
    the kinds allowed there (none named: any); `files` names the fields that hold the sha256 of a stored file.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    kind: ClassVar[str] = ""
    refers: ClassVar[dict[str, tuple[str, ...]]] = {}
    files: ClassVar[tuple[str, ...]] = ()

    name: Name

    def references(self) -> list[tuple[str, int]]:
        """Every record that this one refers to: (field, number of the record)."""
        found: list[tuple[str, int]] = []
        for field in self.refers:
            value = getattr(self, field)
            for item in () if value is None else value if isinstance(value, tuple) else (value,):
                found.append((field, item.id if isinstance(item, InputRecord) else item))
        return found

    def file_hashes(self) -> list[tuple[str, str]]:
        """Every stored file that this record holds: (field, sha256)."""
        return [(field, value) for field in self.files if (value := getattr(self, field))]
