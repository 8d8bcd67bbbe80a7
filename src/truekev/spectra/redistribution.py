"""Whether counts prove that they were redistributed onto an energy axis."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["why_rebinned"]

# Fewer odd channels than this may be chance or a broken converter.
_MIN_ODD = 3


def why_rebinned(counts: npt.NDArray[np.float64]) -> str:
    """Why `counts`, shape (n,), cannot be the counts of an instrument's own channels; empty if they can.

    Notes
    -----
    Four signs, each all but impossible by chance or by a peak (a peak of a scintillator is several channels
    wide): counts that are not whole; channels of 0 between neighbours of 25 or more (chance below 1e-10
    each); single channels about twice as high as both neighbours, which agree with each other; and runs of equal
    counts. At least three channels must show the sign, so a single dead channel does not count.
    """
    if np.any(counts != np.floor(counts)):
        return "the counts are not whole numbers"
    if counts.size < 5:
        return ""
    left, middle, right = counts[:-2], counts[1:-1], counts[2:]
    if np.count_nonzero((middle == 0) & (left >= 25) & (right >= 25)) >= _MIN_ODD:
        return "empty channels stand between full ones"
    mean = (left + right) / 2
    agree = np.abs(left - right) <= 4 * np.sqrt(left + right)
    doubled = agree & (mean >= 25) & (middle > 1.6 * mean) & (middle < 2.5 * mean) & (middle - mean > 6 * np.sqrt(mean))
    if np.count_nonzero(doubled) >= _MIN_ODD:
        return "single channels stand at about twice their neighbours"
    high = (counts[:-1] >= 20) & (counts[1:] >= 20)
    n_high = int(np.count_nonzero(high))
    if n_high >= 12 and np.count_nonzero(high & (counts[:-1] == counts[1:])) > 0.4 * n_high:
        return "neighbouring channels repeat each other's counts"
    return ""
