"""A re-lock of a file with what the bench book knows; beyond the limit spectrum and scale go into the book."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord, NewFile
from truekev.book.spectra import add_spectrum_file
from truekev.book.work import Relock, Scale, SpectrumFile
from truekev.errors import InputError
from truekev.files import write_whole
from truekev.job.book_files import background_record, detector_file, spectrum_file
from truekev.job.book_scales import (
    plain_scale,
    scale_in_force,
    source_words_of,
    stored_scale,
)
from truekev.job.fitted_model import keep_model
from truekev.job.relock_spectrum import relock_file
from truekev.job.relock_tonight import ROOM, Prediction, Tonight, headline_of, predicted, since_words
from truekev.scale.temperature import TemperatureLine, temperature_line
from truekev.spectra.content import bytes_of_file
from truekev.spectra.read import read_spectrum

__all__ = ["coefficient_in_book", "relock_file_with_book"]

_LIMIT_PERCENT = 0.5
_U_DEGC = 0.5
_LEAST_U = 1e-4


def _made_from(book: Book, record: BookRecord[Scale] | BookRecord[Relock]) -> BookRecord[Scale]:
    """The calibration that a scale, through its re-locks, goes back to."""
    body = record.body
    while isinstance(body, Relock):
        older = book.get(body.scale_id)
        if isinstance(older.body, Scale):
            return book.get_as(older.id, Scale)
        if not isinstance(older.body, Relock):
            break
        body = older.body
    return book.get_as(record.id, Scale)


def coefficient_in_book(book: Book, in_force: BookRecord[Scale] | BookRecord[Relock]) -> tuple[TemperatureLine, float]:
    """How the gain went with temperature over a calibration and its re-locks; and the temperature of the one in force.

    Raises
    ------
    InputError
        The scale in force has no temperature.
    RefusedError
        Fewer than three different temperatures.
    """
    first = _made_from(book, in_force).first_id
    degc, log_gain, u_log_gain = [], [], []
    own: float | None = None

    def take(record_id: int, number: int, scale: Mapping[str, Any], u: float) -> None:
        nonlocal own
        temperature = book.get_as(number, SpectrumFile).body.temperature_degc
        if temperature is None:
            return
        degc.append(temperature.value)
        log_gain.append(float(np.log(scale["pulse"]["gain"])))
        u_log_gain.append(max(u, _LEAST_U))
        own = temperature.value if record_id == in_force.id else own

    for one in book.current(Scale):
        if one.first_id == first:
            u = float(np.sqrt(stored_scale(book, one.id).covariance[1, 1]))
            take(one.id, one.body.spectrum_ids[0], one.body.scale, u)
    for again in book.current(Relock):
        if _made_from(book, again).first_id == first:
            take(again.id, again.body.spectrum_id, again.body.scale, again.body.gain_ratio.u)
    line = temperature_line(degc, log_gain, u_log_gain)
    if own is None:
        raise InputError("--temperature: the scale in force was made at a temperature that the book does not say.")
    return line, own


def relock_file_with_book(
    book: Book,
    spectrum: str | Path,
    *,
    sources: Sequence[str] = (),
    limit_percent: float | None = None,
    background_only: bool = False,
    temperature_degc: float | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> Tonight:
    """Re-lock the newest scale of the book with a spectrum file.

    Instrument, source and background are those of the book. Beyond the limit (default 0.5 %) the file and the new scale
    are kept in it; within, nothing is.

    Raises
    ------
    InputError
        The book holds no scale or does not say what it was made with, or the file cannot be used.
    RefusedError
        The spectrum does not fit scale and source.
    """
    old = scale_in_force(book, None)
    root = _made_from(book, old)
    one = read_spectrum(spectrum)
    limit = _LIMIT_PERCENT if limit_percent is None else limit_percent
    facts = {"instrument_id": root.body.instrument_id, "thing_ids": root.body.source_ids}
    body = SpectrumFile.model_validate(
        {
            "name": Path(spectrum).name,
            "file_sha256": NewFile(bytes_of_file(spectrum)).sha256,
            "file_name": Path(spectrum).name,
            "start": None if one.start is None else one.start.replace(tzinfo=None),
            "n_channels": one.n_channels,
            "counts": float(one.counts.sum()),
            **facts,
        }
    )
    prediction: Prediction | None = None
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        room = None if background_only else background_record(book, body)
        words: tuple[str, ...] = tuple(sources)
        if background_only:
            words = (ROOM,)
        elif not words and root.body.source_ids:
            words = source_words_of(book, body, folder, str(spectrum))
        report = relock_file(
            spectrum,
            write_whole(folder / f"scale-{old.id}.json", json.dumps(old.body.scale)),
            sources=words,
            detector=detector_file(book, body, folder),
            background=None if room is None else str(spectrum_file(book, room, folder)),
            progress=progress,
        )
        document = plain_scale(report.scale, folder)
    moved = report.moved_percent
    if temperature_degc is not None:
        line, at_degc = coefficient_in_book(book, old)
        prediction = predicted(line.percent_per_degc, at_degc, temperature_degc, _U_DEGC, moved)
    beyond = abs(moved.value) > limit
    written: tuple[str, ...] = ()
    if beyond:
        degc = None if temperature_degc is None else Value(value=temperature_degc, u=_U_DEGC)
        kept = add_spectrum_file(book, spectrum, temperature_degc=degc, **facts)
        added = book.add(
            Relock(
                name=f"Re-lock with {kept.name}",
                scale_id=old.id,
                spectrum_id=kept.id,
                made_on=date.today() if one.start is None else one.start.date(),
                gain_ratio=Value(value=1 + moved.value / 100, u=moved.u / 100),
                scale=document,
            )
        )
        keep_model(book, added.id, kept.id, words, report.fitted)
        written = (f"record {added.id} of the book",)
    return Tonight(
        headline_of(moved, since_words(report.old_scale), limit, new="new scale written"),
        report,
        limit,
        beyond,
        "the bench book",
        written,
        prediction,
    )
