"""What one's own thorium source holds, asked of counts in the book; the answer is kept, and may become a source."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source, Stock
from truekev.book.work import Result, SpectrumFile
from truekev.errors import InputError, RefusedError
from truekev.job.book_assay import assayed_document
from truekev.job.book_sample import CountAsked, plain_value, plain_words, records_of_count, written_count
from truekev.job.my_source import Before, MySource, my_source
from truekev.quantity import Measured
from truekev.samples.source_record import lines_in_time
from truekev.sources.settings import read_source_text

__all__ = [
    "OWN_SOURCE",
    "OWN_SOURCE_NAME",
    "OwnSourceAsked",
    "keep_as_source",
    "own_source_again",
    "own_source_in_book",
]

OWN_SOURCE = "what my own source holds"
OWN_SOURCE_NAME = "What my own source holds, by "
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class OwnSourceAsked:
    """What is asked of one's own source.

    Parameters
    ----------
    count : CountAsked
        The count; open, where there is a sealed one beside it.
    on : date or None
        The day of the count, where its file does not say.
    before : CountAsked or None
        A count of the rods before the separation.
    later_ids : sequence of int
        Spectra of the same source in the same place, months later.
    sealed_id : int or None
        A spectrum of the same source in the same place, closed tightly for a day.
    separated : date or None
        Day of the last separation.
    oxide_mass_g : Value or None
        Thorium dioxide by the balance.
    """

    count: CountAsked
    on: date | None = None
    before: CountAsked | None = None
    later_ids: Sequence[int] = ()
    sealed_id: int | None = None
    separated: date | None = None
    oxide_mass_g: Value | None = None

    def counts(self) -> tuple[CountAsked, ...]:
        """All counts that are needed: the count itself, the one before, those later, the sealed one."""
        same = [*self.later_ids, *([] if self.sealed_id is None else [self.sealed_id])]
        one = self.count
        again = [CountAsked(number, one.sample, one.thing_id, one.n_rods) for number in same]
        return (one, *([] if self.before is None else [self.before]), *again)


def own_source_in_book(book: Book, asked: OwnSourceAsked, progress: Progress | None = None) -> BookRecord[Result]:
    """What counts of the book say of one's own source; the answer is kept.

    Raises
    ------
    RefusedError
        No scale fits a spectrum, or the count says nothing.
    InputError
        A day is missing, a count lies on the wrong side of the separation, a thing cannot be used.
    """
    numbers = [records_of_count(book, one.spectrum_id) for one in asked.counts()]
    answer = _worked_out(book, numbers, asked, progress)
    things = [one.thing_id for one in asked.counts() if one.thing_id is not None]
    used = dict.fromkeys([*(number for of in numbers for number in of), *things])
    spectrum = book.get_as(asked.count.spectrum_id, SpectrumFile)
    settings = asdict(asked) | {
        "on": _iso(asked.on),
        "separated": _iso(asked.separated),
        "later_ids": list(asked.later_ids),
        "oxide_mass_g": None if asked.oxide_mass_g is None else asked.oxide_mass_g.model_dump(),
        "numbers": numbers,
    }
    body = Result(
        name=f"{OWN_SOURCE_NAME}{spectrum.name}"[:300],
        question=OWN_SOURCE,
        about_id=asked.count.thing_id or spectrum.id,
        inputs=tuple(book.input_of(number) for number in used),
        settings=settings,
        answer=answer,
    )
    return book.add(body)


def own_source_again(book: Book, result: Result) -> dict[str, Any]:
    """Answer once more, from the same records."""
    s: Any = result.settings
    asked = OwnSourceAsked(
        CountAsked(**s["count"]),
        _day(s["on"]),
        None if s["before"] is None else CountAsked(**s["before"]),
        s["later_ids"],
        s["sealed_id"],
        _day(s["separated"]),
        None if s["oxide_mass_g"] is None else Value(**s["oxide_mass_g"]),
    )
    return _worked_out(book, s["numbers"], asked, None)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _worked_out(
    book: Book, numbers: Sequence[Sequence[int]], asked: OwnSourceAsked, progress: Progress | None
) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as name:
        written = []
        for i, (one, of) in enumerate(zip(asked.counts(), numbers, strict=True)):
            folder = Path(name) / str(i)
            folder.mkdir()
            spectrum, files = written_count(book, of, one, folder)
            written.append(Before(str(spectrum), files))
        first, *rest = written
        before = rest.pop(0) if asked.before is not None else None
        sealed = rest.pop() if asked.sealed_id is not None else None
        found = my_source(
            first.spectrum,
            first.files,
            on=asked.on,
            before=before,
            separated=asked.separated,
            sealed=sealed,
            oxide_mass_g=None if asked.oxide_mass_g is None else asked.oxide_mass_g.measured,
            later=tuple(rest),
            progress=progress,
        )
        return _document(book, found, [f"{name}/{i}/" for i in range(len(written))])


def _document(book: Book, found: MySource, folders: Sequence[str]) -> dict[str, Any]:
    count, history = found.count, found.history

    solutions = [] if history is None else history.refined.solutions
    separated = None if history is None else history.separated
    return {
        "on": found.on.isoformat(),
        "thoriated": count.thoriated,
        "radium": assayed_document(count.radium),
        "thorium": assayed_document(count.thorium),
        "contamination": assayed_document(count.contamination),
        "ratio": _value(count.ratio),
        "verdict": "" if history is None else history.refined.verdict,
        "ages": [
            {
                "years": one.years,
                "low_years": one.low_years,
                "high_years": one.high_years,
                "th232": plain_value(one.th232),
                "th232_bq": list(one.th232_bq),
            }
            for one in solutions
        ],
        "radium_kept": None
        if separated is None
        else {"verdict": separated.verdict, "kept": separated.kept, "interval": list(separated.kept_interval)},
        "thoria_fraction": _value(found.thoria_fraction),
        "electrode_classes": list(found.electrode_classes),
        "purity": None if found.purity is None else list(found.purity),
        "radon_escape": _value(found.radon_escape),
        "gain_over_rods": dict(found.gain_over_rods),
        "rates": {one.name: one.per_s for one in count.rates},
        "evidence": [asdict(one) for one in count.evidence],
        "words": [plain_words(book, words, *folders) for words in found.words],
        "said": [plain_words(book, words, *folders) for words in found.said],
        "source_toml": found.record_toml,
        "lines": _lines(found.record_toml),
    }


def _lines(source_toml: str) -> list[dict[str, Any]]:
    """Strong lines over ten years from the activities of a source record."""
    history = read_source_text(source_toml, file="source record").history if source_toml else None
    found = () if history is None else lines_in_time(history.activities_bq)
    return [asdict(one) | {"photons_per_s": list(one.photons_per_s)} for one in found]


def _value(measured: Measured | None) -> dict[str, Any] | None:
    return None if measured is None else plain_value(measured)


def keep_as_source(
    book: Book, result_id: int, *, name: str = "", place: str = "", owner: str = ""
) -> BookRecord[Source]:
    """Keep the record of an answer as a source that calibration can take.

    Where the count was of a source of the book, that source is described anew by what was measured (its old description
    stays readable); else a new source is added.

    Raises
    ------
    InputError
        The result answers another question; a new source has no name or no place; it is described so already.
    RefusedError
        No thorium was recognised.
    """
    result = book.get_as(result_id, Result)
    if result.body.question != OWN_SOURCE:
        raise InputError(f"record {result_id} answers another question: {result.body.question}.")
    answer: Any = result.body.answer
    text = str(answer["source_toml"])
    if not text:
        raise RefusedError("No thorium was recognised, so there is no source to record.", "a longer count.")
    thing_id: Any = result.body.settings["count"]["thing_id"]  # type: ignore[index,call-overload]
    thing = None if thing_id is None else book.newest(thing_id)
    if thing is not None and isinstance(thing.body, Source):
        if thing.body.description == text:
            raise InputError(f"{thing.name} is described by this answer already.")
        own = thing.body.model_copy(update={"description": text, "place": place or thing.body.place})
        return book.add(own, supersedes=thing.id)
    if not name or not place:
        raise InputError(f"{'place' if name else 'name'}: a new source needs a name and a place where it stands.")
    rods = thing is not None and isinstance(thing.body, Stock)
    body = Source(
        name=name,
        description=text,
        place=place,
        owner=owner,
        form="bundle of rods" if rods else "as bought",
        stock_id=thing_id if rods else None,
    )
    return book.add(body)
