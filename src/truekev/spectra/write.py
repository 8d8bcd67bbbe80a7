"""Writing a spectrum to a file, in the format of the file name's ending."""

from __future__ import annotations

from pathlib import Path

import numpy.typing as npt

from truekev.errors import InputError
from truekev.files import write_whole
from truekev.record import Record
from truekev.spectra.columns_write import columns_text
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import Spectrum

__all__ = ["write_spectrum"]


def write_spectrum(
    spectrum: Spectrum,
    path: str | Path,
    *,
    energy_edges_kev: npt.ArrayLike | None = None,
    compress: bool = True,
    record: Record | None = None,
) -> Path:
    """Write `spectrum` to `path`: ending .n42 as N42.42-2012, .csv as plain columns; returns the path.

    Parameters
    ----------
    spectrum : Spectrum
        What is written.
    path : path
        Its ending chooses the format.
    energy_edges_kev : array, shape (n + 1,), or None
        Corrected energies of the channel edges [keV] as columns; only for .csv (for .n42 give the spectrum its
        `corrected_scale`).
    compress : bool
        Runs of zeros as CountedZeroes; only for .n42.
    record : Record or None
        What the result rests on, written into the file.

    Raises
    ------
    InputError
        Another ending, or energy edges for .n42. Nothing is written.
    StoreError
        The file cannot be written.
    """
    ending = Path(path).suffix.lower()
    if ending == ".csv":
        return write_whole(path, columns_text(spectrum, energy_edges_kev=energy_edges_kev, record=record))
    if ending != ".n42":
        raise InputError(f"{path}: the ending {ending!r} is not known; end the name in .n42 or .csv.")
    if energy_edges_kev is not None:
        raise InputError(f"{path}: energy columns go into .csv; for .n42 give the spectrum its corrected scale.")
    return write_whole(path, n42_bytes(spectrum, compress=compress, record=record))
