"""The book again from an exported folder: the same numbers, the same bytes, or a sentence and no book."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert

from truekev.book.append import write_links
from truekev.book.book import Book
from truekev.book.create import make_file
from truekev.book.export import ENDINGS, FORMAT, READING_COLUMNS
from truekev.book.kinds import body_from_mapping
from truekev.book.layout import LAYOUT, blobs, meta, origins, readings, records
from truekev.book.records import NewFile, canonical, record_sha256
from truekev.errors import FileFormatError, InputError

__all__ = ["import_folder"]

# The only names that are ever opened: nothing in an export can point elsewhere.
_NAMES = re.compile(
    r"book\.json|records/\d{6,12}-[a-z-]{1,30}\.json|readings/batch-\d{6,12}\.csv|files/[0-9a-f]{64}\.[a-z0-9]{1,4}"
)
_LARGEST = 512 * 1024 * 1024
_TEXT = ("remark", "created")


def import_folder(folder: str | Path, path: str | Path, progress: Callable[[float, str], None] | None = None) -> Book:
    """Make the book `path` from an exported folder; the book is whole or absent.

    Raises
    ------
    FileFormatError
        A file of the export is missing, was changed, or is of a newer version; says which.
    InputError
        A file named `path` is there.
    StoreError
        The disk refuses.
    """
    reader = _Reader(Path(folder), progress or (lambda _fraction, _what: None))
    make_file(Path(path), reader.fill)
    return Book.open(path)


class _Reader:
    """Reads one export; every file is checked against the manifest before it is used."""

    def __init__(self, folder: Path, tell: Callable[[float, str], None]) -> None:
        self.folder = folder
        self.tell = tell
        manifest = self.json_of("manifest.json", self.bytes_of("manifest.json"))
        for name, sha256 in manifest.items():
            if not _NAMES.fullmatch(name) or not isinstance(sha256, str):
                raise FileFormatError("names a file that no export holds.", file=folder / "manifest.json", field=name)
        self.manifest: dict[str, str] = manifest
        self.head = self.kept_json("book.json")
        if self.head.get("format") != FORMAT or not isinstance(self.head.get("layout"), int):
            raise FileFormatError("not the export of a bench book.", file=folder / "book.json", field="format")
        if self.head["layout"] > LAYOUT:
            raise FileFormatError(
                f"written by a newer truekev (layout {self.head['layout']}; this version knows up to {LAYOUT}); "
                "install the newer version.",
                file=folder / "book.json",
                field="layout",
            )

    def bytes_of(self, name: str) -> bytes:
        path = self.folder / name
        try:
            if path.is_symlink() or path.parent.is_symlink() or not path.is_file():
                raise FileFormatError("is missing (or no plain file); take a whole export.", file=path)
            if path.stat().st_size > _LARGEST:
                raise FileFormatError("is larger than any file of an export.", file=path)
            return path.read_bytes()
        except OSError as error:
            raise FileFormatError(f"cannot be read ({error.strerror}).", file=path) from error

    def kept(self, name: str) -> bytes:
        if name not in self.manifest:
            raise FileFormatError("does not name this file, which the export needs.", file="manifest.json", field=name)
        data = self.bytes_of(name)
        if NewFile(data).sha256 != self.manifest[name]:
            raise FileFormatError("was changed since it was exported; take the export as it was.", file=name)
        return data

    def json_of(self, name: str, data: bytes) -> dict[str, Any]:
        try:
            value = json.loads(data)
        except ValueError as error:
            raise FileFormatError(f"is no JSON ({error}).", file=self.folder / name) from error
        if not isinstance(value, dict):
            raise FileFormatError("holds no table of names.", file=self.folder / name)
        return value

    def kept_json(self, name: str) -> dict[str, Any]:
        return self.json_of(name, self.kept(name))

    def named(self, room: str) -> list[str]:
        names = (name for name in self.manifest if name.startswith(f"{room}/"))
        return sorted(names, key=lambda name: (len(name.split("-")[0]), name))

    def fill(self, connection: Connection) -> None:
        """Write all rows into an empty book."""
        try:
            connection.execute(insert(meta), [{"key": k, "value": str(v)} for k, v in self.head["meta"].items()])
            programs = {o["id"]: (str(o["program"]), canonical(o["tables"])) for o in self.head["origins"]}
            for id_, (program, tables) in programs.items():
                connection.execute(insert(origins).values(id=id_, program=program, tables=tables))
            self.files(connection)
            self.records(connection, programs)
            self.readings(connection)
        except (KeyError, TypeError, AttributeError) as error:
            raise FileFormatError(
                f"something of it is missing or of the wrong kind ({error}).", file=self.folder
            ) from error

    def files(self, connection: Connection) -> None:
        media_types: dict[str, str] = self.head["files"]
        for i, (sha256, media_type) in enumerate(sorted(media_types.items())):
            self.tell(0.4 * i / len(media_types), "stored files")
            name = f"files/{sha256}{ENDINGS.get(media_type, '.bin')}"
            data = self.kept(name)
            if NewFile(data).sha256 != sha256:
                raise FileFormatError("its bytes do not have the sha256 in its name.", file=name)
            connection.execute(insert(blobs).values(sha256=sha256, media_type=media_type, size=len(data), data=data))

    def records(self, connection: Connection, programs: dict[int, tuple[str, str]]) -> None:
        names = self.named("records")
        if len(names) != self.head["n_records"]:
            raise FileFormatError(
                f"{len(names)} records are there; {self.head['n_records']} were exported.", file=self.folder / "records"
            )
        for number, name in enumerate(names, start=1):
            self.tell(0.4 + 0.4 * number / len(names), "records")
            entry = self.kept_json(name)
            body = body_from_mapping(entry["kind"], entry["body"], file=name)
            text = canonical(entry["body"])
            program, tables = programs[entry["origin_id"]]
            said = record_sha256(
                entry["id"], entry["kind"], body.name, entry["created"], entry["supersedes"], text, program, tables
            )
            if entry["id"] != number or said != entry["sha256"] or body.name != entry["name"]:
                raise FileFormatError("what it says does not fit its number or sha256.", file=name)
            connection.execute(insert(records).values(**{**entry, "body": text}))
            write_links(connection, number, body)

    def readings(self, connection: Connection) -> None:
        rows: list[dict[str, Any]] = []
        for name in self.named("readings"):
            self.tell(0.8, "readings")
            batch_id = int(name.removeprefix("readings/batch-").removesuffix(".csv"))
            table = csv.reader(io.StringIO(self.kept(name).decode(), newline=""))
            if tuple(next(table, ())) != READING_COLUMNS:
                raise FileFormatError(f"its first line is not {','.join(READING_COLUMNS)}.", file=name, line=1)
            for line, cells in enumerate(table, start=2):
                rows.append({"batch_id": batch_id} | _reading(cells, name, line))
        rows.sort(key=lambda row: int(row["id"]))
        if len(rows) != self.head["n_readings"] or any(row["id"] != i for i, row in enumerate(rows, start=1)):
            raise FileFormatError("readings are missing or twice there.", file=self.folder / "readings")
        for start in range(0, len(rows), 10_000):
            connection.execute(insert(readings), rows[start : start + 10_000])


def _reading(cells: list[str], file: str, line: int) -> dict[str, Any]:
    if len(cells) != len(READING_COLUMNS):
        raise FileFormatError(f"{len(cells)} columns, {len(READING_COLUMNS)} are needed.", file=file, line=line)
    row: dict[str, Any] = {}
    for column, cell in zip(READING_COLUMNS, cells, strict=True):
        try:
            if column in _TEXT:
                row[column] = cell
            elif column in ("id", "supersedes"):
                row[column] = int(cell) if cell else None
            else:
                row[column] = float(cell) if cell else None
        except ValueError:
            raise InputError(f"{file}, line {line}, field {column}: {cell!r} is not a number.") from None
    return row
