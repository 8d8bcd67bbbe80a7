"""What a spectrum of the book holds, kept there as a result."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Relock, Result, Scale, SpectrumFile
from truekev.errors import InputError, RefusedError
from truekev.files import write_whole
from truekev.job.book_files import background_record, detector_file, spectrum_file
from truekev.job.sample_count import SampleFiles
from truekev.job.spectrum_figure import scale_of_count
from truekev.job.what_is_it import Answer, WhatIsIt, what_is_it

__all__ = ["IDENTIFIED", "identify_again", "identify_in_book", "sample_text"]

IDENTIFIED = "what a spectrum holds"
Progress = Callable[[float, str], None]


def sample_text(name: str, distance_mm: float, u_distance_mm: float, body: dict[str, str | float]) -> str:
    """The text of a sample file; `body` as its [body] table, empty for a point."""
    lines = [
        f"name = {json.dumps(name, ensure_ascii=False)}",
        f"distance_mm = {distance_mm!r}",
        f"u_distance_mm = {u_distance_mm!r}",
    ]
    if body:
        lines += ["", "[body]", *(f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in body.items())]
    return "\n".join(lines) + "\n"


def identify_in_book(book: Book, spectrum_id: int, sample: str, progress: Progress | None = None) -> BookRecord[Result]:
    """Recognise what a spectrum holds, on the scale that belongs to it, and keep the answer.

    Parameters
    ----------
    book : Book
        Where it is.
    spectrum_id : int
        Its record.
    sample : str
        The text of a sample file; empty for a point of unknown matter 100 mm away.
    progress : callable, optional
        Called with (share done, what).

    Raises
    ------
    RefusedError
        No scale fits the spectrum, or nothing safe can be said.
    InputError
        The sample cannot be.
    """
    spectrum = book.get_as(spectrum_id, SpectrumFile)
    scale = scale_of_count(book, spectrum.id)
    if scale is None:
        raise RefusedError(
            f"No scale fits {spectrum.name}, so its energies are not known.",
            "a count of a known source with the same settings, to calibrate or re-lock.",
        )
    background = background_record(book, spectrum.body, spectrum.id)
    numbers = [spectrum.id, scale.id]
    if background is not None:
        own = scale_of_count(book, background.id)
        numbers += [background.id, *([] if own is None or own.id == scale.id else [own.id])]
    found = _worked_out(book, numbers, sample, progress)
    body = Result(
        name=f"What is in {spectrum.name}"[:300],
        question=IDENTIFIED,
        about_id=spectrum.id,
        inputs=tuple(book.input_of(number) for number in numbers),
        settings={"sample": sample},
        answer=_document(found),
    )
    return book.add(body)


def identify_again(book: Book, result: Result) -> dict[str, Any]:
    """Recognise once more what a kept answer was about, from the same records."""
    return _document(_worked_out(book, [one.id for one in result.inputs], str(result.settings["sample"]), None))


def _worked_out(book: Book, numbers: list[int], sample: str, progress: Progress | None) -> WhatIsIt:
    """`numbers`: of the spectrum, its scale, the background if there is one, and that one's own scale if it has one."""
    spectrum = book.get_as(numbers[0], SpectrumFile)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        room = book.get_as(numbers[2], SpectrumFile) if len(numbers) > 2 else None
        files = SampleFiles(
            scale=_scale_file(book, numbers[1], folder),
            background_scale=_scale_file(book, numbers[3], folder) if len(numbers) > 3 else None,
            background=None if room is None else str(spectrum_file(book, room, folder)),
            sample=str(write_whole(folder / "sample.toml", sample)) if sample else None,
            detector=detector_file(book, spectrum.body, folder),
        )
        return what_is_it(spectrum_file(book, spectrum, folder), files, progress=progress)


def _scale_file(book: Book, scale_id: int, folder: Path) -> str:
    body = book.get(scale_id).body
    if not isinstance(body, Scale | Relock):
        raise InputError(f"record {scale_id} is no scale.")
    return str(write_whole(folder / f"scale-{scale_id}.json", json.dumps(body.scale)))


def _document(found: WhatIsIt) -> dict[str, Any]:
    folder = str(Path(found.file).parent)
    return {
        "answers": [_answer(one) for one in found.answers],
        "unknown": [asdict(peak) for peak in found.unknown],
        "not_recognised": [asdict(one) for one in found.not_recognised],
        "said": [words.replace(f"{folder}/", "") for words in found.said],
        "cautions": list(found.cautions),
        "n_candidates": found.n_candidates,
    }


def _answer(one: Answer) -> dict[str, Any]:
    return {
        "words": one.words,
        "name": one.name,
        "what": one.what,
        "activity": {"value": one.activity.value, "u": one.activity.u, "unit": one.activity.unit},
        "deviations": one.deviations,
        "supported_by": [asdict(line) for line in one.supported_by],
        "contradicted_by": [asdict(line) for line in one.contradicted_by],
    }
