"""How commands print: JSON with the names of the Python fields, tables, and progress past one second."""

from __future__ import annotations

import dataclasses
import json
import sys
import time
from collections.abc import Callable, Mapping
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from truekev.errors import InputError

__all__ = ["Progress", "as_json", "check_out", "plain", "print_table"]


def plain(value: Any) -> Any:
    """`value` as plain JSON types: dataclasses by field name, arrays as lists, dates as ISO 8601,
    numbers that are not finite as null.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, bytes):
        return value.hex()
    return value


def as_json(value: Any) -> str:
    """A result as indented JSON text with the same names as the Python fields."""
    return json.dumps(plain(value), indent=2, ensure_ascii=False)


def print_table(title: str, columns: list[str], rows: list[list[str]]) -> None:
    """Print a plain table to standard output; wide enough for a pipe as well as a screen."""
    table = Table(box=None, pad_edge=False)
    for column in columns:
        table.add_column(column)
    for row in rows:
        table.add_row(*row)
    console = Console(highlight=False, markup=False)
    if not console.is_terminal:
        console = Console(highlight=False, markup=False, width=200)
    if title:
        print(title)
    with console.capture() as captured:
        console.print(table)
    print("\n".join(line.rstrip() for line in captured.get().rstrip("\n").splitlines()))


def check_out(option: str, path: str | None) -> None:
    """See before the work that a file can be written where `option` says.

    Raises
    ------
    InputError
        Its folder does not exist, or it is a folder itself.
    """
    if path is None:
        return
    target = Path(path)
    if not target.parent.is_dir():
        raise InputError(f"{option} {path}: there is no folder {target.parent}; make it, or choose another.")
    if target.is_dir():
        raise InputError(f"{option} {path}: this is a folder; give the name of a file in it.")


class Progress:
    """Called with (fraction done, what is being done); prints to standard error past one second,
    at most once a second. Nothing done (0) announces a long step and is printed at once.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._last = clock()

    def __call__(self, fraction: float, what: str) -> None:
        """Report `fraction` (0 to 1) done of `what`."""
        now = self._clock()
        if fraction == 0:
            self._last = now
            print(f"  {what}", file=sys.stderr, flush=True)
        elif now - self._last >= 1.0:
            self._last = now
            print(f"  {what}: {100 * fraction:.0f} %", file=sys.stderr, flush=True)
