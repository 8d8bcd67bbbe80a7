"""The comparison of counting times for things of the book, kept there as a result."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Find, Instrument, Source, Stock
from truekev.book.work import Result
from truekev.errors import InputError
from truekev.files import write_whole
from truekev.job.worth_it import WorthIt, worth_it
from truekev.job.worth_it_words import Choice, Costs

__all__ = ["FORECAST", "FORECAST_NAME", "ForecastAsked", "forecast_again", "forecast_in_book"]

FORECAST = "how long to count each source"
FORECAST_NAME = "How long to count: "
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ForecastAsked:
    """What is to be compared.

    Parameters
    ----------
    thing_ids : sequence of int
        Sources, rods and finds of the book.
    words : sequence of str
        Short forms beside them, as rods:WT20,2.4x150,5 or Cs-137:10kBq; never files.
    n_rods : int
        How many of the rods of a stock are taken.
    instrument_id : int or None
        Whose detector counts.
    reach, fwhm_662 : float
        Wanted uncertainty over the energy; peak width at 662 keV over the energy.
    only_these : bool
        Leave more rods, an everyday source and the vial out.
    costs : Costs or None
    """

    thing_ids: Sequence[int] = ()
    words: Sequence[str] = ()
    n_rods: int = 1
    instrument_id: int | None = None
    reach: float = 0.005
    fwhm_662: float = 0.08
    only_these: bool = False
    costs: Costs | None = None


def forecast_in_book(
    book: Book, asked: ForecastAsked, on: date, progress: Callable[[float, str], None] | None = None
) -> BookRecord[Result]:
    """Compare, and keep the answer.

    Raises
    ------
    InputError
        A thing has no description with an activity, or cannot be counted so.
    """
    numbers = [*asked.thing_ids, *([] if asked.instrument_id is None else [asked.instrument_id])]
    answer = _worked_out(book, asked, on, progress)
    costs = asked.costs or Costs()
    body = Result(
        name=f"{FORECAST_NAME}{', '.join(choice['name'] for choice in answer['choices'])}"[:300],
        question=FORECAST,
        inputs=tuple(book.input_of(number) for number in numbers),
        settings={"words": list(asked.words), "n_rods": asked.n_rods, "on": on.isoformat(), "only": asked.only_these,
                  "reach": asked.reach, "fwhm_662": asked.fwhm_662, "costs": asdict(costs)},
        answer=answer,
    )  # fmt: skip
    return book.add(body)


def forecast_again(book: Book, result: Result) -> dict[str, Any]:
    """Compare once more what a kept answer compared, from the records as they were then."""
    s: Any = result.settings
    kinds = {one.id: book.get(one.id).kind for one in result.inputs}
    instrument = next((number for number, kind in kinds.items() if kind == Instrument.kind), None)
    asked = ForecastAsked(
        [number for number in kinds if number != instrument],
        s["words"],
        s["n_rods"],
        instrument,
        s["reach"],
        s["fwhm_662"],
        s["only"],
        Costs(**s["costs"]),
    )
    return _worked_out(book, asked, date.fromisoformat(s["on"]), None)


def _worked_out(
    book: Book, asked: ForecastAsked, on: date, progress: Callable[[float, str], None] | None
) -> dict[str, Any]:
    records = [book.get(number) for number in asked.thing_ids]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sources = [*(_source(record, asked.n_rods, folder) for record in records), *asked.words]
        detector = _detector(book, asked.instrument_id, folder)
        report = worth_it(
            sources,
            detector=detector,
            reach=asked.reach,
            fwhm_662=asked.fwhm_662,
            costs=asked.costs,
            only_these=asked.only_these,
            on=on,
            progress=progress,
        )
        return _answer(report, f"{folder}/")


def _source(record: BookRecord[Any], n_rods: int, folder: Path) -> str:
    match record.body:
        case Source(description=text) | Find(description=text) if text:
            return str(write_whole(folder / f"source-{record.id}.toml", text))
        case Stock(what="rods", electrode_class=name) if name:
            n = max(1, min(n_rods, record.body.count))
            return f"rods:{name},{record.body.diameter_mm:g}x{record.body.length_mm:g},{n}"
        case Stock(what="rods"):
            raise InputError(f"{record.name}: bundle its rods as a source first; no class of electrodes is given.")
    raise InputError(f"{record.name}: it has no description with an activity, so nothing can be forecast.")


def _detector(book: Book, instrument_id: int | None, folder: Path) -> str | None:
    if instrument_id is None:
        return None
    body = book.get(instrument_id).body
    if not isinstance(body, Instrument) or not body.description.strip():
        return None
    return str(write_whole(folder / f"instrument-{instrument_id}.toml", body.description))


def _answer(report: WorthIt, folder: str) -> dict[str, Any]:
    return {
        "reach": report.reach,
        "answer": list(report.answer),
        "said": [words.replace(folder, "") for words in report.said],
        "choices": [_choice(choice) for choice in report.choices],
    }


def _choice(choice: Choice) -> dict[str, Any]:
    of = choice.forecast
    return {
        "name": choice.name,
        "kind": choice.kind,
        "rate_per_s": of.rate_per_s,
        "room_per_s": of.room_per_s,
        "reach": {
            name: {"energy_kev": one.energy_kev, "time_s": one.time_s, "best_percent": one.best_percent}
            for name, one in of.reach.items()
        },
        "whole_s": of.whole_s,
        "peaks_s": of.peaks_s,
        "money": choice.money,
        "hours": choice.hours,
        "groups": [
            {"name": g.name, "energy_kev": g.energy_kev, "net_per_s": g.net_per_s, "u": g.relative_u_in_an_hour}
            for g in of.groups
        ],
        "energy_kev": _rounded(choice.curve.energy_kev),
        "per_kev_s": _rounded(choice.curve.total),
        "room_per_kev_s": _rounded(choice.curve.parts["room"]),
    }


def _rounded(row: Array) -> list[float]:
    return [float(f"{value:.4g}") for value in row]
