"""Channels merged for a fit of the whole spectrum: bins of about a sixth of a peak's width."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from truekev.errors import RefusedError
from truekev.scale.light import Pulse
from truekev.scale.search import MeasuredBackground, last_channel
from truekev.scale.whole.measured_room import MeasuredRoom, room_in_bins
from truekev.spectra.rebin import merge_counts

__all__ = ["BinnedSpectrum", "channel_range", "merged", "pile_up_of"]

Array = npt.NDArray[np.float64]

_BINS_PER_FWHM = 6.0
_LOWEST_KEV = 24.0
_HIGHEST_KEV = 3300.0
_FWHM_KEV_662 = 661.655
_LEAST_BINS = 20
_ONSET, _TRIGGER_KEV = 0.02, 4.0


@dataclass(frozen=True, eq=False)
class BinnedSpectrum:
    """A spectrum merged for the fit.

    Parameters
    ----------
    edges : ndarray, shape (n + 1,)
        Bin edges in the pulse coordinate.
    counts : ndarray, shape (n,)
    room : MeasuredRoom or None
        Measured background scaled to the counting time.
    pile_up : ndarray, shape (n,)
        Where two pulses added would lie, of the measured spectrum itself; adds up to one.
    """

    edges: Array
    counts: Array
    room: MeasuredRoom | None
    pile_up: Array

    @classmethod
    def bare(cls, edges: Array) -> BinnedSpectrum:
        """Bins in which nothing was counted."""
        nothing = np.zeros(edges.size - 1)
        return cls(edges, nothing, None, nothing)

    @cached_property
    def further(self) -> Array:
        """Pile-up and background side by side, shape (n, 2)."""
        return np.column_stack([self.pile_up, self.room.expected if self.room else np.zeros_like(self.pile_up)])


def channel_range(counts: Array, pulse: Pulse) -> tuple[int, int]:
    """First channel past the trigger, and the last before the overflow.

    Raises
    ------
    RefusedError
        Nothing was counted.
    """
    if not np.any(counts > 0):
        raise RefusedError("The spectrum is empty.", "count again.")
    last = last_channel(counts)
    kev = pulse.gain * 1e-3  # channels per keV of light
    end = min(last, int(float(pulse.channel(_HIGHEST_KEV))))
    lowest = int(np.ceil(float(pulse.channel(_LOWEST_KEV)) - 0.5))
    # The trigger cuts within some keV: past the first channels that hold anything, the spectrum is taken to be whole.
    near = counts[: max(int(float(pulse.channel(90.0))), 4)]
    box = int(max(round(3.0 * kev), 1))
    smooth = np.convolve(near, np.full(box, 1.0 / box), mode="same")
    held = np.flatnonzero(smooth > _ONSET * smooth.max()) if smooth.size and smooth.max() > 0 else np.zeros(0, int)
    onset = int(held[0]) if held.size else 0
    return max(lowest, onset + max(int(np.ceil(_TRIGGER_KEV * kev)), 1), 0), max(end, 0)


def pile_up_of(counts: Array, pulse: Pulse, last: int) -> Array:
    """Where two pulses added would lie, per channel up to `last`: the spectrum folded with itself."""
    n = last + 1
    coarse = max(n // 512, 1)
    m = n // coarse
    merged_counts = counts[: m * coarse].reshape(m, coarse).sum(axis=1)
    folded = np.convolve(merged_counts, merged_counts)
    at = 2.0 * coarse * (np.arange(folded.size) / 2.0) + (coarse - 1.0) - pulse.c0
    below = np.concatenate(([0.0], np.cumsum(folded)))
    edges = np.concatenate((at - 0.5 * coarse, [at[-1] + 0.5 * coarse]))
    return np.asarray(np.diff(np.interp(np.arange(n + 1) - 0.5, edges, below)), dtype=np.float64)


def merged(
    counts: Array,
    background: MeasuredBackground | None,
    pulse: Pulse,
    width: float,
    limits: tuple[int, int] | None = None,
) -> BinnedSpectrum:
    """Merge a spectrum on a scale that is about right.

    Parameters
    ----------
    counts, background
        Per channel.
    pulse
        ch(E), right to some per cent.
    width
        FWHM/E at 661.655 keV.
    limits
        First and last channel; by default those of `channel_range`.

    Raises
    ------
    RefusedError
        Nothing was counted, or there are too few channels.
    """
    first, last = limits or channel_range(counts, pulse)
    starts, per_fwhm = [first], []
    while starts[-1] <= last:
        light_kev = max((starts[-1] - pulse.c0) / pulse.gain * 1e3, 20.0)
        fwhm = width * np.sqrt(light_kev * _FWHM_KEV_662) * 1e-3 * pulse.gain
        size = max(1, int(fwhm / _BINS_PER_FWHM))
        starts.append(starts[-1] + size)
        per_fwhm.append(fwhm / size)
    starts[-1] = last + 1
    if len(starts) < _LEAST_BINS or starts[-1] <= starts[-2]:
        raise RefusedError(
            f"Only {max(len(starts) - 1, 0)} bins of a sixth of a peak's width lie in the range of this spectrum.",
            "use more channels or a lower gain.",
        )
    at = np.asarray(starts, dtype=np.int64)

    edges = np.asarray(at - 0.5, dtype=np.float64)
    pile_up = merge_counts(pile_up_of(counts, pulse, last), at[:-1])
    pile_up = pile_up / max(pile_up.sum(), 1e-300)
    room = room_in_bins(background, edges, pulse.c0, np.array(per_fwhm)) if background else None
    return BinnedSpectrum(edges, merge_counts(counts[: last + 1], at[:-1]), room, pile_up)
