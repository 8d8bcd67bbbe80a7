"""Spectra: the frozen Spectrum, N42.42 and column files, rebinning, slices."""

from truekev.spectra.read import read_spectra, read_spectrum
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.spectra.write import write_spectrum

__all__ = ["ClaimedScale", "Spectrum", "read_spectra", "read_spectrum", "write_spectrum"]
