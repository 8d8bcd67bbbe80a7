"""How much a spectrum file may hold, with the reasons, and the checks that every reader makes."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from truekev.errors import FileFormatError

__all__ = [
    "MAX_BYTES",
    "MAX_CHANNELS",
    "MAX_COUNT",
    "MAX_ENERGY_KEV",
    "MAX_SPECTRA",
    "MAX_TOTAL_CHANNELS",
    "MAX_TIME_S",
    "check_count",
    "check_rising",
    "check_time",
    "shown",
]

# A spectrum of MAX_CHANNELS in four columns is some 16 MB of text; four times that leaves room.
MAX_BYTES = 64 * 1024 * 1024
# The finest converters have 16 bits; four times that leaves room, and bounds the memory.
MAX_CHANNELS = 4 * 65536
# Whole numbers above 2**53 are not exact in double precision; no counter reaches it.
MAX_COUNT = 2.0**53
# 1 GeV, far above any gamma ray of a nuclide; what exceeds it is a damaged file or a wrong unit.
MAX_ENERGY_KEV = 1e6
# Slices of one second for a day; bounds time and memory.
MAX_SPECTRA = 86_400
# All spectra of one file together: 32 million channels, 256 MB in memory.
MAX_TOTAL_CHANNELS = 2**25
# A thousand years.
MAX_TIME_S = 3.2e10


def shown(text: str, limit: int = 40) -> str:
    """`text` quoted for a message, on one line, cut after `limit` characters."""
    return repr(text if len(text) <= limit else text[:limit] + "…")


def check_count(value: float, *, file: str, line: int | None = None, field: str = "counts") -> float:
    """`value` if it can be a number of counts.

    Raises
    ------
    FileFormatError
        Not finite, negative, or above MAX_COUNT.
    """
    if math.isnan(value) or math.isinf(value):
        raise FileFormatError(
            f"{value} is not a number of counts; it must be finite.", file=file, line=line, field=field
        )
    if value < 0:
        raise FileFormatError(
            f"{value:g} counts: counts are never negative. If a background was subtracted, give the spectrum "
            "before the subtraction.",
            file=file,
            line=line,
            field=field,
        )
    if value > MAX_COUNT:
        raise FileFormatError(
            f"{value:g} counts in one channel cannot be right: the limit is 2^53, about 9e15.",
            file=file,
            line=line,
            field=field,
        )
    return value


def check_rising(
    energy_kev: npt.NDArray[np.float64], *, file: str, field: str, lines: list[int] | None = None
) -> npt.NDArray[np.float64]:
    """`energy_kev`, shape (n,), if every value is finite, below MAX_ENERGY_KEV and above the one before.

    Raises
    ------
    FileFormatError
        Names the first value that is not.
    """
    bad = np.flatnonzero(~(np.abs(energy_kev) <= MAX_ENERGY_KEV))
    if bad.size:
        i = int(bad[0])
        raise FileFormatError(
            f"{energy_kev[i]:g} keV cannot be right; energies lie between -1e6 and 1e6 keV. Check the unit.",
            file=file,
            line=lines[i] if lines else None,
            field=field,
        )
    falls = np.flatnonzero(np.diff(energy_kev) <= 0)
    if falls.size:
        i = int(falls[0]) + 1
        raise FileFormatError(
            f"{energy_kev[i]:.10g} keV follows {energy_kev[i - 1]:.10g} keV; the energy axis must rise from each "
            "channel to the next.",
            file=file,
            line=lines[i] if lines else None,
            field=field,
        )
    return energy_kev


def check_time(seconds: float, *, file: str, line: int | None = None, field: str) -> float:
    """`seconds` if it can be a counting time.

    Raises
    ------
    FileFormatError
        Not finite, negative, or longer than MAX_TIME_S.
    """
    if not 0 <= seconds <= MAX_TIME_S:
        raise FileFormatError(
            f"a counting time of {seconds:g} s cannot be right; it lies between 0 and {MAX_TIME_S:g} s.",
            file=file,
            line=line,
            field=field,
        )
    return seconds
