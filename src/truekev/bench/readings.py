"""Readings of a run: one appended at a time by hand, or a logger's file; the file is only ever added to."""

from __future__ import annotations

import csv
import math
import os
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from truekev.errors import FileFormatError, InputError, OutOfRangeError, StoreError, UnknownNameError

__all__ = [
    "READING_KEYS",
    "Readings",
    "append_reading",
    "by_clock",
    "parse_reading",
    "read_readings",
    "readings_path",
]

Floats = npt.NDArray[np.float64]

# What a person may note: key, column, unit in words, allowed range.
READING_KEYS: dict[str, tuple[str, str, float, float]] = {
    "current": ("current_a", "A", 0.0, 1000.0),
    "voltage": ("voltage_v", "V", -5.0, 200.0),
    "temperature": ("temperature_degc", "°C", -20.0, 150.0),
    "free-hydroxide": ("free_hydroxide_mol_l", "mol/L", 0.0, 20.0),
    "mass": ("mass_g", "g (rods left, rinsed and dry)", 0.0, 1e5),
    "level": ("level_ml", "mL", 0.0, 1e5),
}
_COLUMNS = ["time", *(column for column, *_ in READING_KEYS.values())]
_TIME_NAMES = {"time", "timestamp", "date", "datetime", "date_time", "elapsed_s", "seconds", "time_s"}
_OTHER_NAMES = {
    "current": "current_a",
    "i": "current_a",
    "amps": "current_a",
    "voltage": "voltage_v",
    "u": "voltage_v",
    "v": "voltage_v",
    "volts": "voltage_v",
    "temperature": "temperature_degc",
    "temperature_c": "temperature_degc",
    "temp": "temperature_degc",
    "temp_degc": "temperature_degc",
    "temp_c": "temperature_degc",
    "temperature_°c": "temperature_degc",
    "current_amps": "current_a",
    "voltage_volts": "voltage_v",
    "t": "temperature_degc",
    "mass": "mass_g",
    "level": "level_ml",
    "free_hydroxide": "free_hydroxide_mol_l",
}
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})[ T](\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)")
_MILLI = {"current_ma": ("current_a", 1e-3), "voltage_mv": ("voltage_v", 1e-3)}


@dataclass(frozen=True)
class Readings:
    """Readings in the order of the file, shape (n,) each; NaN where a field was not read.

    `clock_s` is the clock of the file in seconds since 1970 without time zone, or seconds since the logger started
    where `elapsed` is true. `unread` names columns that mean nothing to us.
    """

    clock_s: Floats
    current_a: Floats
    voltage_v: Floats
    temperature_degc: Floats
    free_hydroxide_mol_l: Floats
    mass_g: Floats
    level_ml: Floats
    elapsed: bool
    file: str
    unread: tuple[str, ...] = ()

    @property
    def n_readings(self) -> int:
        """Number of readings."""
        return int(self.clock_s.size)


def by_clock(readings: Readings) -> Readings:
    """Notes in the order of their times: a person may note the mass of this morning after the voltage of tonight."""
    order = np.argsort(readings.clock_s, kind="stable")
    columns = {name: getattr(readings, name)[order] for name in ("clock_s", *_COLUMNS[1:])}
    return replace(readings, **columns)


def readings_path(batch_path: str | Path) -> Path:
    """Where `note` keeps the readings of a batch file: beside it, ending in .readings.csv."""
    path = Path(batch_path)
    return path.with_name(f"{path.stem}.readings.csv")


