"""Whether a count is sound enough to be fitted: what is broken is said, not fitted."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from truekev.errors import InputError
from truekev.spectra.spectrum import Spectrum

__all__ = ["check_sound", "why_not_sound"]

_LEAST_COUNTS = 200
_MISSING = 40.0  # counts expected in a run of empty channels; chance leaves it empty once in 10^17
_BESIDE, _LEAST_BESIDE = 6, 4
_MOST_RATE_PER_S = 200_000.0  # of a scintillator whose pulses last a microsecond
_CLOCK = 1.001
_MOST_OVERFLOW = 0.5
_FULL_COUNTERS = (255.0, 4095.0, 32_767.0, 65_535.0, 1_048_575.0, 16_777_215.0, 4_294_967_295.0)


def _dead_region(spectrum: Spectrum) -> str:
    counts = spectrum.counts
    held = np.flatnonzero(counts > 0)
    for low, high in pairwise(held):
        length = int(high - low) - 1
        if length < 1:
            continue
        left, right = counts[max(low + 1 - _BESIDE, 0) : low + 1], counts[high : high + _BESIDE]
        if min(left.size, right.size) < _LEAST_BESIDE:
            continue
        beside = min(float(np.median(left)), float(np.median(right)))
        if length * beside > _MISSING:
            return (
                f"channels {low + 1} to {high - 1} are empty, their neighbours hold about {beside:.0f} counts each: "
                "a dead region of the instrument, or a hole in the file. Export it again, or count again"
            )
    return ""


def _times(spectrum: Spectrum) -> str:
    live, real = spectrum.live_time_s, spectrum.real_time_s
    if live is not None and real is not None and live > _CLOCK * real + 1.0:
        return f"its live time ({live:g} s) is longer than its real time ({real:g} s). Correct the times in the file"
    total = float(spectrum.counts.sum()) + spectrum.overflow
    known = [t for t in (live, real, spectrum.counting_time_s) if t is not None]
    if known and total > _MOST_RATE_PER_S * max(known):
        return (
            f"{total:.0f} counts in {max(known):g} s are more than such an instrument can count. Correct the times in "
            "the file"
        )
    return ""


def why_not_sound(spectrum: Spectrum, *, least_counts: float = _LEAST_COUNTS) -> str:
    """Why a count cannot be fitted, in words with what to do; empty if it can."""
    if spectrum.rebinned:
        return (
            "its counts were redistributed onto an energy axis, so the channels of the instrument are gone; give the "
            "spectrum as the instrument counted it"
        )
    counts = spectrum.counts
    total = float(counts.sum())
    if total < least_counts:
        return f"it holds {total:.0f} counts; at least {least_counts:g} are needed"
    above = float(counts[-1]) if counts.size > 1 else 0.0
    share = max(above, spectrum.overflow) / max(total + spectrum.overflow, 1.0)
    if share > _MOST_OVERFLOW:
        return (
            f"the overflow holds {100 * share:.0f} % of all counts: the gain is far too high, or the instrument is "
            "saturated. Turn the gain down and count again"
        )
    top = float(counts.max())
    n_full = int(np.count_nonzero(counts == top))
    if top in _FULL_COUNTERS and n_full > 1:
        return f"{n_full} channels stand at {top:.0f}: their counters are full. Count for less time"
    return _dead_region(spectrum) or _times(spectrum)


def check_sound(spectrum: Spectrum, *, least_counts: float = _LEAST_COUNTS) -> None:
    """Refuse a count that cannot be fitted.

    Raises
    ------
    InputError
        With the file, what is wrong with it and what to do.
    """
    why = why_not_sound(spectrum, least_counts=least_counts)
    if why:
        raise InputError(f"{spectrum.file}: {why}.")
