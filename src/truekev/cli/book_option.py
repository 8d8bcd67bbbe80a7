"""The option `--book` that commands share, and opening the book that it names."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from truekev.errors import InputError

if TYPE_CHECKING:
    from truekev.book.book import Book

__all__ = ["BookOption", "book_path", "opened_book"]

VARIABLE = "TRUEKEV_BOOK"

# A command writes `book: BookOption = None` among its parameters.
BookOption = Annotated[
    str | None,
    typer.Option("--book", envvar=VARIABLE, metavar="FILE", help="The bench book; `truekev book new` makes one."),
]


def book_path(given: str | None) -> Path:
    """The path of the book that was named by option or environment.

    Raises
    ------
    InputError
        None was named.
    """
    if not given:
        raise InputError(
            f"no bench book was named: give --book FILE, or set the environment variable {VARIABLE}; "
            "`truekev book new lab.book` makes one."
        )
    return Path(given)


@contextmanager
def opened_book(given: str | None, *, write: bool | None = None) -> Iterator[Book]:
    """The open book of a command; closed at the end."""
    from truekev.book.book import Book

    with Book.open(book_path(given), write=write) as book:
        yield book
