"""Alembic's environment of the book: one file per layout in `versions`."""
