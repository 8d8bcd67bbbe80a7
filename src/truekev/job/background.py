"""The question: which background counts today? A moved house retires all that were counted before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import HouseMove
from truekev.book.work import SpectrumFile
from truekev.errors import RefusedError

__all__ = ["BackgroundStanding", "background_in_force", "background_standing"]


@dataclass(frozen=True)
class BackgroundStanding:
    """The background in force on a day (None: there is none), those that a move retired, and the last move."""

    on: date
    in_force: BookRecord[SpectrumFile] | None
    retired: tuple[int, ...]
    last_move: BookRecord[HouseMove] | None


def background_standing(book: Book, on: date, instrument_id: int | None = None) -> BackgroundStanding:
    """Sort the backgrounds of the book by the last move of house before the day.

    A background without a start counts by the day it was written into the book.
    """
    moves = [move for move in book.current(HouseMove) if move.body.on <= on]
    last = max(moves, key=lambda move: move.body.on, default=None)
    firsts = None if instrument_id is None else book.get(instrument_id).first_id
    valid: list[tuple[date, BookRecord[SpectrumFile]]] = []
    retired: list[int] = []
    for record in book.current(SpectrumFile, role="background"):
        counted = record.body.start.date() if record.body.start else record.created.date()
        own = record.body.instrument_id
        if counted > on or (firsts is not None and (own is None or book.get(own).first_id != firsts)):
            continue
        if last is not None and counted < last.body.on:
            retired.append(record.id)
        else:
            valid.append((counted, record))
    newest = max(valid, key=lambda pair: (pair[0], pair[1].id), default=None)
    return BackgroundStanding(on, None if newest is None else newest[1], tuple(sorted(retired)), last)


def background_in_force(book: Book, on: date, instrument_id: int | None = None) -> BookRecord[SpectrumFile]:
    """The background in force.

    Raises
    ------
    RefusedError
        There is none, or a move of house retired it.
    """
    standing = background_standing(book, on, instrument_id)
    if standing.in_force is not None:
        return standing.in_force
    if standing.last_move is not None and standing.retired:
        raise RefusedError(
            f"All backgrounds of the book were counted before the move to {standing.last_move.body.to_place} on "
            f"{standing.last_move.body.on}; they and every limit that rests on them are retired.",
            "count the new room, an hour at least, with the shield and stand as they are used now.",
        )
    raise RefusedError("The book holds no background.", "count the room without any source, an hour at least.")
