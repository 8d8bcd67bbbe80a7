"""Whether a book is whole: the file, every record, every stored file, every reference."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, select

from truekev.book.book import Book
from truekev.book.kinds import KINDS, body_from_mapping
from truekev.book.layout import blobs, holdings, origins, readings, records, refs
from truekev.book.records import NewFile, record_sha256
from truekev.errors import InputError

__all__ = ["BookCheck", "check_book"]


@dataclass(frozen=True)
class BookCheck:
    """What a check found: numbers of rows, and a sentence per fault (none: the book is whole)."""

    path: Path
    title: str
    n_records: int
    n_files: int
    n_readings: int
    n_bytes: int
    records_by_kind: dict[str, int]
    faults: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """True where no fault was found."""
        return not self.faults


def check_book(book: Book, progress: Callable[[float, str], None] | None = None) -> BookCheck:
    """Check all of a book: SQLite's own check, numbering, sha256 of records and files, references."""
    tell = progress or (lambda _fraction, _what: None)
    faults: list[str] = []
    with book.reading() as connection:
        tell(0.0, "the file")
        said = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
        faults += [f"file: {text}" for text in said if text != "ok"]
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        faults += [f"table {row[0]}, row {row[1]}: it points to something that is not there." for row in broken]
        n_records = _numbering(connection, "records", faults)
        n_readings = _numbering(connection, "readings", faults)
        _records(connection, n_records, faults, tell)
        n_files = _files(connection, faults, tell)
    facts = book.facts()
    return BookCheck(
        book.path,
        facts.get("title", ""),
        n_records,
        n_files,
        n_readings,
        book.path.stat().st_size,
        book.count(),
        tuple(faults),
    )


def _numbering(connection: Connection, table: str, faults: list[str]) -> int:
    """Numbers run from 1 without a gap up to the last one ever given."""
    of = {"records": records, "readings": readings}[table]
    n, last = connection.execute(select(func.count(), func.coalesce(func.max(of.c.id), 0))).one()
    given = connection.exec_driver_sql("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).scalar() or 0
    if not n == last == given:
        faults.append(f"{table}: {n} are there, numbered up to {last}, while {given} were written: some are missing.")
    return int(n)


def _records(connection: Connection, n_records: int, faults: list[str], tell: Callable[[float, str], None]) -> None:
    linked: dict[int, set[tuple[str, int]]] = {}
    for record_id, field, to_id in connection.execute(select(refs)):
        linked.setdefault(record_id, set()).add((field, to_id))
    held: dict[int, set[tuple[str, str]]] = {}
    for record_id, field, sha256 in connection.execute(select(holdings)):
        held.setdefault(record_id, set()).add((field, sha256))
    query = select(records, origins.c.program, origins.c.tables).join(origins, origins.c.id == records.c.origin_id)
    for i, row in enumerate(connection.execute(query.order_by(records.c.id))):
        tell(0.1 + 0.5 * i / max(n_records, 1), "records")
        where = f"record {row.id} ({row.kind})"
        wanted = record_sha256(
            row.id, row.kind, row.name, row.created, row.supersedes, row.body, row.program, row.tables
        )
        if wanted != row.sha256:
            faults.append(f"{where}: its sha256 does not fit what it says; it was changed by other means.")
            continue
        if row.kind not in KINDS:
            faults.append(f"{where}: its kind is not known to this version.")
            continue
        try:
            body = body_from_mapping(row.kind, json.loads(row.body), file=where)
        except (InputError, ValueError) as error:
            faults.append(f"{where}: {error}")
            continue
        if set(body.references()) != linked.get(row.id, set()) or set(body.file_hashes()) != held.get(row.id, set()):
            faults.append(f"{where}: what it refers to is not written down as it says.")


def _files(connection: Connection, faults: list[str], tell: Callable[[float, str], None]) -> int:
    hashes = connection.execute(select(blobs.c.sha256, blobs.c.size).order_by(blobs.c.sha256)).all()
    for i, (sha256, size) in enumerate(hashes):
        tell(0.6 + 0.4 * i / len(hashes), "stored files")
        data = connection.scalar(select(blobs.c.data).where(blobs.c.sha256 == sha256)) or b""
        if len(data) != size or NewFile(data).sha256 != sha256:
            faults.append(f"file {sha256[:16]}…: its bytes have changed.")
    return len(hashes)
