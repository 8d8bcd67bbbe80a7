"""Counts of samples in the book: which records belong to one, and their files for as long as a reckoning runs."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.things import Find, Source, Stock
from truekev.book.work import Relock, Scale, SpectrumFile
from truekev.errors import InputError, RefusedError
from truekev.files import write_whole
from truekev.job.book_files import background_record, detector_file, spectrum_file
from truekev.job.describe import SourceAnswers, description_of_source
from truekev.job.sample_count import SampleFiles
from truekev.job.spectrum_figure import scale_of_count
from truekev.quantity import Measured

__all__ = [
    "CountAsked",
    "plain_value",
    "plain_words",
    "records_of_count",
    "sample_text",
    "thing_described",
    "written_count",
]

# The hint at an option of the command line that ends a sentence.
_OPTION = re.compile(r" \(--[^)]*\)")
_WRITTEN = re.compile(r"\brecord-(\d+)\.\w{1,7}\b")  # as `book_files.spectrum_file` calls them


@dataclass(frozen=True)
class CountAsked:
    """A count of the book that is asked about.

    Parameters
    ----------
    spectrum_id : int
    sample : str
        The text of a sample file; empty for a point of unknown matter 100 mm away.
    thing_id : int or None
        The source, find or rods whose body was counted; then the sample has no [body].
    n_rods : int or None
        How many of the rods of a stock were counted; all of them if left out.
    """

    spectrum_id: int
    sample: str = ""
    thing_id: int | None = None
    n_rods: int | None = None


def sample_text(
    name: str,
    distance_mm: float,
    u_distance_mm: float,
    body: Mapping[str, str | float],
    *,
    more: Mapping[str, float] | None = None,
    surroundings: Mapping[str, float] | None = None,
) -> str:
    """The text of a sample file.

    `body` and `surroundings` are its tables of these names, left out where they are empty (then the sample is a point);
    `more` are further keys.
    """
    keys: dict[str, str | float] = {
        "name": name,
        "distance_mm": distance_mm,
        "u_distance_mm": u_distance_mm,
        **(more or {}),
    }
    tables: dict[str, Mapping[str, str | float]] = {"": keys, "[body]": body, "[surroundings]": surroundings or {}}
    lines = []
    for head, table in tables.items():
        if table:
            lines += [*(["", head] if head else []), *(f"{key} = {_toml(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _toml(value: str | float) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(float(value))


def records_of_count(book: Book, spectrum_id: int) -> list[int]:
    """Numbers of a spectrum, its scale, the background if there is one, and that one's own scale if it has one.

    Raises
    ------
    RefusedError
        No scale fits the spectrum.
    """
    spectrum = book.get_as(spectrum_id, SpectrumFile)
    scale = scale_of_count(book, spectrum.id)
    if scale is None:
        raise RefusedError(
            f"No scale fits {spectrum.name}, so its energies are not known.",
            "a count of a known source with the same settings, to calibrate or re-lock.",
        )
    numbers = [spectrum.id, scale.id]
    background = background_record(book, spectrum.body, spectrum.id)
    if background is not None:
        own = scale_of_count(book, background.id)
        numbers += [background.id, *([] if own is None or own.id == scale.id else [own.id])]
    return numbers


def thing_described(book: Book, thing_id: int, n_rods: int | None = None, on: date | None = None) -> str:
    """The text of a source file for a thing of the book: a source or find as described, rods by their measures.

    Raises
    ------
    InputError
        It has no description.
    """
    record = book.get(thing_id)
    match record.body:
        case Source(description=text) | Find(description=text) if text.strip():
            return text
        case Stock(what="rods") as stock:
            return description_of_source(record.name, SourceAnswers(stock=stock, n_rods=n_rods, reference_date=on))
    raise InputError(f"{record.name} (record {record.id}) has no description, so its body is not known.")


def written_count(book: Book, numbers: Sequence[int], asked: CountAsked, folder: Path) -> tuple[Path, SampleFiles]:
    """The spectrum's file and the files that go with it, written into a folder.

    `numbers` as `records_of_count` gives them.

    Raises
    ------
    InputError
        A record is not what it should be.
    """
    spectrum = book.get_as(numbers[0], SpectrumFile)
    room = book.get_as(numbers[2], SpectrumFile) if len(numbers) > 2 else None
    sample = asked.sample
    if asked.thing_id is not None:
        on = None if spectrum.body.start is None else spectrum.body.start.date()
        text = thing_described(book, asked.thing_id, asked.n_rods, on)
        thing = write_whole(folder / f"thing-{asked.thing_id}.toml", text)
        sample = f"source = {json.dumps(thing.name)}\n" + (sample or sample_text(spectrum.name, 100.0, 3.0, {}))
    files = SampleFiles(
        scale=_scale_file(book, numbers[1], folder),
        background=None if room is None else str(spectrum_file(book, room, folder)),
        background_scale=_scale_file(book, numbers[3], folder) if len(numbers) > 3 else None,
        sample=str(write_whole(folder / f"sample-{numbers[0]}.toml", sample)) if sample else None,
        detector=detector_file(book, spectrum.body, folder),
    )
    return spectrum_file(book, spectrum, folder), files


def _scale_file(book: Book, scale_id: int, folder: Path) -> str:
    body = book.get(scale_id).body
    if not isinstance(body, Scale | Relock):
        raise InputError(f"record {scale_id} is no scale.")
    return str(write_whole(folder / f"scale-{scale_id}.json", json.dumps(body.scale)))


def plain_words(book: Book, words: str, *folders: str) -> str:
    """A sentence without hints at the command line's options; spectra by their names, not by their files."""
    for folder in folders:
        words = words.replace(folder, "")
    words = _WRITTEN.sub(lambda found: book.get(int(found[1])).name, words)
    return _OPTION.sub("", words)


def plain_value(measured: Measured) -> dict[str, Any]:
    """A measured value as an answer of the book holds it."""
    return {"value": measured.value, "u": measured.u, "unit": measured.unit}
