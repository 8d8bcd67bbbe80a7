"""CountedZeroes: the compression of channel data in both editions of N42.42.

Every run of zeros is written as one 0 and the length of the run; other values stand as they are.
Checked against the definition of the compression code in NIEM 4.1 by tests/published/test_n42_standard.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from truekev.errors import FileFormatError

__all__ = ["compress_zeroes", "expand_zeroes"]


def compress_zeroes(counts: Sequence[float] | npt.NDArray[np.float64]) -> list[float]:
    """`counts` with every run of zeros as 0 and its length."""
    out: list[float] = []
    run = 0
    for value in counts:
        if value == 0:
            run += 1
            continue
        if run:
            out += [0.0, float(run)]
            run = 0
        out.append(float(value))
    if run:
        out += [0.0, float(run)]
    return out


def expand_zeroes(
    values: npt.NDArray[np.float64], *, limit: int, file: str = "", line: int | None = None
) -> npt.NDArray[np.float64]:
    """The counts behind compressed `values`, both one-dimensional.

    Raises
    ------
    FileFormatError
        A 0 without a whole, positive length of run after it, or more than `limit` channels.
    """
    pieces: list[npt.NDArray[np.float64]] = []
    total = position = 0
    for at in np.flatnonzero(values == 0):
        if at < position:
            continue
        run = float(values[at + 1]) if at + 1 < values.size else float("nan")
        if not (run >= 1 and run == np.floor(run)):
            given = "nothing" if np.isnan(run) else f"{run:g}"
            raise FileFormatError(
                f"in CountedZeroes a 0 is followed by how many zeros there are; {given} follows value {at + 1}.",
                file=file,
                line=line,
                field="ChannelData",
            )
        total += int(at) - position + int(min(run, limit + 1))
        if total > limit:
            raise FileFormatError(f"more than {limit} channels.", file=file, line=line, field="ChannelData")
        pieces += [values[position:at], np.zeros(int(run))]
        position = int(at) + 2
    pieces.append(values[position:])
    return np.concatenate(pieces)
