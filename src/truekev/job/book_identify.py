"""What a spectrum of the book holds, kept there as a result."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Result, SpectrumFile
from truekev.job.book_sample import CountAsked, plain_value, records_of_count, written_count
from truekev.job.what_is_it import Answer, WhatIsIt, what_is_it

__all__ = ["IDENTIFIED", "identify_again", "identify_in_book"]

IDENTIFIED = "what a spectrum holds"
Progress = Callable[[float, str], None]


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
    numbers = records_of_count(book, spectrum_id)
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
    """`numbers` as `records_of_count` gives them."""
    with tempfile.TemporaryDirectory() as name:
        spectrum, files = written_count(book, numbers, CountAsked(numbers[0], sample), Path(name))
        return what_is_it(spectrum, files, progress=progress)


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
        "activity": plain_value(one.activity),
        "deviations": one.deviations,
        "supported_by": [asdict(line) for line in one.supported_by],
        "contradicted_by": [asdict(line) for line in one.contradicted_by],
    }
