"""The bench book: open it, add records, ask for them. Nothing in it is ever overwritten."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar, cast
from uuid import uuid4

from sqlalchemy import Connection, Engine, Row, Select, func, insert, select

from truekev.book import layout
from truekev.book.append import append_record, origin_of_program, store_file
from truekev.book.body import Body, InputRecord
from truekev.book.create import make_file
from truekev.book.engine import can_write, check_header, engine_of, reading, writing
from truekev.book.kinds import body_from_mapping, kind_named
from truekev.book.layout import blobs, meta, origins, records, refs
from truekev.book.migrate import migrate_to_newest
from truekev.book.records import BookRecord, NewFile, RecordLine, StoredFile
from truekev.book.work import Withdrawn
from truekev.errors import InputError, OutOfRangeError, StoreError

__all__ = ["Book"]

B = TypeVar("B", bound=Body)
_LARGEST_FILE = 256 * 1024 * 1024
_LARGEST_ID = 2**63 - 1

_later = records.alias("later")
_COLUMNS = (
    records.c.id,
    records.c.first_id,
    records.c.kind,
    records.c.name,
    records.c.created,
    records.c.supersedes,
    records.c.body,
    records.c.sha256,
    origins.c.program,
    origins.c.tables,
    _later.c.id.label("superseded_by"),
)
_FROM = records.join(origins, origins.c.id == records.c.origin_id).outerjoin(
    _later, _later.c.supersedes == records.c.id
)


def _now() -> datetime:
    return datetime.now(UTC)


class Book:
    """An open bench book. Use `Book.create` and `Book.open`; several threads may share one.

    Parameters
    ----------
    path : Path
        The file.
    write : bool
        Whether it can be written.
    clock : callable
        Gives the time for `created`.
    """

    def __init__(self, path: Path, *, write: bool, clock: Callable[[], datetime] = _now) -> None:
        self.path = path
        self.write = write
        self._clock = clock
        self._engine: Engine = engine_of(path, write=write)

    @classmethod
    def create(cls, path: str | Path, title: str, *, clock: Callable[[], datetime] = _now) -> Book:
        """Make an empty book; the file is whole or absent, and no other file is written over.

        Raises
        ------
        InputError
            A file of that name is there, or the title is empty.
        StoreError
            The disk refuses.
        """
        if not title.strip() or not title.isprintable():
            raise InputError(f"title {title!r}: a book needs a title of one line.")
        entries = {"title": title.strip(), "id": str(uuid4()), "created": clock().isoformat()}
        make_file(Path(path), lambda connection: _write_meta(connection, entries))
        return cls.open(path, clock=clock)

    @classmethod
    def open(cls, path: str | Path, *, write: bool | None = None, clock: Callable[[], datetime] = _now) -> Book:
        """Open a book, for reading only where it cannot be written (or `write` is False).

        Raises
        ------
        InputError
            No such file, not a book, damaged, cut short, or written by a newer version.
        """
        file = Path(path)
        found = check_header(file)
        writable = can_write(file) if write is None else write
        if found < layout.LAYOUT and not writable:
            raise InputError(
                f"{file}: written by an older truekev (layout {found}); open it once where it can be written."
            )
        book = cls(file, write=writable, clock=clock)
        try:
            if found < layout.LAYOUT:
                with book.writing() as connection:
                    migrate_to_newest(connection)
            book.facts()
        except Exception:
            book.close()
            raise
        return book

    def close(self) -> None:
        """Give the file back; the log is merged into it by whoever closes last."""
        self._engine.dispose()

    def __enter__(self) -> Book:
        """The book itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One state of the book, for the rooms of the book that ask in their own way."""
        with reading(self._engine, self.path) as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """All of it or nothing, for the rooms of the book that write in their own way."""
        with writing(self._engine, self.path, write=self.write) as connection:
            yield connection

    def now(self) -> datetime:
        """The time by the book's clock."""
        return self._clock()

    def facts(self) -> dict[str, str]:
        """Title, identity and day of creation."""
        with self.reading() as connection:
            return {row.key: row.value for row in connection.execute(select(meta.c.key, meta.c.value))}

    # --- adding

    def add(self, body: B, *, supersedes: int | None = None, files: Iterable[NewFile] = ()) -> BookRecord[B]:
        """Append a record, with the files that it holds; on the disk when this returns, or not at all.

        Parameters
        ----------
        body : Body
            Its content.
        supersedes : int, optional
            The record that it takes the place of: the newest one of the same thing.
        files : iterable of NewFile
            Bytes named by sha256 in the body that the book may not hold yet.

        Raises
        ------
        InputError
            It refers to a record or file that is not there, or is of a kind that does not fit.
        RefusedError
            The record to supersede was superseded already.
        StoreError
            Nothing could be written.
        """
        return cast(BookRecord[B], self.add_many([(body, supersedes)], files=files)[0])

    def add_many(
        self, bodies: Sequence[tuple[Body, int | None]], *, files: Iterable[NewFile] = ()
    ) -> list[BookRecord[Body]]:
        """Append several records at once, all or none; each body with the record that it supersedes or None."""
        stored = list(files)
        for file in stored:
            if len(file.data) > _LARGEST_FILE:
                raise OutOfRangeError(f"a file of {len(file.data)} bytes: a book takes at most {_LARGEST_FILE}.")
        created = self._clock().isoformat()
        with self.writing() as connection:
            for file in stored:
                store_file(connection, file)
            origin_id, program, tables = origin_of_program(connection)
            return [
                append_record(connection, body, supersedes, created, origin_id, program, tables)
                for body, supersedes in bodies
            ]

    def withdraw(self, id_: int, why: str) -> BookRecord[Withdrawn]:
        """Supersede a record by the word that it should not have been written; it stays readable."""
        old = self.get(id_)
        return self.add(Withdrawn(name=old.name, why=why), supersedes=id_)

    # --- asking

    def get(self, id_: int) -> BookRecord[Body]:
        """The record with that number.

        Raises
        ------
        InputError
            There is none.
        """
        with self.reading() as connection:
            known = 0 < id_ <= _LARGEST_ID
            row = connection.execute(_query().where(records.c.id == id_)).one_or_none() if known else None
            if row is None:
                last = connection.scalar(select(func.max(records.c.id))) or 0
                raise InputError(
                    f"record {id_}: there is none; the book holds {f'1 to {last}' if last else 'none yet'}."
                )
        return _record(row)

    def get_as(self, id_: int, model: type[B]) -> BookRecord[B]:
        """The record with that number, which must be of one kind.

        Raises
        ------
        InputError
            There is none, or it is of another kind.
        """
        found = self.get(id_)
        if not isinstance(found.body, model):
            raise InputError(f"record {id_} is a {found.kind} ({found.name}); a {model.kind} is needed.")
        return cast(BookRecord[B], found)

    def newest(self, id_: int) -> BookRecord[Body]:
        """The record that stands today for the thing of record `id_`."""
        first = self.get(id_).first_id
        with self.reading() as connection:
            row = connection.execute(_query().where(records.c.first_id == first, _later.c.id.is_(None))).one()
        return _record(row)

    def history(self, id_: int) -> tuple[BookRecord[Body], ...]:
        """All records of one thing, oldest first."""
        first = self.get(id_).first_id
        with self.reading() as connection:
            rows = connection.execute(_query().where(records.c.first_id == first).order_by(records.c.id)).all()
        return tuple(_record(row) for row in rows)

    def current(
        self,
        model: type[B],
        name: str | None = None,
        *,
        role: str | None = None,
        limit: int | None = None,
        skip: int = 0,
    ) -> tuple[BookRecord[B], ...]:
        """Records of one kind that nothing supersedes, newest first; of one name or one role only if given."""
        query = _query().where(records.c.kind == model.kind, _later.c.id.is_(None))
        if name is not None:
            query = query.where(records.c.name == name)
        if role is not None:
            query = query.where(func.json_extract(records.c.body, "$.role") == role)
        query = query.order_by(records.c.id.desc()).limit(limit).offset(skip)
        with self.reading() as connection:
            rows = connection.execute(query).all()
        return tuple(cast(BookRecord[B], _record(row)) for row in rows)

    def lines(
        self, kind: str | None = None, *, only_current: bool = True, limit: int = 50, skip: int = 0
    ) -> tuple[RecordLine, ...]:
        """Records as a list shows them, newest first."""
        query = select(
            records.c.id, records.c.first_id, records.c.kind, records.c.name, records.c.created, _later.c.id.label("by")
        ).select_from(records.outerjoin(_later, _later.c.supersedes == records.c.id))
        if kind is not None:
            query = query.where(records.c.kind == kind_named(kind).kind)
        if only_current:
            query = query.where(_later.c.id.is_(None))
        with self.reading() as connection:
            rows = connection.execute(query.order_by(records.c.id.desc()).limit(limit).offset(skip)).all()
        return tuple(
            RecordLine(r.id, r.first_id, r.kind, r.name, datetime.fromisoformat(r.created), r.by is None) for r in rows
        )

    def count(self) -> dict[str, int]:
        """Number of records that nothing supersedes, by kind."""
        query = (
            select(records.c.kind, func.count())
            .select_from(records.outerjoin(_later, _later.c.supersedes == records.c.id))
            .where(_later.c.id.is_(None))
            .group_by(records.c.kind)
        )
        with self.reading() as connection:
            return {kind: int(n) for kind, n in connection.execute(query).all()}

    def about(self, id_: int, model: type[B]) -> tuple[BookRecord[B], ...]:
        """Current records of one kind that refer to the thing of record `id_` in any of its versions, oldest first."""
        target = records.alias("target")
        first = self.get(id_).first_id
        hits = (
            select(refs.c.record_id)
            .select_from(refs.join(target, target.c.id == refs.c.to_id))
            .where(target.c.first_id == first)
        )
        query = (
            _query()
            .where(records.c.kind == model.kind, _later.c.id.is_(None), records.c.id.in_(hits))
            .order_by(records.c.id)
        )
        with self.reading() as connection:
            rows = connection.execute(query).all()
        return tuple(cast(BookRecord[B], _record(row)) for row in rows)

    def file(self, sha256: str) -> StoredFile:
        """The stored file with that sha256, its bytes checked.

        Raises
        ------
        InputError
            There is none.
        StoreError
            Its bytes have changed: the disk is failing, or somebody wrote into the book by other means.
        """
        with self.reading() as connection:
            row = connection.execute(
                select(blobs.c.media_type, blobs.c.data).where(blobs.c.sha256 == sha256)
            ).one_or_none()
        if row is None:
            raise InputError(f"file {sha256[:16]}…: the book holds none with that sha256.")
        if NewFile(row.data).sha256 != sha256:
            raise StoreError(f"{self.path}: stored file {sha256[:16]}… is damaged; take it from a copy of the book.")
        return StoredFile(sha256, row.media_type, bytes(row.data))

    def input_of(self, id_: int) -> InputRecord:
        """How a result names record `id_` among its inputs."""
        return InputRecord(id=id_, sha256=self.get(id_).sha256)


def _write_meta(connection: Connection, entries: dict[str, str]) -> None:
    connection.execute(insert(meta), [{"key": key, "value": value} for key, value in entries.items()])


def _query() -> Select[Any]:
    return select(*_COLUMNS).select_from(_FROM)


@lru_cache(maxsize=64)
def _tables_of(text: str) -> dict[str, str]:
    """Versions of tables; the same text stands with thousands of records."""
    found: dict[str, str] = json.loads(text)
    return found


def _record(row: Row[Any]) -> BookRecord[Body]:
    return BookRecord(
        id=row.id,
        first_id=row.first_id,
        created=datetime.fromisoformat(row.created),
        supersedes=row.supersedes,
        superseded_by=row.superseded_by,
        body=body_from_mapping(row.kind, json.loads(row.body), file=f"record {row.id}"),
        program=row.program,
        tables=dict(_tables_of(row.tables)),
        sha256=row.sha256,
    )
