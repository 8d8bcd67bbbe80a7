"""Fields of a form read one by one; what is wrong with one is kept under its name, and said beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TypeVar

from truekev.book.body import Value
from truekev.errors import InputError
from truekev.web.forms import Posted
from truekev.web.record_form import FormField

__all__ = ["Asked", "FieldGroup", "shown_groups"]

T = TypeVar("T")


@dataclass(frozen=True)
class FieldGroup:
    """Fields that belong together; `folded` ones open on demand, or where one of them is wrong."""

    title: str
    fields: tuple[FormField, ...]
    folded: bool = False

    @property
    def wrong(self) -> bool:
        """Whether something is to be mended in it."""
        return any(one.problem for one in self.fields)


@dataclass
class Asked:
    """What was sent, read with `wrong` filling up: the field's name to a sentence."""

    posted: Posted
    wrong: dict[str, str] = field(default_factory=dict)

    def noted(self, name: str, read: Callable[[], T]) -> T | None:
        """What `read` gives; None, and the problem noted under the name, where it cannot be."""
        try:
            return read()
        except InputError as error:
            self.wrong.setdefault(name, str(error))
            return None

    def number(
        self, name: str, label: str, *, least: float | None = None, most: float | None = None, needed: bool = False
    ) -> float | None:
        """A number between bounds, which are allowed themselves."""

        def read() -> float | None:
            value = self.posted.needed(name, label) if needed else self.posted.number(name, label)
            if value is not None and least is not None and value < least:
                raise InputError(f"{label}: {value:g} is below {least:g}.")
            if value is not None and most is not None and value > most:
                raise InputError(f"{label}: {value:g} is above {most:g}.")
            return value

        return self.noted(name, read)

    def measured(self, name: str, label: str, unit: str, *, above_zero: bool = False) -> Value | None:
        """A value with its standard uncertainty; with `above_zero` both must be."""

        def read() -> Value | None:
            for part in (name, f"{name}.u"):
                self.posted.number(part, label)
            value = self.posted.measured(name, unit)
            if value is not None and above_zero and not (value.value > 0 and value.u > 0):
                raise InputError(f"{label}: value and uncertainty must be above zero.")
            return value

        return self.noted(name, read)

    def day(self, name: str, label: str) -> date | None:
        """A day, or None if the field is empty."""

        def read() -> date | None:
            text = self.posted.text(name)
            try:
                return date.fromisoformat(text) if text else None
            except ValueError:
                raise InputError(f"{label}: {text[:40]!r} is no day; write it as 2027-03-01.") from None

        return self.noted(name, read)

    def record(self, name: str, label: str, choices: Mapping[int, str], *, needed: bool = False) -> int | None:
        """One of the records that were offered."""

        def read() -> int | None:
            number = self.posted.record(name)
            if number is None and needed:
                raise InputError(f"{label}: choose one.")
            if number is not None and number not in choices:
                raise InputError(f"{label}: record {number} is none of those offered; choose again.")
            return number

        return self.noted(name, read)


def shown_groups(
    groups: tuple[FieldGroup, ...], posted: Posted, wrong: Mapping[str, str], *, filled: bool
) -> tuple[FieldGroup, ...]:
    """The groups filled with what was sent, each problem at its field; usual values where nothing was sent."""
    return tuple(replace(of, fields=tuple(_shown(one, posted, wrong, filled) for one in of.fields)) for of in groups)


def _shown(one: FormField, posted: Posted, wrong: Mapping[str, str], filled: bool) -> FormField:
    value = one.value
    if one.name in posted.fields or (filled and one.form in ("yes", "records")):
        value = posted.text(one.name)
        if one.form == "value":
            value = (value, posted.text(f"{one.name}.u"))
        elif one.form == "records":
            value = posted.many(one.name)
    return replace(one, value=value, problem=wrong.get(one.name, ""))
