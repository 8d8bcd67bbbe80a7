"""Where in a TOML text a key stands, so that a complaint can name the line."""

from __future__ import annotations

import re

__all__ = ["line_of_key"]


def line_of_key(text: str, path: tuple[str | int, ...]) -> int | None:
    """Line (from 1) of a TOML text where the key of `path` stands, or the nearest table around it.

    `path` is as pydantic gives it: names, and numbers for entries of [[tables]].
    """
    best: tuple[int, int] | None = None
    table: tuple[str | int, ...] = ()
    n_entries: dict[tuple[str | int, ...], int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if match := re.match(r"\s*(\[\[?)\s*([^\]]+?)\s*\]", line):
            table = _parts(match[2])
            if match[1] == "[[":
                n_entries[table] = n_entries.get(table, -1) + 1
                table = (*table, n_entries[table])
            here = table
        elif match := re.match(r"""\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"))*)\s*=""", line):
            here = (*table, *_parts(match[1]))
        else:
            continue
        if here == path[: len(here)] and (best is None or len(here) > best[0]):
            best = (len(here), number)
    return best[1] if best else None


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
