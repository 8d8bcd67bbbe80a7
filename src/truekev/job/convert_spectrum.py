"""The question: this spectrum in true energies, please."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from truekev.errors import InputError, RefusedError
from truekev.record import InputFile, Record
from truekev.scale.energy_scale import read_scale
from truekev.scale.polynomials import instrument_polynomial
from truekev.spectra.read import read_spectrum
from truekev.spectra.spectrum import ClaimedScale
from truekev.spectra.write import write_spectrum
from truekev.tables.loader import table_versions

__all__ = ["convert_file"]


def convert_file(file: str | Path, scale_file: str | Path, out: str | Path) -> Path:
    """Write a spectrum with the energies of a scale, as N42 (.n42) or columns (.csv).

    Raises
    ------
    InputError
        A file cannot be used, or spectrum and scale do not belong together.
    RefusedError
        The spectrum already carries a correction by this program.
    """
    spectrum = read_spectrum(file)
    scale = read_scale(scale_file)
    if spectrum.n_channels != scale.n_channels:
        raise InputError(
            f"{spectrum.file} has {spectrum.n_channels} channels, the scale belongs to {scale.n_channels}; "
            "use the scale of this instrument setting."
        )
    if spectrum.corrected_scale is not None:
        raise RefusedError(
            f"{spectrum.file} already carries a scale written by this program; it would be corrected twice.",
            "convert the file that came from the instrument.",
        )
    inputs = [InputFile(spectrum.file, spectrum.sha256), InputFile.of(scale_file)]
    record = Record.make(inputs, {"scale": str(scale_file)}, table_versions())
    if Path(out).suffix.lower() == ".n42":
        best = instrument_polynomial(scale, 3)
        note = (
            f"polynomial of degree 3, within {abs(best.largest_error_kev):.1f} keV of the full scale between "
            f"{best.low_kev:.0f} and {best.high_kev:.0f} keV"
        )
        spectrum = replace(spectrum, corrected_scale=ClaimedScale(best.coefficients_kev, note))
        return write_spectrum(spectrum, out, record=record)
    return write_spectrum(spectrum, out, energy_edges_kev=scale.edges_kev(), record=record)
