"""Reading spectra from a file, by its content and not by the ending of its name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from truekev.errors import FileFormatError
from truekev.record import sha256_of
from truekev.spectra.columns import spectrum_of_columns
from truekev.spectra.content import bytes_of_file, is_xml, text_of_bytes
from truekev.spectra.n42 import spectra_of_n42
from truekev.spectra.slices import sum_of_slices, why_not_slices
from truekev.spectra.spectrum import Spectrum

__all__ = ["read_spectra", "read_spectrum", "spectra_of_bytes", "spectrum_of_bytes"]


def read_spectra(path: str | Path) -> tuple[Spectrum, ...]:
    """All spectra of the file `path` (N42.42 or plain columns), in its order, with their roles.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field, and what to do.
    """
    return spectra_of_bytes(bytes_of_file(path), file=str(path))


def read_spectrum(path: str | Path, *, number: int | None = None) -> Spectrum:
    """One spectrum of the file `path`, with the file's background inside where it holds one.

    Parameters
    ----------
    path : path
        The file.
    number : int or None
        Which one, counted from 1 as `read_spectra` lists them. None: the only one; or the only one that is not a
        background; or, where the others are consecutive slices of one count, their sum with the slices inside.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field; also where the file leaves the choice open.
    """
    return spectrum_of_bytes(bytes_of_file(path), file=str(path), number=number)


def spectrum_of_bytes(data: bytes, *, file: str = "", number: int | None = None) -> Spectrum:
    """What `read_spectrum` gives for a file with the bytes `data`; `file` is its name for messages.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field; also where the file leaves the choice open.
    """
    spectra = spectra_of_bytes(data, file=file)
    if number is not None:
        if not 1 <= number <= len(spectra):
            raise FileFormatError(f"spectrum {number} was asked for; the file holds 1 to {len(spectra)}.", file=file)
        return spectra[number - 1]
    if len(spectra) == 1:
        return spectra[0]
    backgrounds = [s for s in spectra if s.role == "background"]
    others = [s for s in spectra if s.role != "background"]
    if not others:
        raise FileFormatError(f"{len(spectra)} backgrounds and nothing else; choose one by its number.", file=file)
    if len(others) > 1:
        why = why_not_slices(others)
        if not why and any(s.start is None for s in others):
            why = "their starts are not given."
        if why:
            raise FileFormatError(
                f"{len(others)} spectra which are not slices of one count: {why} Choose one by its number, 1 to "
                f"{len(spectra)}.",
                file=file,
            )
    spectrum = others[0] if len(others) == 1 else sum_of_slices(others)
    same_size = [s for s in backgrounds if s.n_channels == spectrum.n_channels]
    if len(same_size) == 1 and spectrum.background is None:
        spectrum = replace(spectrum, background=same_size[0])
    return spectrum


def spectra_of_bytes(data: bytes, *, file: str = "") -> tuple[Spectrum, ...]:
    """All spectra in the bytes of a file; `file` is its name for messages.

    Raises
    ------
    FileFormatError
        One sentence with file, line and field, and what to do.
    """
    if is_xml(data):
        spectra = spectra_of_n42(data, file=file)
    else:
        spectra = (spectrum_of_columns(text_of_bytes(data, file=file), file=file),)
    sha256 = sha256_of(data)
    return tuple(_stamped(spectrum, sha256) for spectrum in spectra)


def _stamped(spectrum: Spectrum, sha256: str) -> Spectrum:
    background = spectrum.background
    return replace(
        spectrum,
        sha256=sha256,
        slices=tuple(replace(part, sha256=sha256) for part in spectrum.slices),
        background=None if background is None else replace(background, sha256=sha256),
    )
