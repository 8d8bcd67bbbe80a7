"""Plain columns: reading."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from truekev.errors import FileFormatError, TruekevError
from truekev.spectra.claims import moved_coefficients, scale_through, usable_coefficients
from truekev.spectra.column_facts import Facts
from truekev.spectra.column_layout import (
    Layout,
    NumberReader,
    is_number_like,
    layout_of_header,
    layout_of_numbers,
    split_fields,
)
from truekev.spectra.limits import MAX_CHANNELS, check_count, check_rising, shown
from truekev.spectra.redistribution import why_rebinned
from truekev.spectra.spectrum import ClaimedScale, Spectrum

__all__ = ["spectrum_of_columns"]

_COMMENT_MARKS = ("#", ";", "//", "!")
_MAX_LINE = 10_000
_MAX_COMMENTS = 20_000
_MAX_BLANK_LINES = 100_000

# Also the no-break space, and the mark that old systems put at the end of a file.
_BLANKS = " \r\n\x0b\x0c\xa0\x1a"

Array = npt.NDArray[np.float64]


@dataclass
class _Rows:
    """The numbers of a file by column, and the line that each row stood on."""

    layout: Layout
    columns: dict[str, list[float]]
    lines: list[int] = field(default_factory=list)
    n_decimals: int = 0


def spectrum_of_columns(text: str, *, file: str = "") -> Spectrum:
    """The spectrum in the text of a plain column file.

    Columns: counts; channel and counts; energy and counts; channel, energy and counts; channel, both
    energy edges, and counts; and a variance beside the counts. Separated by comma, semicolon, tab or
    blanks, with decimal point or comma. Lines that start with #, ;, // or ! are comments and may state facts.

    An energy column is taken as labels on channels: it becomes the claimed scale, the row's number is the
    channel. Only where the counts prove that they were redistributed onto the axis is `rebinned` true.

    Raises
    ------
    FileFormatError
        Names file, line and field, and what to do.
    """
    facts = Facts(file)
    rows = _rows(text, facts, file)
    try:
        return _spectrum(rows, facts, file)
    except FileFormatError:
        raise
    except TruekevError as error:
        raise FileFormatError(str(error), file=file) from error


def _rows(text: str, facts: Facts, file: str) -> _Rows:
    rows: _Rows | None = None
    layout: Layout | None = None
    read: NumberReader | None = None
    n_comments = n_blank = 0
    for number, raw in enumerate(io.StringIO(text, newline=None), start=1):
        if len(raw) > _MAX_LINE:
            raise FileFormatError(
                f"a line of {len(raw)} characters; the limit is {_MAX_LINE}. Plain columns have one channel a line.",
                file=file,
                line=number,
            )
        line = raw.strip(_BLANKS)
        if not line.startswith(_COMMENT_MARKS):
            # a sheet saved as text ends every line, and pads empty ones, with separators
            line = line.rstrip(_BLANKS + ",;\t")
        if not line:
            n_blank += 1
            if n_blank > _MAX_BLANK_LINES:
                raise FileFormatError(f"more than {_MAX_BLANK_LINES} empty lines.", file=file, line=number)
            continue
        if line.startswith(_COMMENT_MARKS):
            n_comments += 1
            if n_comments > _MAX_COMMENTS:
                raise FileFormatError(f"more than {_MAX_COMMENTS} comment lines.", file=file, line=number)
            comment = line.lstrip("#;/!").strip()
            named = layout_of_header(comment, file=file, number=number, strict=False) if rows is None else None
            if named is not None and len(named.names) > 1:
                layout = named
            else:
                facts.take(comment, number)
            continue
        if rows is None or read is None:
            first = split_fields(line, _separator(line, layout))
            if not is_number_like(first[0]):
                named = (
                    None if layout and layout.header else layout_of_header(line, file=file, number=number, strict=True)
                )
                if named is None:
                    raise FileFormatError(
                        f"{shown(line)} is neither numbers nor names of columns; put # before a line of words.",
                        file=file,
                        line=number,
                    )
                layout = named
                continue
            numeric = layout_of_numbers(line, file=file, number=number) if layout is None else layout
            if layout is not None and layout.header and len(layout.names) != len(split_fields(line, layout.separator)):
                # names and numbers may be separated differently, as "# channel, counts" above tabs
                separator = _separator(line, None)
                numeric = Layout(layout.names, separator, layout.energy_factor, True, layout.unit_said)
            rows = _Rows(numeric, {name: [] for name in numeric.names})
            read = NumberReader(file, numeric.separator)
        _take_row(rows, read, line, number, file)
    if rows is None or read is None:
        raise FileFormatError("no line of counts in the file.", file=file)
    rows.n_decimals = read.n_decimals
    return rows


def _separator(line: str, layout: Layout | None) -> str:
    if layout is not None and layout.header and layout.separator and layout.separator in line:
        return layout.separator
    for mark in (";", "\t"):
        if mark in line:
            return mark
    return "," if "," in line and (len(line.split()) == 1 or ", " in line or " ," in line) else ""


def _take_row(rows: _Rows, read: NumberReader, line: str, number: int, file: str) -> None:
    names = rows.layout.names
    fields = split_fields(line, rows.layout.separator)
    if len(fields) != len(names):
        raise FileFormatError(
            f"{len(fields)} columns where {len(names)} are expected ({', '.join(names)}).", file=file, line=number
        )
    if len(rows.lines) >= MAX_CHANNELS:
        raise FileFormatError(f"more than {MAX_CHANNELS} channels, four times 16 bits.", file=file, line=number)
    for name, text in zip(names, fields, strict=True):
        value = read(text, number, name)
        if name in ("counts", "variance"):
            check_count(value, file=file, line=number, field=name)
        rows.columns[name].append(value)
    rows.lines.append(number)


def _spectrum(rows: _Rows, facts: Facts, file: str) -> Spectrum:
    columns = {name: np.array(values) for name, values in rows.columns.items()}
    counts = columns["counts"]
    variance = columns.get("variance")
    notes = list(facts.notes)
    axis = columns.pop("axis", None)
    if axis is not None:
        columns["channel" if _counts_by_one(axis) else "energy"] = axis
    shift = 0
    first = 0
    if "channel" in columns:
        number, shift = _channel_numbers(columns["channel"], rows.lines, file)
        n = int(number[-1]) + 1
        first = int(number[0])
        if shift:
            _add(notes, "the file counts its channels from 1; its channel 1 is channel 0 here.")
        if n > number.size:
            _add(notes, f"channels that the file leaves out hold 0 counts here: {_gaps(number, n)}.")
        counts = _spread(counts, number, n)
        variance = None if variance is None else _spread(variance, number, n)
    else:
        number = np.arange(counts.size)
    scale, is_corrected = _scale_of_columns(columns, rows, number, facts, file)
    claimed = _scale_of_facts("claimed", facts, counts.size, shift, notes)
    corrected = _scale_of_facts("corrected", facts, counts.size, shift, notes)
    if scale is not None and is_corrected:
        corrected = corrected or scale
    elif scale is not None:
        claimed = claimed or scale
    rebinned = facts.rebinned
    if not rebinned and scale is not None and not is_corrected and (why := why_rebinned(counts[first:])):
        rebinned = True
        _add(notes, f"the counts were redistributed onto the energy axis: {why}.")
    elif np.any(counts != np.floor(counts)) and not rebinned:
        _add(notes, "some counts are not whole numbers: they were treated before they came into this file.")
    if facts.counting_time_s is not None and facts.live_time_s is None and facts.real_time_s is None:
        _add(notes, "the file does not say whether its counting time is live or real time.")
    return Spectrum(
        counts=counts,
        variance=variance,
        live_time_s=facts.live_time_s,
        real_time_s=facts.real_time_s,
        counting_time_s=facts.counting_time_s,
        start=facts.start,
        overflow=facts.overflow,
        claimed_scale=claimed,
        corrected_scale=corrected,
        title=facts.title,
        remarks=facts.remarks,
        instrument=facts.instrument,
        detector=facts.detector,
        role=facts.role,
        rebinned=rebinned,
        notes=notes,
        file=file,
    )


def _add(notes: list[str], note: str) -> None:
    if note not in notes:
        notes.append(note)


def _counts_by_one(axis: Array) -> bool:
    """True where an unnamed axis counts channels: whole numbers, mostly one apart (a single row: whole)."""
    if np.any(axis != np.floor(axis)) or axis[0] < 0:
        return False
    steps = np.diff(axis)
    return steps.size == 0 or bool(np.median(steps) == 1)


def _channel_numbers(channel: Array, lines: list[int], file: str) -> tuple[npt.NDArray[np.int64], int]:
    """Channel numbers from 0, and 1 where the file counts from 1 (else 0)."""
    bad = np.flatnonzero(~((channel >= 0) & (channel == np.floor(channel)) & (channel <= MAX_CHANNELS)))
    if bad.size:
        i = int(bad[0])
        raise FileFormatError(
            f"{channel[i]:g} is not a channel number; they are whole numbers from 0 to {MAX_CHANNELS - 1}.",
            file=file,
            line=lines[i],
            field="channel",
        )
    falls = np.flatnonzero(np.diff(channel) <= 0)
    if falls.size:
        i = int(falls[0]) + 1
        raise FileFormatError(
            f"channel {channel[i]:g} follows channel {channel[i - 1]:g}; channel numbers must rise, each once.",
            file=file,
            line=lines[i],
            field="channel",
        )
    number = channel.astype(np.int64)
    last = int(number[-1])
    # From 1 to a power of two without a gap is a converter counted from 1, not one whose channel 0 is lost.
    if number[0] == 1 and number.size == last and last >= 16 and last & (last - 1) == 0:
        return number - 1, 1
    if last >= MAX_CHANNELS:
        raise FileFormatError(
            f"channel {last} is above the limit of {MAX_CHANNELS - 1}.", file=file, line=lines[-1], field="channel"
        )
    return number, 0


def _gaps(number: npt.NDArray[np.int64], n: int) -> str:
    missing = np.setdiff1d(np.arange(n), number)
    runs = np.split(missing, np.flatnonzero(np.diff(missing) != 1) + 1)
    words = [str(run[0]) if run.size == 1 else f"{run[0]} to {run[-1]}" for run in runs[:4]]
    return ", ".join(words) + (", …" if len(runs) > 4 else "")


def _spread(values: Array, number: npt.NDArray[np.int64], n: int) -> Array:
    full = np.zeros(n)
    full[number] = values
    return full


def _scale_of_columns(
    columns: dict[str, Array], rows: _Rows, number: npt.NDArray[np.int64], facts: Facts, file: str
) -> tuple[ClaimedScale | None, bool]:
    factor = rows.layout.energy_factor
    rounding = 0.5 * 10.0**-rows.n_decimals * factor
    unit = "" if rows.layout.unit_said else "; its unit is not said, keV assumed"
    if "energy_low" in columns:
        low = check_rising(factor * columns["energy_low"], file=file, field="energy low", lines=rows.lines)
        high = check_rising(factor * columns["energy_high"], file=file, field="energy high", lines=rows.lines)
        next_to = np.diff(number) == 1
        off = np.flatnonzero(next_to & (np.abs(high[:-1] - low[1:]) > rounding))
        empty = np.flatnonzero(high <= low)
        if off.size or empty.size:
            i = int(off[0]) + 1 if off.size else int(empty[0])
            raise FileFormatError(
                "the low edge is not the high edge of the channel before."
                if off.size
                else "the high edge is not above the low edge.",
                file=file,
                line=rows.lines[i],
                field="energy low" if off.size else "energy high",
            )
        ends = np.append(~next_to, True)
        at = np.sort(np.concatenate([number - 0.5, number[ends] + 0.5]))
        edges = np.sort(np.concatenate([low, high[ends]]))
        origin = "low and high energy edges in the file's columns" + unit
        if not np.all(np.diff(edges) > 0):
            raise FileFormatError("the energy edges do not rise.", file=file, field="energy low")
        tolerance = 0.0 if facts.corrected_columns else max(rounding, 1e-9 * float(np.abs(edges).max()))
        return scale_through(at, edges, tolerance_kev=tolerance, origin=origin), facts.corrected_columns
    if "energy" not in columns:
        return None, False
    energy = check_rising(factor * columns["energy"], file=file, field="energy", lines=rows.lines)
    origin = "energy labels in the file's column; not said whether low edge or middle of a channel" + unit
    tolerance = max(1.001 * rounding, 1e-9 * float(np.abs(energy).max()))
    return scale_through(number.astype(np.float64), energy, tolerance_kev=tolerance, origin=origin), False


def _scale_of_facts(which: str, facts: Facts, n: int, shift: int, notes: list[str]) -> ClaimedScale | None:
    coefficients = facts.coefficients.get(which)
    if coefficients is None:
        return None
    origin = facts.origins.get(which, "")
    if not usable_coefficients(coefficients, n):
        _add(notes, f"the {which} energy scale of the file cannot be used: it is constant or beyond 1 GeV.")
        return None
    points = tuple(facts.points.get(which, ()))
    if points:
        x, energy = np.array(points).T
        if len(points) < 2 or not (np.all(np.diff(x) > 0) and np.all(np.diff(energy) > 0) and np.all(np.isfinite(x))):
            raise FileFormatError("energy points must rise.", file=facts.file, field="energy points")
    if shift:
        coefficients = moved_coefficients(coefficients, shift)
    return ClaimedScale(coefficients, origin, points)
