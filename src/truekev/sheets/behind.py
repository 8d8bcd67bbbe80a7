"""The lines at the foot of a sheet: records, program and tables behind it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from truekev.book.body import Body
from truekev.book.records import BookRecord
from truekev.record import sha256_of
from truekev.tables.loader import table_versions
from truekev.version import __version__

__all__ = ["versions_of"]


def versions_of(records: Iterable[BookRecord[Body]], tables: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """Lines that name the records (with sha256), this program, and all tables by one common sha256."""
    used = dict(table_versions() if tables is None else tables)
    text = "\n".join(f"{name} {version}" for name, version in sorted(used.items()))
    lines = [
        f"record {r.id} ({r.kind}, {r.name}), written {r.created:%Y-%m-%d %H:%M} UTC by {r.program}, "
        f"sha256 {r.sha256[:24]}"
        for r in records
    ]
    return (
        *lines,
        f"typeset by truekev {__version__}; its {len(used)} data tables: sha256 {sha256_of(text.encode())[:24]} over "
        "names and versions, all of which are in the book",
    )
