"""The first layout: records, files, readings, and the triggers that keep them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None

_TABLES = {
    "meta": "key = NEW.key",
    "origins": "id = NEW.id",
    "records": "id = NEW.id",
    "refs": "record_id = NEW.record_id AND field = NEW.field AND to_id = NEW.to_id",
    "blobs": "sha256 = NEW.sha256",
    "holdings": "record_id = NEW.record_id AND field = NEW.field",
    "readings": "id = NEW.id",
}


def upgrade() -> None:
    """Make the tables of an empty file."""
    op.create_table("meta", sa.Column("key", sa.Text, primary_key=True), sa.Column("value", sa.Text, nullable=False))
    op.create_table(
        "origins",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("program", sa.Text, nullable=False),
        sa.Column("tables", sa.Text, nullable=False),
    )
    op.create_index("origins_once", "origins", ["program", "tables"], unique=True)
    op.create_table(
        "records",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("first_id", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("created", sa.Text, nullable=False),
        sa.Column("supersedes", sa.Integer, sa.ForeignKey("records.id"), unique=True),
        sa.Column("origin_id", sa.Integer, sa.ForeignKey("origins.id"), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("records_by_kind", "records", ["kind", "id"])
    op.create_index("records_by_name", "records", ["kind", "name"])
    op.create_index("records_by_first", "records", ["first_id", "id"])
    op.create_table(
        "refs",
        sa.Column("record_id", sa.Integer, sa.ForeignKey("records.id"), primary_key=True),
        sa.Column("field", sa.Text, primary_key=True),
        sa.Column("to_id", sa.Integer, sa.ForeignKey("records.id"), primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_index("refs_by_target", "refs", ["to_id", "record_id"])
    op.create_table(
        "blobs",
        sa.Column("sha256", sa.Text, primary_key=True),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "holdings",
        sa.Column("record_id", sa.Integer, sa.ForeignKey("records.id"), primary_key=True),
        sa.Column("field", sa.Text, primary_key=True),
        sa.Column("sha256", sa.Text, sa.ForeignKey("blobs.sha256"), nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("holdings_by_file", "holdings", ["sha256"])
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("batch_id", sa.Integer, sa.ForeignKey("records.id"), nullable=False),
        sa.Column("clock_s", sa.Float, nullable=False),
        *(
            sa.Column(name, sa.Float)
            for name in ("current_a", "voltage_v", "temperature_degc", "free_hydroxide_mol_l", "mass_g", "level_ml")
        ),
        sa.Column("remark", sa.Text, nullable=False),
        sa.Column("created", sa.Text, nullable=False),
        sa.Column("supersedes", sa.Integer, sa.ForeignKey("readings.id"), unique=True),
        sqlite_autoincrement=True,
    )
    op.create_index("readings_by_batch", "readings", ["batch_id", "clock_s"])
    for table, same in _TABLES.items():
        say = f"SELECT RAISE(ABORT, 'the bench book is never overwritten: table {table}')"
        for word in ("UPDATE", "DELETE"):
            op.execute(f"CREATE TRIGGER {table}_no_{word.lower()} BEFORE {word} ON {table} BEGIN {say}; END")
        op.execute(
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN {say}; END"
        )
