"""Counting times as text: ISO 8601 durations, clock form, and numbers with a unit."""

from __future__ import annotations

import re
from decimal import Decimal

from truekev.errors import FileFormatError
from truekev.spectra.limits import check_time, shown

__all__ = ["iso_duration", "seconds_of_iso", "seconds_of_text"]

_ISO = re.compile(
    r"P(?:(?P<weeks>[0-9.]{1,20})W)?(?:(?P<days>[0-9.]{1,20})D)?"
    r"(?:T(?:(?P<hours>[0-9.]{1,20})H)?(?:(?P<minutes>[0-9.]{1,20})M)?"
    r"(?:(?P<seconds>[0-9.]{1,400})S)?)?",
    re.IGNORECASE,
)
_ISO_SECONDS = {"weeks": 604800.0, "days": 86400.0, "hours": 3600.0, "minutes": 60.0, "seconds": 1.0}
_CLOCK = re.compile(r"([0-9]{1,6}):([0-5][0-9]):([0-5][0-9](?:\.[0-9]{1,9})?)(?![0-9:])")
_NUMBER_UNIT = re.compile(r"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*([^\s\d(\[;,]*)")
_UNIT_SECONDS = {
    **dict.fromkeys(("", "s", "sec", "secs", "second", "seconds"), 1.0),
    "ms": 1e-3,
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 3600.0),
    **dict.fromkeys(("d", "day", "days"), 86400.0),
}


def seconds_of_iso(text: str, *, file: str, line: int | None = None, field: str) -> float:
    """Seconds of an ISO 8601 duration such as PT1H2M3.5S, or P1DT2H.

    Raises
    ------
    FileFormatError
        Not a duration, or one in years or months, which have no fixed length.
    """
    match = _ISO.fullmatch(text.strip())
    parts = {name: part for name, part in match.groupdict().items() if part} if match else {}
    if not parts:
        raise FileFormatError(
            f"{shown(text)} is not an ISO 8601 duration; write it as PT600S or PT1H30M.",
            file=file,
            line=line,
            field=field,
        )
    try:
        seconds = sum(_ISO_SECONDS[name] * float(part) for name, part in parts.items())
    except ValueError as error:
        raise FileFormatError(
            f"{shown(text)} holds a number that cannot be read; write it as PT600S.", file=file, line=line, field=field
        ) from error
    return check_time(seconds, file=file, line=line, field=field)


def iso_duration(seconds: float) -> str:
    """`seconds` as an ISO 8601 duration that reads back as the same number, as PT3645S."""
    plain = format(Decimal(repr(float(seconds))), "f").removesuffix(".0")
    return f"PT{plain}S"


def seconds_of_text(text: str, *, file: str, line: int | None = None, field: str, unit: str = "") -> float | None:
    """Seconds that `text` states: a number with or without unit, 1:02:03, or an ISO 8601 duration.

    None where it states no number, as in "not given". Words after the first number and its unit are
    left out. `unit` is used where the text has none; without either, seconds.

    Raises
    ------
    FileFormatError
        A unit that is not one of time, or a time out of range.
    """
    text = text.strip()
    if re.match(r"P[T0-9]", text, re.IGNORECASE):
        return seconds_of_iso(text.split()[0], file=file, line=line, field=field)
    if match := _CLOCK.match(text):
        hours, minutes, seconds = (float(part) for part in match.groups())
        return check_time(3600 * hours + 60 * minutes + seconds, file=file, line=line, field=field)
    match = _NUMBER_UNIT.match(text)
    if match is None:
        return None
    given = match.group(2).strip(".").lower() or unit
    if given not in _UNIT_SECONDS:
        raise FileFormatError(
            f"{shown(text)}: {shown(given)} is not a unit of time; use s, min or h.", file=file, line=line, field=field
        )
    value = float(match.group(1).replace(",", "."))
    return check_time(value * _UNIT_SECONDS[given], file=file, line=line, field=field)
