"""Spectra: the frozen Spectrum, N42.42 and column files, rebinning, slices."""
