"""Appending one record inside a transaction: its number, what it refers to, the files it holds."""

from __future__ import annotations

import json
from datetime import datetime

from sqlalchemy import Connection, and_, func, insert, select

from truekev.book.body import Body, InputRecord
from truekev.book.layout import blobs, holdings, origins, records, refs
from truekev.book.records import BookRecord, NewFile, body_text, canonical, record_sha256
from truekev.book.work import Withdrawn
from truekev.errors import InputError, RefusedError
from truekev.tables.loader import table_versions
from truekev.version import __version__

__all__ = ["append_record", "origin_of_program", "store_file", "write_links"]


def store_file(connection: Connection, file: NewFile) -> None:
    """Keep the bytes of a file, unless the book holds them already."""
    there = connection.scalar(select(blobs.c.size).where(blobs.c.sha256 == file.sha256))
    if there is None:
        connection.execute(
            insert(blobs).values(sha256=file.sha256, media_type=file.media_type, size=len(file.data), data=file.data)
        )


def origin_of_program(connection: Connection) -> tuple[int, str, str]:
    """Number of this program with its tables among the origins, written down if it is new."""
    program, tables = f"truekev {__version__}", canonical(table_versions())
    wanted = and_(origins.c.program == program, origins.c.tables == tables)
    found = connection.scalar(select(origins.c.id).where(wanted))
    if found is None:
        found = (connection.scalar(select(func.max(origins.c.id))) or 0) + 1
        connection.execute(insert(origins).values(id=found, program=program, tables=tables))
    return found, program, tables


def append_record(
    connection: Connection,
    body: Body,
    supersedes: int | None,
    created: str,
    origin_id: int,
    program: str,
    tables: str,
) -> BookRecord[Body]:
    """Append a body as the next record, with what it supersedes and refers to checked.

    Raises
    ------
    InputError
        It refers to a record or file that is not there, or is of a kind that does not fit.
    RefusedError
        The record to supersede was superseded already.
    """
    id_ = (connection.scalar(select(func.max(records.c.id))) or 0) + 1
    first_id = id_ if supersedes is None else _first_of(connection, body, supersedes)
    _check_references(connection, body)
    text = body_text(body)
    sha256 = record_sha256(id_, body.kind, body.name, created, supersedes, text, program, tables)
    connection.execute(
        insert(records).values(
            id=id_,
            first_id=first_id,
            kind=body.kind,
            name=body.name,
            created=created,
            supersedes=supersedes,
            origin_id=origin_id,
            body=text,
            sha256=sha256,
        )
    )
    write_links(connection, id_, body)
    return BookRecord(
        id_, first_id, datetime.fromisoformat(created), supersedes, None, body, program, json.loads(tables), sha256
    )


def write_links(connection: Connection, id_: int, body: Body) -> None:
    """Write down what a record refers to and holds."""
    linked = [{"record_id": id_, "field": field, "to_id": to} for field, to in dict.fromkeys(body.references())]
    if linked:
        connection.execute(insert(refs), linked)
    held = [{"record_id": id_, "field": field, "sha256": sha256} for field, sha256 in body.file_hashes()]
    if held:
        connection.execute(insert(holdings), held)


def _first_of(connection: Connection, body: Body, supersedes: int) -> int:
    old = connection.execute(
        select(records.c.kind, records.c.name, records.c.first_id).where(records.c.id == supersedes)
    ).one_or_none()
    if old is None:
        raise InputError(f"record {supersedes}: there is none to supersede.")
    by = connection.scalar(select(records.c.id).where(records.c.supersedes == supersedes))
    if by is not None:
        raise RefusedError(
            f"Record {supersedes} ({old.name}) was superseded by record {by} already.",
            "look at the newest record of it, and supersede that one.",
        )
    kind = old.kind
    if kind == Withdrawn.kind:
        kind = connection.scalar(select(records.c.kind).where(records.c.id == old.first_id))
    if body.kind not in (kind, Withdrawn.kind):
        raise InputError(f"record {supersedes} is a {kind}; a {body.kind} cannot take its place.")
    return int(old.first_id)


def _check_references(connection: Connection, body: Body) -> None:
    for field, to in body.references():
        found = connection.execute(select(records.c.kind, records.c.sha256).where(records.c.id == to)).one_or_none()
        allowed = body.refers[field]
        if found is None:
            raise InputError(f"{field}: record {to} is not in the book.")
        if allowed and found.kind not in allowed:
            raise InputError(f"{field}: record {to} is a {found.kind}; {' or '.join(allowed)} is needed.")
        for item in getattr(body, field) if isinstance(getattr(body, field), tuple) else ():
            if isinstance(item, InputRecord) and item.id == to and item.sha256 != found.sha256:
                raise InputError(f"{field}: record {to} has another sha256 than was given.")
    for field, sha256 in body.file_hashes():
        if connection.scalar(select(blobs.c.size).where(blobs.c.sha256 == sha256)) is None:
            raise InputError(f"{field}: the book holds no file with sha256 {sha256[:16]}…; give its bytes as well.")