def parse_reading(words: list[str]) -> dict[str, float]:
    """Numbers from words such as current=1.4, by key of READING_KEYS.

    Raises
    ------
    InputError
        No word, a word without =, a key given twice, or something that is not a number.
    UnknownNameError
        A key that is not known.
    OutOfRangeError
        A number outside what the quantity can be.
    """
    values: dict[str, float] = {}
    for word in words:
        key, equals, text = word.partition("=")
        if not equals:
            raise InputError(f"{word!r}: write each reading as key=number, as in current=1.4 voltage=3.1.")
        key = key.strip().lower().replace("_", "-")
        if key not in READING_KEYS:
            advice = f"A reading is one of {', '.join(READING_KEYS)}."
            raise UnknownNameError("reading", key, READING_KEYS, advice)
        if key in values:
            raise InputError(f"{key} was given twice; note one value.")
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise InputError(f"{word!r}: {text!r} is not a number.") from None
        _, unit, lowest, highest = READING_KEYS[key]
        if not (math.isfinite(value) and lowest <= value <= highest):
            raise OutOfRangeError(f"{word!r}: {key} must lie between {lowest:g} and {highest:g} {unit}.")
        values[key] = value
    if not values:
        raise InputError(f"nothing to note; give at least one of {', '.join(READING_KEYS)}, as current=1.4.")
    return values


def append_reading(path: str | Path, when: datetime, values: Mapping[str, float]) -> Path:
    """Append one reading to a file, with a header line if the file is new; nothing written before is touched.

    Raises
    ------
    StoreError
        The disk refuses.
    FileFormatError
        The file there is not one of these.
    """
    file = Path(path)
    header = ",".join(_COLUMNS) + "\n"
    by_column = {READING_KEYS[key][0]: value for key, value in values.items()}
    cells = [when.isoformat(timespec="seconds"), *(f"{by_column[c]:g}" if c in by_column else "" for c in _COLUMNS[1:])]
    try:
        new = not file.exists() or file.stat().st_size == 0
        ends_open = False
        if not new:
            with file.open("rb") as stream:
                first = stream.readline().decode("utf-8", "replace")
                if first.strip() != header.strip():
                    raise FileFormatError(f"its first line is not {header.strip()}; move it away.", file=file, line=1)
                stream.seek(-1, os.SEEK_END)
                ends_open = stream.read(1) != b"\n"
        with file.open("a", encoding="utf-8") as stream:
            stream.write((header if new else "") + ("\n" if ends_open else "") + ",".join(cells) + "\n")
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise StoreError(f"{file}: cannot be written ({error.strerror}).") from error
    return file


def read_readings(path: str | Path) -> Readings:
    """Read a file of readings: ours, or a logger's plain columns (comma, semicolon or tab) with a header line.

    Notes
    -----
    A million rows take about a second. Empty fields are allowed. Times are ISO 8601, or seconds.

    Raises
    ------
    FileFormatError
        No such file, no header, no time column, nothing usable, or a field that is no number; says file and line.
    """
    file = Path(path)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise FileFormatError(f"cannot be read ({error.strerror}).", file=file) from None
    data = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n").replace(b"\0", b"")
    while data[:1] == b"#":
        data = data.partition(b"\n")[2]
    head, _, body = data.partition(b"\n")
    mark = max((b",", b";", b"\t"), key=head.count)
    names = [_column_name(cell.decode("utf-8", "replace")) for cell in head.split(mark)]
    if names.count("time") != 1:
        raise FileFormatError("needs one column called time in its header line.", file=file, line=1)
    if not any(name in (*_COLUMNS[1:], *_MILLI) for name in names):
        raise FileFormatError(f"has none of the columns {', '.join(_COLUMNS[1:])}.", file=file, line=1)
    unread = tuple(name for name in names if name not in ("time", *_COLUMNS[1:], *_MILLI))
    even = _even_file(body, mark, len(names)) if names[0] == "time" else None
    if even is not None:
        clock, table = even
        by_name: dict[str, Floats] = {}
        for name, column in zip(names[1:], table.T, strict=True):
            target, factor = _MILLI.get(name, (name, 1.0))
            by_name.setdefault(target, factor * _finite(column))
        empty = np.full(clock.size, np.nan)
        known = {column: by_name.get(column, empty) for column in _COLUMNS[1:]}
        return Readings(clock_s=clock, elapsed=False, file=str(file), unread=unread, **known)
    columns = _cells(body, mark, len(names), file)
    n = len(columns[0]) if columns else 0
    if n == 0:
        raise FileFormatError("holds no reading.", file=file, line=2)
    clock, elapsed = _clock(columns[names.index("time")], file)
    found: dict[str, Floats] = {}
    for name, cells in zip(names, columns, strict=True):
        target, factor = _MILLI.get(name, (name, 1.0))
        if target in _COLUMNS[1:] and target not in found:
            found[target] = factor * _numbers(cells, name, file, decimal_comma=mark != b",")
    empty = np.full(n, np.nan)
    by_column = {column: found.get(column, empty) for column in _COLUMNS[1:]}
    return Readings(clock_s=clock, elapsed=elapsed, file=str(file), unread=unread, **by_column)


