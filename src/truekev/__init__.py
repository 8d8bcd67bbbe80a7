"""truekev: a thorium check source and a true energy scale for a small scintillation spectrometer."""

from truekev.version import __version__

__all__ = ["__version__"]
