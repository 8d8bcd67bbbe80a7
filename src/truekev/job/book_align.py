"""Slices of a long count set on one gain; the sum goes into the book with its scale, and what the gain did as a result.

The slices themselves stay with the person who counted them: a night has hundreds of them.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.spectra import add_spectrum
from truekev.book.things import Instrument
from truekev.book.work import Relock, Result, Scale, SpectrumFile
from truekev.errors import InputError, OutOfRangeError
from truekev.files import write_whole
from truekev.job.align_slices import AlignReport, align_files
from truekev.job.book_files import background_record, spectrum_file
from truekev.job.book_sample import plain_value, plain_words, thing_described
from truekev.job.book_scales import plain_scale
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.read import spectra_of_bytes

__all__ = ["ALIGNED", "ALIGNED_NAME", "MOST_FILES", "AlignAsked", "align_in_book"]

ALIGNED = "did the gain drift within a long count"
ALIGNED_NAME = "Drift within "
MOST_FILES = 300
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class AlignAsked:
    """Slices of one count.

    Parameters
    ----------
    files : sequence of (str, bytes)
        Names and contents of the slices, or of one file that holds many.
    thing_id, word : int or None, str
        What was counted: a thing of the book, or a word or nuclide.
    scale_id : int or None
        A scale of the instrument, whose shape is held; without one the sum is calibrated anew.
    instrument_id : int or None
    temperatures : str
        Lines of `time,temperature` in °C, or one temperature per slice; empty for none.
    keep_scale : bool
        Whether the sum's scale becomes a scale of the book.
    """

    files: Sequence[tuple[str, bytes]]
    thing_id: int | None = None
    word: str = ""
    scale_id: int | None = None
    instrument_id: int | None = None
    temperatures: str = ""
    keep_scale: bool = False


def align_in_book(book: Book, asked: AlignAsked, progress: Progress | None = None) -> BookRecord[Result]:
    """Align the slices; keep the sum, its scale where that is wanted, and what the gain did.

    Raises
    ------
    InputError
        Files that are no slices of one count; nothing says what was counted.
    RefusedError
        The sum cannot be locked, or a slice is of something else.
    """
    if len(asked.files) > MOST_FILES:
        raise OutOfRangeError(f"{len(asked.files)} files: at most {MOST_FILES} at once; put them into one N42 file.")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        report = _aligned(book, asked, folder, progress)
        document = plain_scale(report.scale, folder)
        answer = _document(book, report, f"{name}/")
    things = () if asked.thing_id is None else (asked.thing_id,)
    total = add_spectrum(
        book,
        n42_bytes(report.total, record=report.record),
        "aligned-sum.n42",
        name=f"Aligned sum of {len(report.slices)} slices of {report.source}"[:300],
        role="calibration",
        instrument_id=asked.instrument_id,
        thing_ids=things,
        remarks=f"{report.verdict} The slices themselves are not in the book.",
    )
    used = [total.id, *things, *(number for number in (asked.scale_id, asked.instrument_id) if number is not None)]
    if asked.keep_scale:
        start = total.body.start
        scale = book.add(
            Scale(
                name=f"Scale from {total.name}"[:300],
                instrument_id=asked.instrument_id,
                spectrum_ids=(total.id,),
                source_ids=tuple(number for number in things if book.get(number).kind in ("source", "stock", "find")),
                made_on=date.today() if start is None else start.date(),
                method=str(document["method"]),
                scale=document,
            )
        )
        used.append(scale.id)
    body = Result(
        name=f"{ALIGNED_NAME}{len(report.slices)} slices of {report.source}"[:300],
        question=ALIGNED,
        about_id=total.id,
        inputs=tuple(book.input_of(number) for number in used),
        settings={"word": asked.word, "temperatures": asked.temperatures, "files": [name for name, _ in asked.files]},
        answer=answer,
    )
    return book.add(body)


def _aligned(book: Book, asked: AlignAsked, folder: Path, progress: Progress | None) -> AlignReport:
    paths = []
    for number, (name, data) in enumerate(asked.files):
        # Only the ending of a name that came from outside is used.
        ending = "".join(c for c in Path(name).suffix[:8] if c.isalnum() or c == ".") or ".csv"
        paths.append(write_whole(folder / f"slice-{number + 1}{ending}", data))
    words = []
    if asked.thing_id is not None:
        text = thing_described(book, asked.thing_id)
        words = [str(write_whole(folder / f"thing-{asked.thing_id}.toml", text))]
    elif asked.word:
        words = [asked.word]
    scale = None
    if asked.scale_id is not None:
        body = book.get(asked.scale_id).body
        if not isinstance(body, Scale | Relock):
            raise InputError(f"record {asked.scale_id} is no scale.")
        scale = str(write_whole(folder / f"scale-{asked.scale_id}.json", json.dumps(body.scale)))
    detector = None
    if asked.instrument_id is not None:
        instrument = book.get_as(asked.instrument_id, Instrument)
        if instrument.body.description.strip():
            detector = str(write_whole(folder / "detector.toml", instrument.body.description))
    temperatures = None
    if asked.temperatures.strip():
        temperatures = str(write_whole(folder / "temperatures.csv", asked.temperatures))
    return align_files(
        paths,
        scale_file=scale,
        sources=words,
        detector=detector,
        background=_background(book, asked, folder),
        temperatures=temperatures,
        progress=progress,
    )


def _background(book: Book, asked: AlignAsked, folder: Path) -> str | None:
    """The background that is in force on the day of the slices, if there is one with as many channels."""
    first = spectra_of_bytes(asked.files[0][1], file=asked.files[0][0])[0] if asked.files else None
    if first is None:
        return None
    body = SpectrumFile(
        name="slice",
        file_sha256="0" * 64,
        file_name="slice",
        instrument_id=asked.instrument_id,
        start=None if first.start is None else first.start.replace(tzinfo=None),
        n_channels=first.n_channels,
        counts=0.0,
    )
    found = background_record(book, body)
    return None if found is None else str(spectrum_file(book, found, folder))


def _document(book: Book, report: AlignReport, folder: str) -> dict[str, Any]:
    line = report.temperature
    return {
        "source": report.source,
        "drift_percent": plain_value(report.drift_percent),
        "common_u_percent": report.common_u_percent,
        "moved_percent": report.moved_percent,
        "verdict": report.verdict,
        "said": [plain_words(book, report.assumed, folder)],
        "slices": [
            {
                "number": one.number,
                "start": None if one.start is None else one.start.isoformat(),
                "hours": one.hours,
                "counts": one.counts,
                "gain_percent": plain_value(one.gain_percent),
                "alone_percent": None if one.alone_percent is None else plain_value(one.alone_percent),
                "temperature_degc": one.temperature_degc,
            }
            for one in report.slices
        ],
        "temperature": None
        if line is None
        else {
            "percent_per_degc": plain_value(line.percent_per_degc),
            "at_degc": line.at_degc,
            "spread": line.spread,
        },
        "temperature_refused": report.temperature_refused,
        "counts_in": report.counts_in,
        "counts_out": report.counts_out,
        "complete_to": report.complete_to,
        "to_type_in": [asdict(one) | {"coefficients_kev": list(one.coefficients_kev)} for one in report.to_type_in],
    }
