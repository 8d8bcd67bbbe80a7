"""What a source of the book, or a source in words, gives off on a day; kept in the book as a result."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Instrument
from truekev.book.work import Result
from truekev.errors import InputError
from truekev.files import write_whole
from truekev.job.book_sample import plain_value, plain_words, thing_described
from truekev.job.emit import EmitReport, emit

__all__ = ["GIVEN_OFF", "GIVEN_OFF_NAME", "EmitAsked", "emit_again", "emit_in_book"]

GIVEN_OFF = "what a source gives off"
GIVEN_OFF_NAME = "What is given off by "
_LEAST = 0.002  # of the strongest line outside; fainter ones are left out
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class EmitAsked:
    """A source and a day.

    Parameters
    ----------
    on : date
    thing_id : int or None
        A source or find of the book, or rods.
    words : str
        Else a word for a source, or a short form; never a file.
    n_rods : int or None
        How many of the rods of a stock.
    instrument_id : int or None
        Whose detector counts the betas' share.
    """

    on: date
    thing_id: int | None = None
    words: str = ""
    n_rods: int | None = None
    instrument_id: int | None = None


def emit_in_book(book: Book, asked: EmitAsked, progress: Progress | None = None) -> BookRecord[Result]:
    """Work out what the source gives off, and keep the answer.

    Raises
    ------
    InputError
        No source is named, or it cannot be on that day.
    """
    answer = _worked_out(book, asked, progress)
    used = [number for number in (asked.thing_id, asked.instrument_id) if number is not None]
    body = Result(
        name=f"{GIVEN_OFF_NAME}{answer['source']} on {asked.on}"[:300],
        question=GIVEN_OFF,
        about_id=asked.thing_id,
        inputs=tuple(book.input_of(number) for number in used),
        settings=asdict(asked) | {"on": asked.on.isoformat()},
        answer=answer,
    )
    return book.add(body)


def emit_again(book: Book, result: Result) -> dict[str, Any]:
    """Work it out once more, from the same records."""
    settings: Any = dict(result.settings)
    return _worked_out(book, EmitAsked(**{**settings, "on": date.fromisoformat(settings["on"])}), None)


def _worked_out(book: Book, asked: EmitAsked, progress: Progress | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        words = asked.words
        if asked.thing_id is not None:
            text = thing_described(book, asked.thing_id, asked.n_rods)
            words = str(write_whole(folder / f"thing-{asked.thing_id}.toml", text))
        if not words:
            raise InputError("no source is named; choose one of the book, or say it in words.")
        detector = None
        if asked.instrument_id is not None:
            instrument = book.get_as(asked.instrument_id, Instrument)
            if instrument.body.description.strip():
                detector = str(write_whole(folder / "detector.toml", instrument.body.description))
        return _document(book, emit(words, asked.on, detector=detector, progress=progress), f"{name}/")


def _document(book: Book, found: EmitReport, folder: str) -> dict[str, Any]:
    of = found.emission
    least = _LEAST * max((one.outside_per_s.value for one in of.lines), default=0.0)
    shown = [one for one in of.lines if one.outside_per_s.value >= least]
    return {
        "source": found.source,
        "relative": found.relative,
        "lines": [
            {
                "energy_kev": one.energy_kev,
                "nuclide": one.nuclide,
                "kind": one.kind,
                "born_per_s": plain_value(one.born_per_s),
                "outside_per_s": plain_value(one.outside_per_s),
                "escape": one.escape,
            }
            for one in shown
        ],
        "n_fainter": len(of.lines) - len(shown),
        "made": [
            {
                "energy_kev": one.energy_kev,
                "element": one.element,
                "born_per_s": plain_value(one.born_per_s),
                "outside_per_s": plain_value(one.outside_per_s),
            }
            for one in of.made
        ],
        "betas": asdict(of.betas),
        "beta_share": found.beta_share,
        "said": [plain_words(book, words, folder) for words in found.said],
    }
