"""Calibration and re-lock of spectra that are in the book; the scale goes back into the book."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Find, Source, Stock
from truekev.book.work import Relock, Scale, SpectrumFile
from truekev.errors import InputError, TruekevError
from truekev.files import write_whole
from truekev.job.book_files import background_record, detector_file, spectrum_file
from truekev.job.calibrate_spectra import CalibrationReport, calibrate_files
from truekev.job.fitted_model import keep_model
from truekev.job.relock_spectrum import RelockReport, relock_file
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.energy_scale import EnergyScale, read_scale, scale_as_dict

__all__ = [
    "calibrate_in_book",
    "fitted_again",
    "has_scale",
    "plain_scale",
    "relock_in_book",
    "scale_in_force",
    "source_words_of",
    "stored_scale",
]

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class _Files:
    """The files that a fit needs, written out of the book for as long as it runs."""

    spectrum: Path
    background: str | None
    detector: str | None
    sources: tuple[str, ...]


@contextmanager
def _written_out(book: Book, spectrum: BookRecord[SpectrumFile], words: Sequence[str]) -> Iterator[tuple[Path, _Files]]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        background = background_record(book, spectrum.body, spectrum.id)
        yield (
            folder,
            _Files(
                spectrum_file(book, spectrum, folder),
                None if background is None else str(spectrum_file(book, background, folder)),
                detector_file(book, spectrum.body, folder),
                (tuple(words) or source_words_of(book, spectrum.body, folder, f"record {spectrum.id}")),
            ),
        )


def source_words_of(book: Book, body: SpectrumFile, folder: Path, which: str) -> tuple[str, ...]:
    """Source files and words of the things that stood before the crystal; `which` names the spectrum.

    Raises
    ------
    InputError
        The record does not say, or a thing has no description.
    """
    words = []
    for number in body.thing_ids:
        record = book.newest(number)
        if isinstance(record.body, Source | Find) and record.body.description:
            words.append(str(write_whole(folder / f"source-{record.id}.toml", record.body.description)))
        elif isinstance(record.body, Stock) and record.body.what == "rods":
            words.append("thoriated-rods")
        else:
            raise InputError(f"record {record.id} ({record.name}) has no description; name the source in one word.")
    if not words:
        raise InputError(f"{which} ({body.name}) does not say what was counted; name the source.")
    return tuple(words)


def plain_scale(scale: EnergyScale, folder: Path) -> dict[str, Any]:
    """The scale's document, without the name of the folder that is gone afterwards."""
    text = json.dumps(scale_as_dict(scale), allow_nan=False)
    document: dict[str, Any] = json.loads(text.replace(f"{folder}/", ""))
    return document


def _calibrated(
    book: Book, spectrum: BookRecord[SpectrumFile], sources: Sequence[str], progress: Progress | None
) -> tuple[CalibrationReport, dict[str, Any]]:
    with _written_out(book, spectrum, sources) as (folder, files):
        report = calibrate_files(
            [files.spectrum], files.sources, detector=files.detector, background=files.background, progress=progress
        )
        return report, plain_scale(report.spectra[0].scale, folder)


def _relocked(
    book: Book,
    spectrum: BookRecord[SpectrumFile],
    old_id: int,
    old_scale: Mapping[str, Any],
    sources: Sequence[str],
    progress: Progress | None,
) -> tuple[RelockReport, dict[str, Any]]:
    with _written_out(book, spectrum, sources) as (folder, files):
        scale_file = write_whole(folder / f"scale-{old_id}.json", json.dumps(old_scale))
        report = relock_file(
            files.spectrum,
            scale_file,
            sources=files.sources,
            detector=files.detector,
            background=files.background,
            progress=progress,
        )
        return report, plain_scale(report.scale, folder)


def fitted_again(book: Book, scale_id: int, sources: Sequence[str]) -> FittedSpectrum:
    """Fit once more what a scale or re-lock of the book rests on; `sources` are the words that were given then.

    Raises
    ------
    InputError, RefusedError
        As `calibrate_in_book` and `relock_in_book` say.
    """
    match book.get(scale_id).body:
        case Scale(spectrum_ids=numbers):
            spectrum = book.get_as(numbers[0], SpectrumFile)
            return _calibrated(book, spectrum, sources, None)[0].spectra[0].fitted
        case Relock(spectrum_id=number, scale_id=old_id):
            old = book.get(old_id).body
            if isinstance(old, Scale | Relock):
                spectrum = book.get_as(number, SpectrumFile)
                return _relocked(book, spectrum, old_id, old.scale, sources, None)[0].fitted
    raise InputError(f"record {scale_id} is no scale.")


