"""Responses on disk: one file per line or spectrum under a hash of all that defines it; whole or absent."""

from __future__ import annotations

import hashlib
import io
import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import platformdirs

from truekev.errors import StoreError
from truekev.files import write_whole
from truekev.tables import loader
from truekev.transport.compiled import ENGINE

__all__ = ["ResponseStore", "response_key"]

_DIGEST_BYTES = 32
_TABLES = (
    "atomic_shells.csv",
    "bremsstrahlung.npz",
    "electron_response.csv",
    "electron_spin_factors.npz",
    "elements.csv",
    "photoelectric_shares.npz",
    "photon_cross_sections.npz",
    "scattering_functions.npz",
    "xray_lines.csv",
)


def response_key(*definition: object) -> str:
    """Hash of what defines a response, the state of the engine and the tables included.

    The parts must be frozen dataclasses, tuples, text or numbers: their `repr` tells all of them.
    """
    tables = tuple(loader.provenance(name).sha256 for name in _TABLES)
    text = repr((ENGINE, tables, definition))
    return hashlib.sha256(text.encode()).hexdigest()


class ResponseStore:
    """A folder of arrays by key; two processes may use it at once, and either may be killed at any moment.

    A file is written beside its name and renamed, and ends with the hash of its content; one that does not match
    counts as absent. A folder that cannot be written only costs time: nothing is kept.
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        own = os.environ.get("TRUEKEV_CACHE")
        default = Path(own) if own else platformdirs.user_cache_path("truekev")
        self.folder = Path(folder) if folder is not None else default / "responses"

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.response"

    def get(self, key: str) -> dict[str, npt.NDArray[np.float64]] | None:
        """The arrays kept under `key`, or None."""
        try:
            data = self._path(key).read_bytes()
        except OSError:
            return None
        body, digest = data[:-_DIGEST_BYTES], data[-_DIGEST_BYTES:]
        if hashlib.sha256(body).digest() != digest:
            return None
        with np.load(io.BytesIO(body)) as archive:
            return {name: archive[name] for name in archive.files}

    def put(self, key: str, **arrays: npt.NDArray[np.float64]) -> bool:
        """Keep arrays under `key`; False if the folder cannot be written."""
        stream = io.BytesIO()
        np.savez(stream, allow_pickle=False, **arrays)
        body = stream.getvalue()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self._path(key), body + hashlib.sha256(body).digest())
        except (OSError, StoreError):
            return False
        return True
