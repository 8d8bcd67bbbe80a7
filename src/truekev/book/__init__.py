"""The bench book: one SQLite file, records that are appended and superseded, never overwritten."""