def calibrate_in_book(
    book: Book, spectrum_id: int, sources: Sequence[str] = (), *, made_on: date, progress: Progress | None = None
) -> tuple[BookRecord[Scale], CalibrationReport]:
    """Calibrate with a spectrum of the book, and keep the scale.

    Parameters
    ----------
    book : Book
        Where spectrum, background, instrument and sources are, and the scale goes.
    spectrum_id : int
        Its record.
    sources : sequence of str
        Words for what was counted; without them the things that the record names.
    made_on : date
        Day of the calibration.
    progress : callable, optional
        Called with (share done, what).

    Raises
    ------
    InputError
        Something that it needs is not in the book.
    RefusedError
        No safe lock; nothing is kept.
    """
    spectrum = book.get_as(spectrum_id, SpectrumFile)
    report, document = _calibrated(book, spectrum, sources, progress)
    things = tuple(n for n in spectrum.body.thing_ids if book.get(n).kind in ("source", "stock", "find"))
    body = Scale(
        name=f"Scale from {spectrum.name}",
        instrument_id=spectrum.body.instrument_id,
        spectrum_ids=(spectrum.id,),
        source_ids=things,
        made_on=made_on,
        method=str(document["method"]),
        scale=document,
    )
    added = book.add(body)
    keep_model(book, added.id, spectrum.id, sources, report.spectra[0].fitted)
    return added, report


def relock_in_book(
    book: Book,
    spectrum_id: int,
    sources: Sequence[str] = (),
    *,
    made_on: date,
    scale_id: int | None = None,
    progress: Progress | None = None,
) -> tuple[BookRecord[Relock], RelockReport]:
    """Re-lock the scale in force of the spectrum's instrument, and keep the new one.

    Raises
    ------
    InputError
        There is no scale of this instrument, or the record does not say what was counted.
    RefusedError
        No single gain fits; nothing is kept.
    """
    spectrum = book.get_as(spectrum_id, SpectrumFile)
    old = scale_in_force(book, spectrum.body.instrument_id) if scale_id is None else book.get(scale_id)
    if not isinstance(old.body, Scale | Relock):
        raise InputError(f"record {old.id} is a {old.kind}; a scale is needed.")
    report, document = _relocked(book, spectrum, old.id, old.body.scale, sources, progress)
    if progress is not None:
        progress(1.0, "done")
    moved = report.moved_percent
    body = Relock(
        name=f"Re-lock with {spectrum.name}",
        scale_id=old.id,
        spectrum_id=spectrum.id,
        made_on=made_on,
        gain_ratio=Value(value=1 + moved.value / 100, u=moved.u / 100),
        scale=document,
    )
    added = book.add(body)
    keep_model(book, added.id, spectrum.id, sources, report.fitted)
    return added, report


def has_scale(book: Book, instrument_id: int | None) -> bool:
    """Whether `scale_in_force` would find one."""
    first = None if instrument_id is None else book.get(instrument_id).first_id
    of = [scale.body.instrument_id for scale in book.current(Scale)]
    return any(first is None or (one is not None and book.get(one).first_id == first) for one in of)


def scale_in_force(
    book: Book, instrument_id: int | None, on: date | None = None
) -> BookRecord[Scale] | BookRecord[Relock]:
    """The newest scale or re-lock of an instrument; on a day the newest until then, or the first after it.

    Raises
    ------
    InputError
        The book holds none.
    """
    first = None if instrument_id is None else book.get(instrument_id).first_id
    found: list[BookRecord[Scale] | BookRecord[Relock]] = []
    for scale in book.current(Scale):
        of = scale.body.instrument_id
        if first is None or (of is not None and book.get(of).first_id == first):
            found.append(scale)
    # re-locks of these scales, and of those re-locks in turn
    relocks = book.current(Relock)
    firsts = {record.id: record.first_id for record in (*found, *relocks)}
    known, waiting = {record.first_id for record in found}, list(relocks)
    while waiting:
        ours: list[BookRecord[Relock]] = []
        others: list[BookRecord[Relock]] = []
        for relock in waiting:
            base = relock.body.scale_id
            (ours if (firsts.get(base) or book.get(base).first_id) in known else others).append(relock)
        if not ours:
            break
        found += ours
        known |= {relock.first_id for relock in ours}
        waiting = others
    if not found:
        raise InputError("the book holds no scale of this instrument; calibrate one of its spectra first.")
    found.sort(key=lambda record: (record.body.made_on, record.id))
    if on is None:
        return found[-1]
    return next((record for record in reversed(found) if record.body.made_on <= on), found[0])


def stored_scale(book: Book, record_id: int) -> EnergyScale:
    """The scale of a record, as the rest of the program takes it.

    Raises
    ------
    InputError
        The record holds no scale.
    """
    body = book.get(record_id).body
    if not isinstance(body, Scale | Relock):
        raise InputError(f"record {record_id} is a {body.kind}; a scale or re-lock is needed.")
    with tempfile.TemporaryDirectory() as folder:
        try:
            return read_scale(write_whole(Path(folder) / "scale.json", json.dumps(body.scale)))
        except TruekevError as error:
            raise InputError(f"record {record_id}: its scale cannot be read ({error}).") from error
