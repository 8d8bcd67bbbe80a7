"""What every result carries: the program's version, its tables' versions, and the inputs."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from truekev.version import __version__

__all__ = ["InputFile", "Record", "sha256_of"]


def sha256_of(data: bytes) -> str:
    """Hexadecimal sha256 of `data`."""
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True)
class InputFile:
    """A file that went into a result: its name and the sha256 of its bytes."""

    name: str
    sha256: str

    @classmethod
    def of(cls, path: str | Path) -> InputFile:
        """The record of a file on disk."""
        return cls(name=str(path), sha256=sha256_of(Path(path).read_bytes()))


@dataclass(frozen=True)
class Record:
    """Inputs, table versions and program version behind a result."""

    inputs: tuple[InputFile, ...] = ()
    settings: Mapping[str, object] = field(default_factory=dict)
    tables: Mapping[str, str] = field(default_factory=dict)
    program: str = f"truekev {__version__}"

    @classmethod
    def make(
        cls,
        inputs: Iterable[InputFile] = (),
        settings: Mapping[str, object] | None = None,
        tables: Mapping[str, str] | None = None,
    ) -> Record:
        """A record of this program with the given inputs, settings and tables' versions."""
        return cls(inputs=tuple(inputs), settings=dict(settings or {}), tables=dict(tables or {}))
