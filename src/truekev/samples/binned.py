"""A spectrum and its background merged into the bins that a fit of samples uses."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError, OutOfRangeError
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.find_groups import warped
from truekev.spectra.spectrum import Spectrum

__all__ = ["Binned", "binned", "u_of_edges"]

Array = npt.NDArray[np.float64]

_PER_FWHM = 5.0
_FEWEST = 4.0  # expected counts of a bin, up to two thirds of a peak's width
_WIDEST_FWHM = 0.67
_LOWEST_KEV, _HIGHEST_KEV = 28.0, 2950.0
_SMOOTHED = 5  # bins, twice
_CUT_CHANNELS = 2  # first channels with counts: the trigger cuts them


@dataclass(frozen=True, eq=False)
class Binned:
    """Counts in merged bins.

    Parameters
    ----------
    edges : ndarray, shape (n + 1,)
        Bin edges in the pulse coordinate of the spectrum.
    counts : ndarray, shape (n,)
    time_s : float
        Live time.
    first_kev : float
        Where counts begin: a hundredth of the most within 40 keV above.
    pile_up : ndarray, shape (n,)
        Counts of sums of two pulses, were as many summed as there are counts.
    background, background_slope : ndarray, shape (n,), or None
        Background scaled to that time, and its change per unit of ln of its gain.
    background_times : float
        What its counts were multiplied by.
    """

    edges: Array
    counts: Array
    time_s: float
    first_kev: float
    pile_up: Array
    background: Array | None = None
    background_slope: Array | None = None
    background_times: float = 0.0

    @cached_property
    def expected_background(self) -> Array:
        """The background smoothed over the bins about each: weights must not follow its noise, or bins that it left low
        by chance would count for more and lift every strength.
        """
        if self.background is None:
            return np.zeros(self.counts.size)
        return smoothed(self.background, self.edges)

    def with_counts(self, counts: Array) -> Binned:
        """Other counts in the same bins."""
        return replace(self, counts=counts)


def smoothed(counts: Array, edges: Array) -> Array:
    """Counts of bins, each at the density of the bins about it; its own count is left out.

    So the noise of a bin is in the weights of its neighbours but not in its own, and no weight goes with a residual.
    """
    width = np.diff(edges)
    kernel = np.convolve(np.ones(_SMOOTHED), np.ones(_SMOOTHED))
    kernel[_SMOOTHED - 1] = 0.0
    padded = [np.pad(of, _SMOOTHED - 1, mode="symmetric") for of in (counts, width)]
    together, widths = (np.convolve(of, kernel, mode="valid") for of in padded)
    return np.asarray(together / widths * width)


def u_of_edges(scale: EnergyScale, edges: Array) -> Array:
    """Edges on the axis u = sqrt(nominal pulse height)."""
    return np.sqrt(np.maximum(warped(scale.pulse, edges), 0.0))


def time_of(spectrum: Spectrum, what: str) -> float:
    """Live time of a spectrum.

    Raises
    ------
    InputError
        It is missing or zero.
    """
    time_s = spectrum.best_live_time_s
    if not time_s:
        raise InputError(
            f"{what} {spectrum.file}: it has no counting time, so nothing about amounts can be said; put the live time "
            "into the file (`truekev convert` tells how the fields are named)."
        )
    return time_s


def _merged(counts: Array, u: Array, fwhm_u: float, first: int, last: int) -> list[int]:
    """Channel numbers at which bins begin, and the end."""
    starts, i = [first], first
    smooth = np.convolve(counts, np.full(5, 0.2), mode="same")
    while i < last:
        stop, held = i, 0.0
        while stop < last:
            held += smooth[stop]
            stop += 1
            width = u[stop] - u[i]
            if width >= fwhm_u / _PER_FWHM and (held >= _FEWEST or width >= _WIDEST_FWHM * fwhm_u):
                break
        starts.append(stop)
        i = stop
    return starts


def _pile_up(counts: Array, c0: float, edges: Array) -> Array:
    """Sums of two pulses of the spectrum, which add up in light, that is in channels from the zero on."""
    summed = np.convolve(counts, counts) / max(counts.sum(), 1.0)
    below = np.concatenate(([0.0], np.cumsum(summed)))
    # Pulses of channels i and j make one of i + j - c0, spread over that of two channels' widths.
    own = np.arange(below.size) - 0.5 - c0
    return np.diff(np.interp(edges, own, below))


def _first_kev(counts: Array, scale: EnergyScale) -> float:
    """Energy of the first channel that holds a hundredth of the most within 40 keV above the first counts."""
    energy = np.asarray(scale.edges_kev()[1:], np.float64)
    first = int(np.flatnonzero(counts)[0])
    near = (energy >= energy[first]) & (energy <= max(energy[first], 0.0) + 40.0)
    return float(energy[int(np.flatnonzero(near & (counts >= 0.01 * counts[near].max()))[0])])


def _background(
    background: Spectrum, sample: Spectrum, edges: Array, ratio: float, c0: float, times: float
) -> tuple[Array, Array, float]:
    below = np.concatenate(([0.0], np.cumsum(background.counts)))
    own = np.arange(background.n_channels + 1) - 0.5

    def counts(gain: float) -> Array:
        return np.diff(np.interp(c0 + (edges - c0) * gain, own, below))

    step = 0.01
    slope = (counts(ratio * (1 - step)) - counts(ratio * (1 + step))) / (2 * step)
    return counts(ratio) * times, smoothed(slope, edges) * times, times


def binned(
    spectrum: Spectrum,
    scale: EnergyScale,
    background: Spectrum | None = None,
    *,
    background_gain: float = 1.0,
) -> Binned:
    """Merge a spectrum into bins of about a fifth of a peak's width, wider where counts are few.

    Parameters
    ----------
    spectrum, scale
        The spectrum, and the energy scale that holds for it.
    background
        A background of the same instrument.
    background_gain
        Gain of the background over that of the spectrum.

    Raises
    ------
    InputError
        Another number of channels than the scale's, no counting time, redistributed counts, or no counts.
    """
    for one, what in ((spectrum, "spectrum"), (background, "background")):
        if one is None:
            continue
        if one.n_channels != scale.n_channels:
            raise InputError(
                f"{what} {one.file} has {one.n_channels} channels, the scale belongs to {scale.n_channels}; "
                "take the scale of this setting of the instrument."
            )
        if one.rebinned:
            raise InputError(
                f"{what} {one.file}: its counts were redistributed onto an energy axis; give the spectrum as counted."
            )
        time_of(one, what)
        if one.counts.sum() <= 0:
            raise InputError(f"{what} {one.file} holds no counts.")
    if not 0.5 < background_gain < 2.0:
        raise OutOfRangeError(f"gain of the background over the spectrum's {background_gain:g}: 0.5 to 2 is taken.")
    counts = np.asarray(spectrum.counts, np.float64)
    u = u_of_edges(scale, spectrum.edges)
    occupied = np.flatnonzero(counts)
    low = max(int(occupied[0]) + _CUT_CHANNELS, int(np.ceil(scale.channel(_LOWEST_KEV) + 0.5)))
    high = min(
        spectrum.n_channels - int(spectrum.last_channel_stands_out), int(np.floor(scale.channel(_HIGHEST_KEV) + 0.5))
    )
    if high - low < 20:
        raise InputError(f"spectrum {spectrum.file}: too few of its channels lie between 28 and 2950 keV.")
    fwhm_u = 0.5 * scale.fwhm_662 * np.sqrt(661.655)
    starts = _merged(counts, u, float(fwhm_u), low, high)
    edges = np.array(starts, np.float64) - 0.5
    merged = np.add.reduceat(counts[: starts[-1]], starts[:-1])
    time_s = time_of(spectrum, "spectrum")
    sums = _pile_up(counts, scale.pulse.c0, edges)
    first_kev = _first_kev(counts, scale)
    if background is None:
        return Binned(edges, merged, time_s, first_kev, sums)
    times = time_s / time_of(background, "background")
    room = _background(background, spectrum, edges, background_gain, scale.pulse.c0, times)
    return Binned(edges, merged, time_s, first_kev, sums, *room)