def _column_name(text: str) -> str:
    name = text.strip().strip('"').lower()
    for bracket in "[](){}":
        name = name.replace(bracket, " ")
    name = "_".join(name.replace("/", " ").replace("°c", "degc").split())
    if name in _TIME_NAMES:
        return "time"
    return _OTHER_NAMES.get(name, name)


def _even_file(body: bytes, mark: bytes, n_columns: int) -> tuple[Floats, Floats] | None:
    """Clock and table of a file whose every row is an ISO time and numbers, none empty; else None.

    Numbers are read straight from the bytes, without a Python object each.
    """
    text = body if body.endswith(b"\n") else body + b"\n"
    buffer = np.frombuffer(text, dtype=np.uint8).copy()
    ends = np.flatnonzero(buffer == ord("\n"))
    starts = np.concatenate([[0], ends[:-1] + 1])
    if n_columns < 2 or (mark != b"," and b"," in text) or (ends - starts).min() < 21:
        return None
    if not (np.all(buffer[starts + 19] == ord(mark)) and _rows_even(buffer, starts, mark, n_columns)):
        return None
    # numpy reads an empty field as a number of its own making: every field must begin like a number
    first = buffer[np.flatnonzero(buffer == ord(mark)) + 1]
    if not np.isin(first, np.frombuffer(b"0123456789.+-", dtype=np.uint8)).all():
        return None
    places = starts[:, None] + np.arange(19)
    clock = _iso_seconds(buffer[places])
    if clock is None:
        return None
    buffer[places] = ord(" ")
    buffer[starts + 19] = ord(" ")
    buffer[ends] = ord(",")
    if mark != b",":
        buffer[buffer == ord(mark)] = ord(",")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            values = np.fromstring(buffer[:-1].tobytes().decode("latin-1"), sep=",")
        except (DeprecationWarning, ValueError):
            return None
    if values.size != starts.size * (n_columns - 1):
        return None
    return clock, values.reshape(starts.size, n_columns - 1)


def _rows_even(buffer: npt.NDArray[np.uint8], starts: npt.NDArray[np.int64], mark: bytes, n_columns: int) -> bool:
    """Whether every row has the same number of fields as the header."""
    marks = np.flatnonzero(buffer == ord(mark))
    per_row = n_columns - 1
    if marks.size != starts.size * per_row or per_row == 0:
        return False
    table = marks.reshape(starts.size, per_row)
    return bool(np.all(table[:, 0] >= starts) and np.all(table[:-1, -1] < starts[1:]))


def _cells(body: bytes, mark: bytes, n_columns: int, file: Path) -> list[list[bytes]]:
    """Columns of cells; a whole file of even rows is cut in one go."""
    if b'"' not in body and b"\n\n" not in body:
        text = body if body.endswith(b"\n") else body + b"\n"
        buffer = np.frombuffer(text, dtype=np.uint8)
        starts = np.concatenate([[0], np.flatnonzero(buffer == ord("\n"))[:-1] + 1])
        if _rows_even(buffer, starts, mark, n_columns) and len(text) > 1:
            cells = text.replace(b"\n", mark).split(mark)
            return [cells[i:-1:n_columns] for i in range(n_columns)]
    rows = []
    lines = csv.reader(body.decode("utf-8", "replace").splitlines(), delimiter=mark.decode())
    for number, row in enumerate(lines, start=2):
        if not any(cell.strip() for cell in row) or row[0].startswith("#"):
            continue
        if len(row) > n_columns and any(cell.strip() for cell in row[n_columns:]):
            raise FileFormatError(f"has {len(row)} fields where the header has {n_columns}.", file=file, line=number)
        rows.append([cell.encode() for cell in [*row, *[""] * n_columns][:n_columns]])
    return [[row[i] for row in rows] for i in range(n_columns)]


