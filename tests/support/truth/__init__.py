"""Simulated spectra that do not come from the program's own model."""
