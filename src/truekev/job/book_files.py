"""Files that a reckoning needs, written out of the book into a folder for as long as it runs."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Instrument
from truekev.book.work import SpectrumFile
from truekev.errors import RefusedError
from truekev.files import write_whole
from truekev.job.background import background_in_force

__all__ = ["background_record", "detector_file", "spectrum_file"]


def spectrum_file(book: Book, record: BookRecord[SpectrumFile], folder: Path) -> Path:
    """The bytes of a spectrum's file as they came."""
    path = folder / f"record-{record.id}{Path(record.body.file_name).suffix[:8]}"
    return write_whole(path, book.file(record.body.file_sha256).data)


def background_record(book: Book, body: SpectrumFile, own_id: int | None = None) -> BookRecord[SpectrumFile] | None:
    """The background that a spectrum names, else the one in force with as many channels, else none.

    `own_id` is the spectrum's record, where it has one: no spectrum is its own background.
    """
    if body.background_id is not None:
        return book.get_as(body.background_id, SpectrumFile)
    try:
        found = background_in_force(book, body.start.date() if body.start else date.max, body.instrument_id)
    except RefusedError:
        return None
    return found if found.body.n_channels == body.n_channels and found.id != own_id else None


def detector_file(book: Book, body: SpectrumFile, folder: Path) -> str | None:
    """The description of a spectrum's instrument, if the book has it."""
    if body.instrument_id is None:
        return None
    instrument = book.newest(body.instrument_id)
    if not isinstance(instrument.body, Instrument) or not instrument.body.description.strip():
        return None
    return str(write_whole(folder / f"instrument-{instrument.id}.toml", instrument.body.description))
