"""Every error that truekev raises on purpose.

TruekevError
├── InputError            what a person or a file gave cannot be used      (exit 2)
│   ├── OutOfRangeError   a number outside its allowed range
│   ├── UnknownNameError  a name that is not known; offers near matches
│   ├── UnitError         a wrong or missing unit
│   └── FileFormatError   a file that cannot be read; names file, line, field
├── RefusedError          the question is sound, an honest answer cannot be given (exit 3)
├── DataError             a data table of the program is missing or damaged (exit 1)
├── FitError              a fit failed                                      (exit 1)
└── StoreError            a result could not be written                     (exit 1)

A message says what was given, why it cannot be, and what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

__all__ = [
    "DataError",
    "FileFormatError",
    "FitError",
    "InputError",
    "OutOfRangeError",
    "RefusedError",
    "StoreError",
    "TruekevError",
    "UnitError",
    "UnknownNameError",
]


class TruekevError(Exception):
    """Base of every error raised on purpose; `exit_code` is what the command ends with."""

    exit_code = 1


class InputError(TruekevError, ValueError):
    """What a person or a file gave cannot be used."""

    exit_code = 2


class OutOfRangeError(InputError):
    """A number outside its allowed range."""


class UnitError(InputError):
    """A wrong or missing unit."""


class UnknownNameError(InputError):
    """A name that is not known; the message offers near matches."""

    def __init__(self, kind: str, name: str, known: Iterable[str], advice: str = "") -> None:
        self.kind = kind
        self.name = name
        self.known = sorted(set(known))
        near = difflib.get_close_matches(name, self.known, n=4, cutoff=0.5)
        if near:
            offer = "did you mean " + " or ".join(near) + "?"
        elif len(self.known) <= 12:
            offer = "known: " + ", ".join(self.known) + "."
        else:
            offer = f"{len(self.known)} are known."
        super().__init__(" ".join(filter(None, [f"{kind} {name!r} is not known;", offer, advice])))


class FileFormatError(InputError):
    """A file that cannot be read: says which file, and where it is known, line and field."""

    def __init__(
        self,
        problem: str,
        *,
        file: str | Path | None = None,
        line: int | None = None,
        field: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = None if file is None else str(file)
        self.line = line
        self.field = field
        where = [] if self.file is None else [self.file]
        if line is not None:
            where.append(f"line {line}")
        if field is not None:
            where.append(f"field {field}")
        super().__init__(f"{', '.join(where)}: {problem}" if where else problem)


class RefusedError(TruekevError):
    """The question is sound, but an honest answer cannot be given; says what would help."""

    exit_code = 3

    def __init__(self, why: str, what_would_help: str = "") -> None:
        self.why = why
        self.what_would_help = what_would_help
        super().__init__(f"{why} What would help: {what_would_help}" if what_would_help else why)


class DataError(TruekevError):
    """A data table of the program is missing or damaged."""


class FitError(TruekevError):
    """A fit failed."""


class StoreError(TruekevError):
    """A result could not be written."""
