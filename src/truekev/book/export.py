"""A book as a folder of plain files, which any editor opens and from which the same book can be made again."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select

from truekev.bench.settings import batch_from_mapping
from truekev.bench.write_batch import batch_toml
from truekev.book.book import Book
from truekev.book.layout import LAYOUT, blobs, meta, origins, readings, records
from truekev.book.records import NewFile, canonical
from truekev.errors import InputError, StoreError, TruekevError
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.read import spectrum_of_bytes

__all__ = ["ENDINGS", "FORMAT", "READING_COLUMNS", "Exported", "export_book"]

FORMAT = "truekev book export 1"
ENDINGS = {
    "application/xml": ".n42",
    "text/csv": ".csv",
    "image/png": ".png",
    "image/jpeg": ".jpg",
    "application/pdf": ".pdf",
    "text/plain": ".txt",
}
READING_COLUMNS = tuple(column.name for column in readings.columns if column.name != "batch_id")

_README = """\
A bench book of truekev as plain files. `truekev book import FOLDER NEW_BOOK` makes the same book from it again.

read back:
  book.json            title, identity, programs and tables' versions
  records/             one JSON file per record, in the order they were written; nothing is left out
  readings/            one CSV file per batch
  files/               every stored file, byte for byte, named by its sha256
  manifest.json        sha256 of all these; a file that was changed is refused

for reading only (made from the above, not read back):
  spectra/             every spectrum as N42.42-2012
  sources/, batches/   source and batch files as TOML
"""


@dataclass(frozen=True)
class Exported:
    """Where a book was exported to, and how much."""

    folder: Path
    n_records: int
    n_files: int
    n_readings: int


def export_book(book: Book, folder: str | Path, progress: Callable[[float, str], None] | None = None) -> Exported:
    """Write the book into a new folder; the folder is whole or absent.

    Raises
    ------
    InputError
        Something of that name is there.
    StoreError
        The disk refuses.
    """
    target = Path(folder)
    if target.exists():
        raise InputError(f"{target}: is there already; name a folder that does not exist yet.")
    try:
        part = Path(tempfile.mkdtemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part"))
    except OSError as error:
        raise StoreError(f"{target}: cannot be made ({error.strerror}); choose another place.") from error
    try:
        with book.reading() as connection:
            done = _Writer(part, progress or (lambda _fraction, _what: None)).write(connection)
        part.chmod(0o755)
        part.rename(target)
    except OSError as error:
        raise StoreError(f"{target}: cannot be written ({error.strerror}); nothing of it is left there.") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Exported(target, *done)


class _Writer:
    """Writes one export; keeps the manifest."""

    def __init__(self, folder: Path, tell: Callable[[float, str], None]) -> None:
        self.folder = folder
        self.tell = tell
        self.manifest: dict[str, str] = {}

    def write(self, connection: Connection) -> tuple[int, int, int]:
        self.plain("README.txt", _README.encode())
        n_records = self.records(connection)
        n_files = self.files(connection)
        n_readings = self.readings(connection)
        head = {
            "format": FORMAT,
            "layout": LAYOUT,
            "meta": {row.key: row.value for row in connection.execute(select(meta).order_by(meta.c.key))},
            "origins": [
                {"id": row.id, "program": row.program, "tables": json.loads(row.tables)}
                for row in connection.execute(select(origins).order_by(origins.c.id))
            ],
            "files": {
                row.sha256: row.media_type
                for row in connection.execute(select(blobs.c.sha256, blobs.c.media_type).order_by(blobs.c.sha256))
            },
            "n_records": n_records,
            "n_readings": n_readings,
        }
        self.kept("book.json", _json(head))
        self.plain("manifest.json", _json(self.manifest))
        return n_records, n_files, n_readings

    def plain(self, name: str, data: bytes) -> None:
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        with path.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())

    def kept(self, name: str, data: bytes) -> None:
        self.plain(name, data)
        self.manifest[name] = NewFile(data).sha256

    def records(self, connection: Connection) -> int:
        rows = connection.execute(select(records).order_by(records.c.id)).all()
        for i, row in enumerate(rows):
            self.tell(0.5 * i / len(rows), "records")
            entry = {column: value for column, value in row._mapping.items() if column != "body"}
            body = json.loads(row.body)
            self.kept(f"records/{row.id:06d}-{row.kind.replace(' ', '-')}.json", _json(entry | {"body": body}))
            self.for_reading(connection, row.id, row.kind, body)
        return len(rows)

    def for_reading(self, connection: Connection, id_: int, kind: str, body: Mapping[str, object]) -> None:
        if kind in ("source", "find") and body["description"]:
            self.plain(f"sources/{id_:06d}.toml", str(body["description"]).encode())
        elif kind == "batch":
            settings = body["settings"]
            assert isinstance(settings, dict)
            text = str(body["text"]) or batch_toml(batch_from_mapping(settings))
            self.plain(f"batches/{id_:06d}.toml", text.encode())
        elif kind == "spectrum":
            data = connection.scalar(select(blobs.c.data).where(blobs.c.sha256 == body["file_sha256"]))
            number = body["number"]
            assert isinstance(number, int)
            try:
                spectrum = spectrum_of_bytes(bytes(data or b""), file=str(body["file_name"]), number=number)
            except TruekevError:
                return  # the original bytes are exported all the same
            self.plain(f"spectra/{id_:06d}.n42", n42_bytes(spectrum))

    def files(self, connection: Connection) -> int:
        rows = connection.execute(select(blobs.c.sha256, blobs.c.media_type).order_by(blobs.c.sha256)).all()
        for i, (sha256, media_type) in enumerate(rows):
            self.tell(0.5 + 0.3 * i / len(rows), "stored files")
            data = connection.scalar(select(blobs.c.data).where(blobs.c.sha256 == sha256))
            self.kept(f"files/{sha256}{ENDINGS.get(media_type, '.bin')}", bytes(data or b""))
        return len(rows)

    def readings(self, connection: Connection) -> int:
        n = 0
        batches = connection.scalars(select(readings.c.batch_id).distinct().order_by(readings.c.batch_id)).all()
        for batch_id in batches:
            self.tell(0.8, "readings")
            text = io.StringIO()
            writer = csv.writer(text, lineterminator="\n")
            writer.writerow(READING_COLUMNS)
            columns = [readings.c[name] for name in READING_COLUMNS]
            for row in connection.execute(
                select(*columns).where(readings.c.batch_id == batch_id).order_by(readings.c.id)
            ):
                writer.writerow(["" if value is None else value for value in row])
                n += 1
            self.kept(f"readings/batch-{batch_id:06d}.csv", text.getvalue().encode())
        return n


def _json(value: object) -> bytes:
    canonical(value)  # refuses what has no place in JSON
    return (json.dumps(value, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode()
