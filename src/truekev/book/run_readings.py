"""Readings of a run in the book: appended, and corrected by later ones that take their place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, Row, func, insert, or_, select, true

from truekev.bench.readings import READING_KEYS, Readings
from truekev.book.body import Line
from truekev.book.book import Book
from truekev.book.layout import readings
from truekev.book.work import Batch
from truekev.errors import InputError, OutOfRangeError, RefusedError

__all__ = ["BookReading", "NewReading", "add_readings", "last_readings", "newest_reading", "readings_of"]

_EPOCH = datetime(1970, 1, 1)
_FIELDS = tuple(column for column, *_ in READING_KEYS.values())
_LIMITS = {column: (lowest, highest, unit) for column, unit, lowest, highest in READING_KEYS.values()}
_BATCH = 10_000


@dataclass(frozen=True)
class NewReading:
    """A reading to note: local time, and what was read (None: not read).

    `supersedes` names a reading that this one takes the place of; with nothing read it strikes that one out.
    """

    at: datetime
    current_a: float | None = None
    voltage_v: float | None = None
    temperature_degc: float | None = None
    free_hydroxide_mol_l: float | None = None
    mass_g: float | None = None
    level_ml: float | None = None
    remark: Line = ""
    supersedes: int | None = None

    def __post_init__(self) -> None:
        if self.at.tzinfo is not None:
            raise OutOfRangeError(f"{self.at.isoformat()}: times of readings are local; leave out the offset.")
        given = {name: value for name in _FIELDS if (value := getattr(self, name)) is not None}
        for name, value in given.items():
            lowest, highest, unit = _LIMITS[name]
            if not (math.isfinite(value) and lowest <= value <= highest):
                raise OutOfRangeError(f"{name} {value!r}: it must lie between {lowest:g} and {highest:g} {unit}.")
        if not given and self.supersedes is None and not self.remark:
            raise InputError("nothing to note: give at least one value.")
        if len(self.remark) > 300 or not self.remark.isprintable():
            raise InputError("remark: one line of at most 300 characters.")


@dataclass(frozen=True)
class BookReading:
    """A reading as it stands in the book."""

    id: int
    batch_id: int
    reading: NewReading
    created: datetime


def _clock_s(at: datetime) -> float:
    return (at - _EPOCH).total_seconds()


def add_readings(book: Book, batch_id: int, new: Sequence[NewReading]) -> range:
    """Append readings to a batch, all or none; returns their numbers.

    Raises
    ------
    InputError
        No such batch, or a reading to supersede that is not of this batch.
    StoreError
        Nothing could be written.
    """
    first = book.get_as(batch_id, Batch).first_id
    created = book.now().isoformat()
    with book.writing() as connection:
        next_id = (connection.scalar(select(func.max(readings.c.id))) or 0) + 1
        for one in new:
            if one.supersedes is None:
                continue
            of = connection.scalar(select(readings.c.batch_id).where(readings.c.id == one.supersedes))
            if of != first:
                raise InputError(f"reading {one.supersedes}: batch {batch_id} has none of that number.")
            if connection.scalar(select(readings.c.id).where(readings.c.supersedes == one.supersedes)) is not None:
                raise RefusedError(f"Reading {one.supersedes} was superseded already.", "look at the newest one.")
        rows = [
            {
                "id": next_id + i,
                "batch_id": first,
                "clock_s": _clock_s(one.at),
                **{name: getattr(one, name) for name in _FIELDS},
                "remark": one.remark,
                "created": created,
                "supersedes": one.supersedes,
            }
            for i, one in enumerate(new)
        ]
        for start in range(0, len(rows), _BATCH):
            connection.execute(insert(readings), rows[start : start + _BATCH])
    return range(next_id, next_id + len(new))


_later = readings.alias("later")
_FROM = readings.outerjoin(_later, _later.c.supersedes == readings.c.id)


def newest_reading(book: Book, batch_id: int) -> int:
    """Number of the reading of a batch that was written last, corrections among them; 0 where there is none."""
    first = book.get_as(batch_id, Batch).first_id
    with book.reading() as connection:
        return connection.scalar(select(func.max(readings.c.id)).where(readings.c.batch_id == first)) or 0


def last_readings(book: Book, batch_id: int, n: int = 20) -> tuple[BookReading, ...]:
    """The last `n` readings of a batch by their clock, newest first, corrected ones in place of the wrong."""
    first = book.get_as(batch_id, Batch).first_id
    query = (
        select(readings)
        .select_from(_FROM)
        .where(readings.c.batch_id == first, _later.c.id.is_(None))
        .order_by(readings.c.clock_s.desc(), readings.c.id.desc())
        .limit(n)
    )
    with book.reading() as connection:
        return tuple(_reading(row) for row in connection.execute(query))


def readings_of(book: Book, batch_id: int, *, thin_to_every: int = 1) -> Readings:
    """Readings of a batch in the order of their clock, as the bench follows them; struck ones are left out.

    Parameters
    ----------
    book : Book
        Where they are.
    batch_id : int
        Any record of the batch.
    thin_to_every : int
        For pictures of long runs: only every so many, but all weighings, titrations, levels and remarks. Following a
        run needs all of them.
    """
    first = book.get_as(batch_id, Batch).first_id
    columns = [readings.c.clock_s, *(readings.c[name] for name in _FIELDS)]
    query = (
        select(*columns)
        .select_from(_FROM)
        .where(readings.c.batch_id == first, _later.c.id.is_(None), _thinning(thin_to_every))
        .order_by(readings.c.clock_s, readings.c.id)
    )
    with book.reading() as connection:
        rows = np.array([tuple(row) for row in connection.execute(query)], dtype=np.float64)
    rows = rows.reshape(-1, len(columns))
    rows = rows[np.isfinite(rows[:, 1:]).any(axis=1)]
    by_column: dict[str, Any] = {name: rows[:, i] for i, name in enumerate(_FIELDS, start=1)}
    return Readings(
        clock_s=rows[:, 0],
        **by_column,
        elapsed=False,
        file=f"{book.path.name}, batch {batch_id}",
    )


def _thinning(every: int) -> ColumnElement[bool]:
    if every <= 1:
        return true()
    rare = (readings.c.mass_g, readings.c.free_hydroxide_mol_l, readings.c.level_ml)
    return or_(readings.c.id % every == 0, readings.c.remark != "", *(column.is_not(None) for column in rare))


def _reading(row: Row[Any]) -> BookReading:
    return BookReading(
        row.id,
        row.batch_id,
        NewReading(
            _EPOCH + timedelta(seconds=row.clock_s),
            **{name: getattr(row, name) for name in _FIELDS},
            remark=row.remark,
            supersedes=row.supersedes,
        ),
        datetime.fromisoformat(row.created).astimezone(UTC),
    )
