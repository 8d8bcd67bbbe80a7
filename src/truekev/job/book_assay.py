"""How much of a nuclide is in a sample that was counted: asked of a spectrum of the book, kept there as a result."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Result, SpectrumFile
from truekev.errors import RefusedError
from truekev.job.book_sample import CountAsked, plain_value, plain_words, records_of_count, written_count
from truekev.job.how_much import HowMuch, how_much
from truekev.samples.assay import Assayed
from truekev.samples.place import Place

__all__ = ["ASSAYED", "ASSAYED_NAME", "AssayAsked", "assay_again", "assay_in_book", "assayed_document"]

ASSAYED = "how much of it is in a sample"
ASSAYED_NAME = "How much: "
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class AssayAsked:
    """What is asked of a counted sample; the fields are those of `how_much`."""

    count: CountAsked
    nuclides: Sequence[str] = ()
    plan: float | None = None
    known: str | None = None
    alpha: float = 0.05
    beta: float = 0.05
    coverage: float = 0.95


def assay_in_book(book: Book, asked: AssayAsked, progress: Progress | None = None) -> BookRecord[Result]:
    """Activities in a counted sample, on the scale that belongs to its spectrum; the answer is kept.

    Raises
    ------
    RefusedError
        No scale fits the spectrum, or the count cannot say it.
    InputError
        Sample, thing or nuclide cannot be used; nothing to assay.
    """
    spectrum = book.get_as(asked.count.spectrum_id, SpectrumFile)
    numbers = records_of_count(book, spectrum.id)
    answer = _worked_out(book, numbers, asked, progress)
    things = [] if asked.count.thing_id is None else [asked.count.thing_id]
    named = ", ".join(one["name"] for one in answer["assayed"])
    body = Result(
        name=f"{ASSAYED_NAME}{named} in {spectrum.name}"[:300],
        question=ASSAYED,
        about_id=spectrum.id,
        inputs=tuple(book.input_of(number) for number in (*numbers, *things)),
        settings={**asdict(asked), "nuclides": list(asked.nuclides), "numbers": list(numbers)},
        answer=answer,
    )
    return book.add(body)


def assay_again(book: Book, result: Result) -> dict[str, Any]:
    """Assay once more what a kept answer was about, from the same records."""
    settings: Any = dict(result.settings)
    numbers = settings.pop("numbers")
    return _worked_out(book, numbers, AssayAsked(**{**settings, "count": CountAsked(**settings["count"])}), None)


def _worked_out(book: Book, numbers: Sequence[int], asked: AssayAsked, progress: Progress | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as name:
        spectrum, files = written_count(book, numbers, asked.count, Path(name))

        def answered(plan: float | None) -> HowMuch:
            return how_much(
                spectrum,
                files,
                nuclides=asked.nuclides,
                plan=plan,
                known=asked.known,
                alpha=asked.alpha,
                beta=asked.beta,
                coverage=asked.coverage,
                progress=progress,
            )

        refused = ""
        try:
            found = answered(asked.plan)
        except RefusedError as error:
            # A limit that is out of reach is no reason to withhold the activities.
            if asked.plan is None:
                raise
            found, refused = answered(None), str(error)
        return _document(book, found, refused, f"{name}/")


def _document(book: Book, found: HowMuch, plan_refused: str, folder: str) -> dict[str, Any]:
    return {
        "sample": found.sample,
        "assayed": [assayed_document(one) for one in found.assayed],
        "beside": list(found.beside),
        "pile_up": found.pile_up,
        "planned": [asdict(one) for one in found.planned],
        "plan_refused": plan_refused,
        "place": None if found.place is None else _place(found.place),
        "said": [plain_words(book, words, folder) for words in found.said],
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "ratio": plain_value(place.ratio),
        "extra_distance_mm": plain_value(place.extra_distance_mm),
        "scattering": {name: plain_value(value) for name, value in place.scattering.items()},
    }


def assayed_document(one: Assayed) -> dict[str, Any]:
    """An activity with its characteristic limits as an answer of the book holds it."""
    limits = one.limits
    return {
        "name": one.name,
        "what": one.what,
        "unit": limits.estimate.unit,
        "recognised": limits.recognised,
        "estimate": plain_value(limits.estimate),
        "decision_threshold": limits.decision_threshold,
        "detection_limit": limits.detection_limit,
        "best_estimate": plain_value(limits.best_estimate),
        "symmetric_limits": list(limits.symmetric_limits),
        "shortest_limits": list(limits.shortest_limits),
        "alpha": limits.alpha,
        "beta": limits.beta,
        "coverage": limits.coverage,
        "remarks": list(limits.remarks),
        "per_mass": None if one.per_mass is None else plain_value(one.per_mass),
        "budget": [asdict(line) for line in one.budget if line.relative_u > 0],
        "summing_loss": one.summing_loss,
    }
