"""Where compiled code and fonts are kept: the user's cache folder, or one for this run where that cannot be written."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path

import platformdirs

__all__ = ["choose_cache_folder"]


def choose_cache_folder() -> None:
    """Give numba (and matplotlib) a folder to write where the user's cache folder cannot be written.

    numba refuses to load a function whose code it can keep nowhere. The folder of one run is private and is
    removed at the end, so that nobody else can put code into it; such a run prepares anew each time.
    Must run before numba is imported.
    """
    stated = os.environ.get("NUMBA_CACHE_DIR")
    if _can_be_written(Path(stated) if stated else platformdirs.user_cache_path("truekev")):
        return
    folder = tempfile.mkdtemp(prefix="truekev-compiled-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    os.environ["NUMBA_CACHE_DIR"] = folder
    os.environ.setdefault("MPLCONFIGDIR", folder)


def _can_be_written(folder: Path) -> bool:
    """Whether the folder, or the nearest one above it that exists, can be written."""
    for place in (folder, *folder.parents):
        if place.exists():
            return place.is_dir() and os.access(place, os.W_OK | os.X_OK)
    return False
