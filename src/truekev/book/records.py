"""What the book gives back: records with their bodies, stored files, summaries."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from truekev.book.body import Body

__all__ = ["BookRecord", "NewFile", "RecordLine", "StoredFile", "body_text", "canonical", "record_sha256"]

B_co = TypeVar("B_co", bound=Body, covariant=True)


@dataclass(frozen=True)
class BookRecord(Generic[B_co]):
    """One record as it stands in the book.

    Parameters
    ----------
    id, first_id : int
        Its number, and the number of the first record of this thing (they differ where it supersedes another).
    created : datetime
        When it was written, with its offset from universal time.
    supersedes, superseded_by : int or None
    body : Body
        The content, of the model that belongs to its kind.
    program : str
    tables : mapping
        What wrote it, and the versions of the program's tables then.
    sha256 : str
        Of everything in it.
    """

    id: int
    first_id: int
    created: datetime
    supersedes: int | None
    superseded_by: int | None
    body: B_co
    program: str
    tables: Mapping[str, str]
    sha256: str

    @property
    def kind(self) -> str:
        """The word for its kind."""
        return self.body.kind

    @property
    def name(self) -> str:
        """The name of what it is about."""
        return self.body.name

    @property
    def current(self) -> bool:
        """True unless a later record supersedes it."""
        return self.superseded_by is None


@dataclass(frozen=True)
class RecordLine:
    """A record as a list shows it, without its body."""

    id: int
    first_id: int
    kind: str
    name: str
    created: datetime
    current: bool


@dataclass(frozen=True)
class NewFile:
    """Bytes to store with a record; `media_type` as text/csv or image/png."""

    data: bytes
    media_type: str = "application/octet-stream"

    @property
    def sha256(self) -> str:
        """Hexadecimal sha256 of the bytes."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True)
class StoredFile:
    """Bytes as they were given to the book."""

    sha256: str
    media_type: str
    data: bytes


def body_text(body: Body) -> str:
    """A body as the one JSON text by which it is stored: keys sorted, nothing left out."""
    return canonical(body.model_dump(mode="json"))


def canonical(value: Any) -> str:
    """The one JSON text of plain values: keys sorted, no blanks, no NaN."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def record_sha256(
    id_: int, kind: str, name: str, created: str, supersedes: int | None, body: str, program: str, tables: str
) -> str:
    """Sha256 over all that a record says."""
    text = canonical([id_, kind, name, created, supersedes, body, program, tables])
    return hashlib.sha256(text.encode()).hexdigest()
