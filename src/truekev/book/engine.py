"""Opening the file of a book: what it is, whether it can be written, and how SQLite is to treat it."""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import QueuePool

from truekev.book.failures import told_in_words
from truekev.book.layout import APPLICATION_ID, LAYOUT
from truekev.errors import FileFormatError, InputError, StoreError

__all__ = ["can_write", "check_header", "engine_of", "reading", "writing"]

_WAIT_S = 20.0
_MAGIC = b"SQLite format 3\x00"
_HEADER = 100


def can_write(path: Path) -> bool:
    """True where the file and its folder can be written (SQLite keeps its log beside the file)."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _has_log(path: Path) -> bool:
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def check_header(path: Path) -> int:
    """Layout number of the book at `path`, from the first bytes of the file alone.

    Raises
    ------
    InputError
        No such file, not a book, cut short, or written by a newer version.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEADER)
            size = stream.seek(0, os.SEEK_END)
    except OSError as error:
        raise InputError(
            f"{path}: there is no book to open ({error.strerror}); `truekev book new {path}` makes one."
        ) from error
    if len(head) < _HEADER:
        raise FileFormatError(f"cut short to {size} bytes; take a copy of the book or import an export.", file=path)
    if not head.startswith(_MAGIC):
        raise FileFormatError("not a bench book; `truekev book new` makes one.", file=path)
    page_size, n_pages = _geometry(head)
    if size < page_size * n_pages and not _has_log(path):
        raise FileFormatError(
            f"cut short: {size} of {page_size * n_pages} bytes are there. Nothing was changed; take a copy of the book "
            "or import an export.",
            file=path,
        )
    layout, application = struct.unpack(">I", head[60:64])[0], struct.unpack(">I", head[68:72])[0]
    if application != APPLICATION_ID:
        raise FileFormatError("an SQLite file, but not a bench book; `truekev book new` makes one.", file=path)
    if layout > LAYOUT:
        raise InputError(
            f"{path}: written by a newer truekev (layout {layout}; this version knows up to {LAYOUT}). Nothing was "
            "changed; install the newer version."
        )
    return int(layout)


def _geometry(head: bytes) -> tuple[int, int]:
    """Page size and number of pages as the header states them (0 pages where it does not count)."""
    page_size = struct.unpack(">H", head[16:18])[0]
    change, n_pages, valid_for = head[24:28], struct.unpack(">I", head[28:32])[0], head[92:96]
    return (65536 if page_size == 1 else page_size), (n_pages if change == valid_for else 0)


def engine_of(path: Path, *, write: bool) -> Engine:
    """An engine on the file. Every acknowledged write is on the disk (WAL, synchronous FULL)."""
    mode = "mode=rw" if write else "mode=ro" if _has_log(path) or can_write(path) else "mode=ro&immutable=1"
    uri = f"{path.resolve().as_uri()}?{mode}"

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=_WAIT_S, check_same_thread=False)
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA synchronous = FULL")
        if not write:
            connection.execute("PRAGMA query_only = ON")
        return connection

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, pool_size=4, max_overflow=12)
    event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: Connection) -> None:
    # The driver's own transactions are off: writers take the lock at once, so that two never deadlock half-way.
    writes = connection.get_execution_options().get("truekev_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine, path: Path) -> Iterator[Connection]:
    """A connection that sees one state of the book throughout."""
    with told_in_words(path), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine, path: Path, *, write: bool) -> Iterator[Connection]:
    """A connection whose writes are all there, on the disk, when the block ends, or not at all.

    Raises
    ------
    StoreError
        The book was opened for reading only, the disk is full or refuses, another writer does not end.
    """
    if not write:
        raise StoreError(
            f"{path}: opened for reading only, as the file or its folder cannot be written; nothing was written. Copy "
            "the book to another place."
        )
    with told_in_words(path), engine.connect() as connection:
        marked = connection.execution_options(truekev_writes=True)
        with marked.begin():
            yield marked
