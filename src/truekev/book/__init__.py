"""The bench book: one SQLite file of append-only records."""
