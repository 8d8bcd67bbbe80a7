"""Reads the program's data tables and their provenance.

A table is a file in this folder; beside it lies `<name>.provenance.toml` with the keys of `Provenance`.
"""

from __future__ import annotations

import csv
import hashlib
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable

from truekev.errors import DataError

__all__ = ["Provenance", "provenance", "table_bytes", "table_names", "table_rows", "table_versions"]

_FIELDS = ("what", "units", "citation", "version", "licence", "date", "sha256", "built_by")


@dataclass(frozen=True)
class Provenance:
    """Where a table comes from: what it holds, units, citation, version of the source, licence,
    date it was built, sha256 of the file, and the script in `tools/` that rebuilds it.
    """

    name: str
    what: str
    units: str
    citation: str
    version: str
    licence: str
    date: str
    sha256: str
    built_by: str


def _folder() -> Traversable:
    return resources.files("truekev.tables")


@cache
def table_names() -> tuple[str, ...]:
    """Names of all data tables, sorted."""
    ending = ".provenance.toml"
    return tuple(sorted(f.name.removesuffix(ending) for f in _folder().iterdir() if f.name.endswith(ending)))


@cache
def provenance(name: str) -> Provenance:
    """The provenance of table `name` (file name with ending, as `photon_lines.csv`).

    Raises
    ------
    DataError
        The provenance is missing, lacks a field, or has one too many.
    """
    file = _folder() / f"{name}.provenance.toml"
    if not file.is_file():
        raise DataError(f"table {name}: its provenance file is missing; reinstall truekev.")
    entries = tomllib.loads(file.read_text(encoding="utf-8"))
    if set(entries) != set(_FIELDS):
        raise DataError(f"table {name}: provenance must have exactly the fields {', '.join(_FIELDS)}.")
    return Provenance(name=name, **{key: str(entries[key]) for key in _FIELDS})


@cache
def table_bytes(name: str) -> bytes:
    """The bytes of table `name`, checked against the sha256 of its provenance.

    Raises
    ------
    DataError
        The file is missing or does not have the recorded sha256.
    """
    file = _folder() / name
    if not file.is_file():
        raise DataError(f"table {name} is missing; reinstall truekev.")
    data = file.read_bytes()
    if hashlib.sha256(data).hexdigest() != provenance(name).sha256:
        raise DataError(f"table {name} is damaged (sha256 differs from its provenance); reinstall truekev.")
    return data


@cache
def table_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a CSV table as dictionaries of text; lines that start with # are comments."""
    lines = [line for line in table_bytes(name).decode().splitlines() if line and not line.startswith("#")]
    return tuple(csv.DictReader(lines))


@cache
def table_versions() -> dict[str, str]:
    """Version of every table by name, for the record that every result carries."""
    return {name: f"{provenance(name).version} ({provenance(name).date})" for name in table_names()}
