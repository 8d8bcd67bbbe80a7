"""What a person sent with a form: texts, numbers, days, files; and the token that shows the form was ours."""

from __future__ import annotations

import hmac
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from fastapi import Depends, Request
from pydantic import ValidationError
from starlette.datastructures import UploadFile

from truekev.book.body import Value
from truekev.errors import InputError, RefusedError

__all__ = ["TOKEN", "Posted", "PostedForm", "SentFile", "checked"]

_MOST_FIELDS, _MOST_FILES = 400, 301
TOKEN = "form_token"


@dataclass(frozen=True)
class SentFile:
    """A file as it was sent; its name is only ever shown, never a place on the disk."""

    name: str
    data: bytes


@dataclass(frozen=True)
class Posted:
    """The fields and files of a form: `files` the last of each name, `sent` every one with its name."""

    fields: dict[str, tuple[str, ...]]
    files: dict[str, SentFile]
    sent: tuple[tuple[str, SentFile], ...] = ()

    def text(self, name: str) -> str:
        """The text of a field, blanks around it cut; empty if it was not sent."""
        return self.fields.get(name, ("",))[-1].strip().replace("\r\n", "\n")

    def all_files(self, name: str) -> tuple[SentFile, ...]:
        """Every file of a field that takes several."""
        return tuple(file for of, file in self.sent if of == name)

    @property
    def shown(self) -> dict[str, str]:
        """Every field's last text, to fill a form with again."""
        return {name: values[-1] for name, values in self.fields.items()}

    def many(self, name: str) -> tuple[str, ...]:
        """All texts of a field that can be chosen several times."""
        return tuple(text.strip() for text in self.fields.get(name, ()) if text.strip())

    def numbers_of_records(self, name: str) -> tuple[int, ...]:
        """Records that were chosen."""
        return tuple(_whole(text, name) for text in self.many(name))

    def record(self, name: str) -> int | None:
        """The one record that was chosen, or None."""
        return _whole(text, name) if (text := self.text(name)) else None

    def number(self, name: str, label: str = "") -> float | None:
        """A number, or None if the field is empty; a comma may stand for the point.

        Raises
        ------
        InputError
            It is no finite number.
        """
        text = self.text(name)
        if not text:
            return None
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(f"{label or name}: {text[:40]!r} is not a number.")
        return value

    def needed(self, name: str, label: str = "") -> float:
        """A number that must be given."""
        value = self.number(name, label)
        if value is None:
            raise InputError(f"{label or name}: a number is needed.")
        return value

    def measured(self, name: str, unit: str) -> Value | None:
        """A value with its standard uncertainty from the fields NAME and NAME.u; None if both are empty."""
        value, u = self.number(name), self.number(f"{name}.u")
        if value is None and u is None:
            return None
        if value is None or u is None:
            raise InputError(f"{name}: give the value and its standard uncertainty, or neither.")
        if u < 0:
            raise InputError(f"{name}: a standard uncertainty is never negative.")
        return Value(value=value, u=u, unit=unit)

    def day(self, name: str) -> date:
        """A day; today if the field is empty."""
        text = self.text(name)
        try:
            return date.fromisoformat(text) if text else date.today()
        except ValueError:
            raise InputError(f"{name}: {text[:40]!r} is no day; write it as 2027-03-01.") from None

    def moment(self, name: str) -> datetime:
        """A local time; now if the field is empty."""
        text = self.text(name)
        try:
            return datetime.fromisoformat(text) if text else datetime.now().replace(microsecond=0)
        except ValueError:
            raise InputError(f"{name}: {text[:40]!r} is no time; write it as 2027-03-01T14:30.") from None


@contextmanager
def checked() -> Iterator[None]:
    """Turn what a record's model says against a form into words.

    Raises
    ------
    InputError
        Some field cannot be; every such field is named.
    """
    try:
        yield
    except ValidationError as error:
        told = [f"{' '.join(str(part) for part in item['loc'])}: {item['msg']}" for item in error.errors()]
        raise InputError("; ".join(told).replace("_", " ").replace("Value error, ", "") + ".") from None


def _whole(text: str, name: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 15):
        raise InputError(f"{name}: {text[:40]!r} is not the number of a record.")
    return int(text)


async def _posted(request: Request) -> Posted:
    """Read a form; refuse it where its token is not the one this server gave out."""
    form = await request.form(max_files=_MOST_FILES, max_fields=_MOST_FIELDS)
    fields: dict[str, tuple[str, ...]] = {}
    sent: list[tuple[str, SentFile]] = []
    for name, item in form.multi_items():
        if isinstance(item, UploadFile):
            if item.filename:
                sent.append((name, SentFile(item.filename, await item.read())))
        else:
            fields[name] = (*fields.get(name, ()), item)
    await form.close()
    given = fields.pop(TOKEN, ("",))[-1]
    if not hmac.compare_digest(given.encode(), request.app.state.site.token.encode()):
        raise RefusedError("This form does not come from this server's pages, or the server was started anew.",
                           "open the page again and send it once more.")  # fmt: skip
    return Posted(fields, dict(sent), tuple(sent))


PostedForm = Annotated[Posted, Depends(_posted)]
