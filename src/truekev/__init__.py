"""truekev: a thorium check source and a true energy scale for a small scintillation spectrometer."""

from truekev.compile_cache import choose_cache_folder
from truekev.version import __version__

__all__ = ["__version__"]

choose_cache_folder()
