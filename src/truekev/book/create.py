"""Making the file of a book: beside its place, whole, then put there without writing over another."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection

from truekev.book.engine import engine_of
from truekev.book.failures import told_in_words
from truekev.book.migrate import migrate_to_newest
from truekev.errors import InputError, StoreError

__all__ = ["make_file"]


def make_file(target: Path, fill: Callable[[Connection], None]) -> None:
    """Make the file of a book beside its place, fill it, and put it there whole.

    Raises
    ------
    InputError
        A file of that name is there.
    StoreError
        The disk refuses.
    """
    if target.exists():
        raise InputError(f"{target}: is there already; a book is never written over. Choose another name.")
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
        os.close(handle)
    except OSError as error:
        raise StoreError(f"{target}: cannot be made ({error.strerror}); choose another folder.") from error
    part = Path(name)
    try:
        with told_in_words(target):
            engine = engine_of(part, write=True)
            try:
                with engine.connect() as connection:
                    connection.exec_driver_sql("COMMIT")
                    connection.exec_driver_sql("PRAGMA journal_mode = WAL")
                    connection.exec_driver_sql("BEGIN IMMEDIATE")
                    migrate_to_newest(connection)
                    fill(connection)
                    connection.commit()
            finally:
                engine.dispose()
        part.chmod(0o644)
        _put(part, target)
    finally:
        for leftover in (part, part.with_name(part.name + "-wal"), part.with_name(part.name + "-shm")):
            leftover.unlink(missing_ok=True)


def _put(part: Path, target: Path) -> None:
    """Give the finished file its name without ever writing over another."""
    try:
        os.link(part, target)
    except FileExistsError:
        raise InputError(f"{target}: is there already; a book is never written over. Choose another name.") from None
    except OSError:
        part.rename(target)  # disks that know no hard links
    folder = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
