"""The tables of a book, and what marks a file as one.

Nothing in them is ever changed or deleted: triggers in the file itself (made by the migrations) refuse it, whoever
writes.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

__all__ = [
    "APPLICATION_ID",
    "LAYOUT",
    "blobs",
    "holdings",
    "meta",
    "metadata",
    "origins",
    "readings",
    "records",
    "refs",
]

APPLICATION_ID = 0x74726B76
LAYOUT = 1

metadata = MetaData()

meta = Table("meta", metadata, Column("key", Text, primary_key=True), Column("value", Text, nullable=False))

origins = Table(
    "origins",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("program", Text, nullable=False),
    Column("tables", Text, nullable=False),
)
Index("origins_once", origins.c.program, origins.c.tables, unique=True)

records = Table(
    "records",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("first_id", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("created", Text, nullable=False),
    Column("supersedes", Integer, ForeignKey("records.id"), unique=True),
    Column("origin_id", Integer, ForeignKey("origins.id"), nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    sqlite_autoincrement=True,
)
Index("records_by_kind", records.c.kind, records.c.id)
Index("records_by_name", records.c.kind, records.c.name)
Index("records_by_first", records.c.first_id, records.c.id)

refs = Table(
    "refs",
    metadata,
    Column("record_id", Integer, ForeignKey("records.id"), primary_key=True),
    Column("field", Text, primary_key=True),
    Column("to_id", Integer, ForeignKey("records.id"), primary_key=True),
    sqlite_with_rowid=False,
)
Index("refs_by_target", refs.c.to_id, refs.c.record_id)

blobs = Table(
    "blobs",
    metadata,
    Column("sha256", Text, primary_key=True),
    Column("media_type", Text, nullable=False),
    Column("size", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
)

holdings = Table(
    "holdings",
    metadata,
    Column("record_id", Integer, ForeignKey("records.id"), primary_key=True),
    Column("field", Text, primary_key=True),
    Column("sha256", Text, ForeignKey("blobs.sha256"), nullable=False),
    sqlite_with_rowid=False,
)
Index("holdings_by_file", holdings.c.sha256)

readings = Table(
    "readings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("batch_id", Integer, ForeignKey("records.id"), nullable=False),
    Column("clock_s", Float, nullable=False),
    Column("current_a", Float),
    Column("voltage_v", Float),
    Column("temperature_degc", Float),
    Column("free_hydroxide_mol_l", Float),
    Column("mass_g", Float),
    Column("level_ml", Float),
    Column("remark", Text, nullable=False),
    Column("created", Text, nullable=False),
    Column("supersedes", Integer, ForeignKey("readings.id"), unique=True),
    sqlite_autoincrement=True,
)
Index("readings_by_batch", readings.c.batch_id, readings.c.clock_s)