def _numbers(cells: list[bytes], name: str, file: Path, *, decimal_comma: bool) -> Floats:
    try:
        return _finite(np.array(cells).astype(np.float64))
    except ValueError:
        pass
    values = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        text = cell.strip().replace(b",", b".") if decimal_comma else cell.strip()
        if not text or text.lower() in (b"nan", b"-", b"ol", b"n/a"):
            continue
        try:
            values[i] = float(text)
        except ValueError:
            said = cell.decode("utf-8", "replace")
            raise FileFormatError(f"{said!r} is not a number.", file=file, line=i + 2, field=name) from None
    return _finite(values)


def _finite(values: Floats) -> Floats:
    return np.where(np.isfinite(values) & (np.abs(values) < 1e6), values, np.nan)


def _clock(cells: list[bytes], file: Path) -> tuple[Floats, bool]:
    """Seconds, and whether they count from the logger's start."""
    table = np.array(cells)
    width = table.dtype.itemsize
    if width >= 19:
        digits = np.frombuffer(table.tobytes(), dtype=np.uint8).reshape(len(cells), width)
        fast = _iso_seconds(digits)
        if fast is not None:
            return fast, False
    else:
        try:
            seconds = table.astype(np.float64)
        except ValueError:
            seconds = None
        if seconds is not None and np.all(np.isfinite(seconds)) and np.all(np.abs(seconds) < 4e9):
            return seconds, bool(np.median(seconds) < 1e9)
    values = np.empty(len(cells))
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    for i, cell in enumerate(cells):
        text = cell.decode("utf-8", "replace").strip()
        dotted = _DOTTED.fullmatch(text)  # dots mean day.month.year wherever they are written
        if dotted is not None:
            text = f"{dotted[3]}-{dotted[2]:0>2}-{dotted[1]:0>2}T{dotted[4]}"
        try:
            values[i] = (datetime.fromisoformat(text).replace(tzinfo=UTC) - epoch).total_seconds()
        except ValueError:
            raise FileFormatError(
                f"{text!r} is no time; use ISO 8601 such as 2026-10-05T09:00:00, 05.10.2026 09:00:00, or seconds "
                "in every row.",
                file=file,
                line=i + 2,
                field="time",
            ) from None
    return values, False


def _iso_seconds(digits: npt.NDArray[np.uint8]) -> Floats | None:
    """Seconds since 1970 of rows of YYYY-MM-DDThh:mm:ss, all 19 wide; None if any row is not that.

    The date is worked out once per stretch of rows that share it.
    """
    n, width = digits.shape
    if width != 19 or not np.all(digits[:, 10] == digits[0, 10]):
        return None
    seconds = np.zeros(n)
    for place, weight in ((11, 36000), (12, 3600), (14, 600), (15, 60), (17, 10), (18, 1)):
        column = digits[:, place].astype(np.int16) - 48
        if column.min() < 0 or column.max() > (5 if place in (14, 17) else 9):
            return None
        seconds += column * float(weight)
    if seconds.max() >= 86400.0 or not np.all(digits[:, [13, 16]] == ord(":")):
        return None
    dates = np.ascontiguousarray(digits[:, :10]).view("S10").ravel()
    starts = np.concatenate([[0], np.flatnonzero(dates[1:] != dates[:-1]) + 1, [n]])
    for begin, end in pairwise(starts.tolist()):
        try:
            day = date.fromisoformat(dates[begin].decode())
        except ValueError:
            return None
        seconds[begin:end] += (day - date(1970, 1, 1)).days * 86400.0
    return seconds
