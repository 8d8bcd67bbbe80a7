"""Whether counts prove that they were redistributed onto an energy axis."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["why_rebinned"]

# Fewer odd channels than this may be chance or a broken converter.
_MIN_ODD = 3
_FULL = 25


def why_rebinned(counts: npt.NDArray[np.float64]) -> str:
    """Why `counts`, shape (n,), cannot be the counts of an instrument's own channels; empty if they can.

    Notes
    -----
    Signs, each all but impossible by chance or by a peak (a peak of a scintillator is several channels wide):
    counts that are not whole; runs of empty channels between channels of 25 or more (chance below 1e-10 each);
    single channels about twice or half as high as both neighbours, which agree with each other; and neighbours
    that repeat each other's counts. At least three places must show the sign, so a dead channel does not count.

    Whole channels moved to new ones of up to two old widths leave such marks (found in at least nine of ten open
    spectra, tests/real/test_open_spectra.py); wider new channels, and counts spread by chance, leave none that can
    be told.
    """
    if np.any(counts != np.floor(counts)):
        return "the counts are not whole numbers"
    held = np.flatnonzero(counts)
    if counts.size < 5 or held.size < 5:
        return ""
    gap = np.diff(held) > 1
    if np.count_nonzero(gap & (counts[held[:-1]] >= _FULL) & (counts[held[1:]] >= _FULL)) >= _MIN_ODD:
        return "empty channels stand between full ones"
    left, middle, right = counts[:-2], counts[1:-1], counts[2:]
    mean = (left + right) / 2
    alike = (np.abs(left - right) <= 4 * np.sqrt(left + right)) & (mean >= _FULL)
    odd = alike & (np.abs(middle - mean) > 6 * np.sqrt(mean))
    if np.count_nonzero(odd & (middle > 1.6 * mean) & (middle < 2.5 * mean)) >= _MIN_ODD:
        return "single channels stand at about twice their neighbours"
    if np.count_nonzero(odd & (middle > 0.4 * mean) & (middle < 0.62 * mean)) >= _MIN_ODD:
        return "single channels stand at about half their neighbours"
    high = (counts[:-1] >= 20) & (counts[1:] >= 20)
    n_high = int(np.count_nonzero(high))
    if n_high >= 12 and np.count_nonzero(high & (counts[:-1] == counts[1:])) > 0.4 * n_high:
        return "neighbouring channels repeat each other's counts"
    return ""
