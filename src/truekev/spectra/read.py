"""Reading a spectrum from a file, by its content and not by its name's ending."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from truekev.errors import FileFormatError
from truekev.record import sha256_of
from truekev.spectra.columns import spectrum_of_columns
from truekev.spectra.content import bytes_of_file, is_xml, text_of_bytes
from truekev.spectra.spectrum import Spectrum

__all__ = ["read_spectra", "read_spectrum"]


def read_spectra(path: str | Path) -> tuple[Spectrum, ...]:
    """All spectra of the file `path`, in its order, with their roles; plain columns hold one.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field.
    """
    data = bytes_of_file(path)
    if is_xml(data):
        raise FileFormatError("XML cannot be read.", file=path)
    spectrum = spectrum_of_columns(text_of_bytes(data, file=str(path)), file=str(path))
    return (replace(spectrum, sha256=sha256_of(data)),)


def read_spectrum(path: str | Path) -> Spectrum:
    """The spectrum of the file `path`.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field.
    """
    return read_spectra(path)[0]
