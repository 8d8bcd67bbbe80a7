"""Run by Alembic: takes the connection that `truekev.book.migrate` hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from truekev.book.layout import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
