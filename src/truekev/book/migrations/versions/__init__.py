"""One file per layout of the book, in order."""
