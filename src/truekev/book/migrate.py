"""Bringing the file of a book to this version's layout, in one transaction."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection

from truekev.book.layout import APPLICATION_ID, LAYOUT

__all__ = ["migrate_to_newest"]

_MIGRATIONS = Path(__file__).parent / "migrations"


def migrate_to_newest(connection: Connection) -> None:
    """Run every migration that is missing and mark the file; `connection` holds an open transaction."""
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {LAYOUT}")
