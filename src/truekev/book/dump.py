"""The whole content of a book as lines of text: two books are the same where these are."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Table, select

from truekev.book.book import Book
from truekev.book.layout import blobs, holdings, meta, metadata, origins, readings, records, refs
from truekev.book.records import NewFile, canonical

__all__ = ["dump_lines"]

_TABLES: tuple[Table, ...] = (meta, origins, records, refs, blobs, holdings, readings)


def dump_lines(book: Book) -> Iterator[str]:
    """Every row of every table as one line of JSON, in the order of the keys; bytes as their sha256."""
    assert set(_TABLES) == set(metadata.tables.values())
    with book.reading() as connection:
        for table in _TABLES:
            for row in connection.execute(select(table).order_by(*table.primary_key.columns)):
                values = [NewFile(v).sha256 if isinstance(v, bytes) else v for v in row]
                yield canonical([table.name, *values])
