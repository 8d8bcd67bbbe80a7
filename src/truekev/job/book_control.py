"""Control charts from all counts of one source of the book, kept there as a result."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source
from truekev.book.work import Result, Scale, SpectrumFile
from truekev.errors import RefusedError
from truekev.files import write_whole
from truekev.job.book_files import background_record, detector_file, spectrum_file
from truekev.job.book_sample import plain_value
from truekev.job.control_charts import ControlCharts, control_charts

__all__ = ["CONTROL", "control_again", "control_in_book", "counts_of_source"]

CONTROL = "has the instrument or the source changed"
_USUAL_FIRST = 20
Progress = Callable[[float, str], None]


def counts_of_source(book: Book, source_id: int) -> tuple[BookRecord[SpectrumFile], ...]:
    """Dated counts of one source alone, in the order of time."""
    first = book.get(source_id).first_id
    alone = [
        record
        for record in book.about(source_id, SpectrumFile)
        if record.body.start is not None
        and record.body.role != "background"
        and all(book.get(number).first_id == first for number in record.body.thing_ids)
    ]
    return tuple(sorted(alone, key=lambda record: str(record.body.start)))


def control_in_book(
    book: Book, source_id: int, sample: str = "", progress: Progress | None = None
) -> BookRecord[Result]:
    """Chart gain, resolution and strength of all counts of a source, and keep the answer.

    Parameters
    ----------
    book : Book
        Where it is.
    source_id : int
        The source; its description gives the strength to expect.
    sample : str
        The text of a sample file that says where the source stands; empty for 100 mm away.
    progress : callable, optional
        Called with (share done, what).

    Raises
    ------
    RefusedError
        Too few counts, no scale of their instrument, or a count that shows no source.
    InputError
        The source has no dated description.
    """
    source = book.get_as(source_id, Source)
    counts = counts_of_source(book, source.id)
    if not counts:
        raise RefusedError(f"No dated count of {source.name} alone is in the book.", "counts of it in one place.")
    scale = _scale(book, counts[-1])
    background = background_record(book, counts[-1].body, counts[-1].id)
    numbers = [source.id, scale.id, *(count.id for count in counts)]
    numbers += [] if background is None else [background.id]
    answer = _worked_out(book, numbers, sample, progress)
    body = Result(
        name=f"Control charts of {source.name}"[:300],
        question=CONTROL,
        about_id=source.id,
        inputs=tuple(book.input_of(number) for number in numbers),
        settings={"sample": sample},
        answer=answer,
    )
    return book.add(body)


def control_again(book: Book, result: Result) -> dict[str, Any]:
    """Chart once more what a kept answer charted."""
    return _worked_out(book, [one.id for one in result.inputs], str(result.settings["sample"]), None)


def _scale(book: Book, count: BookRecord[SpectrumFile]) -> BookRecord[Scale]:
    """The newest calibration of the count's instrument: all its counts are charted against one scale."""
    first = None if count.body.instrument_id is None else book.get(count.body.instrument_id).first_id
    for scale in book.current(Scale):
        of = scale.body.instrument_id
        if first is None or (of is not None and book.get(of).first_id == first):
            return scale
    raise RefusedError("The book holds no scale of this instrument.", "a calibration with one of its spectra.")


def _worked_out(book: Book, numbers: Sequence[int], sample: str, progress: Progress | None) -> dict[str, Any]:
    """`numbers`: of source, scale, counts, and the background where there is one."""
    source, scale = book.get_as(numbers[0], Source), book.get_as(numbers[1], Scale)
    spectra = [book.get_as(number, SpectrumFile) for number in numbers[2:]]
    counts = [record for record in spectra if record.body.role != "background"]
    room = next((record for record in spectra if record.body.role == "background"), None)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def told(share: float, what: str) -> None:
            if progress is not None:
                progress(share, what.replace(f"{folder}/", ""))

        files = {str(spectrum_file(book, record, folder)): record.id for record in counts}
        charts = control_charts(
            list(files),
            str(write_whole(folder / "scale.json", json.dumps(scale.body.scale))),
            str(write_whole(folder / "source.toml", source.body.description)),
            background=None if room is None else str(spectrum_file(book, room, folder)),
            sample=str(write_whole(folder / "sample.toml", sample)) if sample else None,
            detector=detector_file(book, counts[-1].body, folder),
            n_first=min(_USUAL_FIRST, max(len(counts) - 1, 1)),
            progress=told,
        )
        return _document(charts, files)


def _document(found: ControlCharts, files: dict[str, int]) -> dict[str, Any]:
    of = found.report.charts
    return {
        "verdict": of.verdict,
        "words": of.words,
        "said": list(found.said),
        "counts": [files[name] for name in found.files],
        "on": [reading.on.isoformat() for reading in found.readings],
        "readings": [
            {name: plain_value(getattr(one, name)) for name in ("gain", "resolution", "strength")}
            for one in found.readings
        ],
        "charts": [
            {
                "name": chart.name,
                "centre": plain_value(chart.limits.centre),
                "sigma": chart.limits.sigma.value,
                "n_first": chart.limits.n_first,
                "warning": chart.limits.warning,
                "action": chart.limits.action,
                "scores": list(chart.scores),
                "verdict": chart.verdict,
                "words": chart.words,
            }
            for chart in (of.gain, of.resolution, of.strength)
        ],
    }
