"""From what SQLite says to a sentence that says what happened to the book and what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from truekev.errors import FileFormatError, InputError, RefusedError, StoreError, TruekevError

__all__ = ["told_in_words"]

_SAID: tuple[tuple[str, type[TruekevError], str], ...] = (
    (
        "database or disk is full",
        StoreError,
        "the disk is full; nothing of this was written, all that was written before is safe. Make room, then repeat.",
    ),
    (
        "readonly database",
        StoreError,
        "it lies on a disk or in a folder that cannot be written; nothing was written. Copy the book to another place.",
    ),
    (
        "database is locked",
        StoreError,
        "another program has been writing to it for too long; nothing of this was written. Close the other, repeat.",
    ),
    (
        "never overwritten",
        RefusedError,
        "records are never overwritten or deleted; add a record that supersedes the old one.",
    ),
    (
        "records.supersedes",
        RefusedError,
        "another record has superseded that one meanwhile; look at the newest one and supersede it.",
    ),
    (
        "readings.supersedes",
        RefusedError,
        "another reading has superseded that one meanwhile; look at the newest one and supersede it.",
    ),
    (
        "not a database",
        FileFormatError,
        "it is not a bench book, or it is damaged from the first page on. Take a copy or import an export.",
    ),
    (
        "malformed",
        FileFormatError,
        "the book is damaged; nothing was changed. Keep this file, take a copy or import an export.",
    ),
    (
        "unable to open",
        InputError,
        "it cannot be opened. If a file of the same name ending in -wal lies beside it, copy both to a folder that "
        "can be written.",
    ),
    (
        "disk i/o error",
        StoreError,
        "the disk refuses (full, pulled out, or a limit on file size); nothing of this was written, all that was "
        "written before is safe.",
    ),
)


@contextmanager
def told_in_words(path: Path) -> Iterator[None]:
    """Raise what SQLite complains of, inside this block, as one of the program's errors."""
    try:
        yield
    except DBAPIError as error:
        raise _in_words(path, str(error.orig)) from error
    except sqlite3.Error as error:
        raise _in_words(path, str(error)) from error


def _in_words(path: Path, said: str) -> TruekevError:
    lowered = said.lower()
    for mark, kind, sentence in _SAID:
        if mark in lowered:
            return kind(f"{path}: {sentence}")
    return StoreError(f"{path}: the book cannot take this ({said}); nothing of it was written.")
