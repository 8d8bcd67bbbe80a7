"""Spectra in the book: the file's bytes as they came, and one record per spectrum in them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord, NewFile
from truekev.book.work import SpectrumFile
from truekev.errors import FileFormatError
from truekev.spectra.content import bytes_of_file, is_xml
from truekev.spectra.read import spectra_of_bytes, spectrum_of_bytes
from truekev.spectra.spectrum import Spectrum

__all__ = ["add_spectrum", "add_spectrum_file", "stored_spectrum"]


def add_spectrum_file(book: Book, path: str | Path, **facts: object) -> BookRecord[SpectrumFile]:
    """Add the spectrum of a file on disk; see `add_spectrum`."""
    return add_spectrum(book, bytes_of_file(path), Path(path).name, **facts)  # type: ignore[arg-type]


def add_spectrum(
    book: Book,
    data: bytes,
    file_name: str,
    *,
    name: str = "",
    number: int | None = None,
    role: str = "",
    instrument_id: int | None = None,
    thing_ids: Sequence[int] = (),
    sample_id: int | None = None,
    background_id: int | None = None,
    place: str = "",
    temperature_degc: Value | None = None,
    remarks: str = "",
) -> BookRecord[SpectrumFile]:
    """Recognise the bytes of a spectrum file, keep them, and add a record of one spectrum in them.

    Parameters
    ----------
    book : Book
        Where it goes.
    data, file_name
        The bytes as they came, and what the file was called.
    name : str
        What to call it; the file's name if empty.
    number : int, optional
        Which spectrum, from 1, as `spectra_of_bytes` lists them; without it the file must hold one.
    role : str
        Overrides the role that the file states.
    instrument_id, thing_ids, sample_id, background_id
        Records that it belongs to.
    place, temperature_degc, remarks
        What the file does not say.

    Raises
    ------
    FileFormatError
        Not a spectrum file, or several spectra and no number.
    """
    found = spectra_of_bytes(data, file=file_name)
    if number is None and len(found) > 1:
        raise FileFormatError(f"holds {len(found)} spectra; say which by its number from 1.", file=file_name)
    chosen = number or 1
    one = spectrum_of_bytes(data, file=file_name, number=chosen)
    plain = "".join(c if c.isprintable() else "_" for c in Path(file_name).name)[-200:]
    body = SpectrumFile.model_validate(
        {
            "name": name or plain or "spectrum",
            "file_sha256": NewFile(data).sha256,
            "file_name": plain,
            "number": chosen,
            "role": role or one.role,
            "instrument_id": instrument_id,
            "thing_ids": tuple(thing_ids),
            "sample_id": sample_id,
            "background_id": background_id,
            "start": None if one.start is None else one.start.replace(tzinfo=None),
            "live_time_s": one.live_time_s if one.live_time_s is not None else one.counting_time_s,
            "real_time_s": one.real_time_s,
            "n_channels": one.n_channels,
            "counts": float(one.counts.sum()),
            "place": place,
            "temperature_degc": temperature_degc,
            "remarks": remarks,
        }
    )
    return book.add(body, files=[NewFile(data, "application/xml" if is_xml(data) else "text/csv")])


def stored_spectrum(book: Book, record_id: int) -> Spectrum:
    """The spectrum of a record, read again from the stored bytes."""
    body = book.get_as(record_id, SpectrumFile).body
    return spectrum_of_bytes(book.file(body.file_sha256).data, file=body.file_name, number=body.number)
