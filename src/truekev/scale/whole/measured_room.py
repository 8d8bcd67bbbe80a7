"""A measured background in the bins of a fit, moved in gain, and told better by the spectrum it lies under.

What a background was counted as differs from what it expects, and a fit must not take its noise for structure: noise
in a column pulls the column's strength towards zero (errors in variables; Fuller, Measurement Error Models, 1987,
chapter 1). So what it expects in every bin is fitted with the rest: with B the expected, b the counted background, s
its strength and r = y - source - s b,

    B = b + s S V^-1 r,   S = variance of b, V = that of r,

puts the sum of squares of b - B and of y - source - s B at its least (Barlow and Beeston 1993, Comput. Phys. Commun.
77, 219, for normal errors). Its column is B; the residuals stay those of b.

How it changes with its gain hangs on its slope, in which noise is worse: left in, it passes for knowledge of the gain.
The slope is that of a quieted background: the mean over a peak's width, and what stands out of it as a peak would, by
Gaussian process regression (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, 2.2) with the
process as large in every place as what stands out there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from truekev.scale.search import MeasuredBackground

__all__ = ["MeasuredRoom", "room_in_bins"]

Array = npt.NDArray[np.float64]
# Of a peak's width (standard deviations, and the length of the process: that of peaks of any place and height).
_WIDE, _PEAK, _AROUND, _VARIANCE, _LENGTH = 1.0, 0.42, 0.7, 0.5, 0.6
_STANDS_OUT = 3.0  # standard deviations
_NEAR = 1e-3  # in ln of the gain: so far the slope serves as well
_STEEPEST = 60.0  # d ln B / d ln E: a peak's flank; where next to nothing was counted the slope tells nothing
_AMPLITUDE = 2.0  # over what a filter of a peak's width sees of it


@dataclass(frozen=True, eq=False)
class MeasuredRoom:
    """A background in the bins of a fit.

    Parameters
    ----------
    background : MeasuredBackground
        Per channel, as it was counted.
    edges, c0
        Edges of the bins in channels, and the channel that no gain moves.
    wide, kept, variance_blur : ndarray, shape (n, n)
        What takes a density to its mean over a peak's width, and the rest to what is kept of it; a variance to the mean
        of its neighbours.
    log_ratio : float
        ln of the factor on its gain that it stands at.
    counted, variance : ndarray, shape (n,)
        Counts there, and their variance.
    expected : ndarray, shape (n,)
        What is expected there, as far as it is known.
    beyond : ndarray, shape (n,)
        Counts under the spectrum that were expected of the background and are not in it.
    precision : float
        1 / variance of its strength about 1; 0 where a counting time is unknown.
    """

    background: MeasuredBackground
    edges: Array
    c0: float
    wide: Array
    kept: Array
    variance_blur: Array
    log_ratio: float
    counted: Array
    variance: Array
    expected: Array
    beyond: Array
    precision: float

    def moved(self, log_ratio: float) -> MeasuredRoom:
        """The counted background at another gain, itself taken for what is expected."""
        counted, variance = _in_bins(self.background, self.edges, log_ratio, self.c0, self.variance_blur)
        nothing = np.zeros_like(counted)
        return replace(self, log_ratio=log_ratio, counted=counted, variance=variance, expected=counted, beyond=nothing)

    def told_by(self, log_ratio: float, strength: float, weighted: Array) -> MeasuredRoom:
        """At another gain or very near it, and expected as the residuals of a fit tell.

        Parameters
        ----------
        log_ratio, strength
            Of the fit.
        weighted : ndarray, shape (n,)
            V^-1 r.
        """
        there = self if abs(log_ratio - self.log_ratio) < _NEAR else self.moved(log_ratio)
        expected = np.maximum(there.counted + strength * there.variance * weighted, 0.0)
        return replace(there, expected=expected, beyond=strength * (expected - there.counted))

    @cached_property
    def quieted(self) -> Array:
        """What is expected where it stands, without the noise of single bins, shape (n,)."""
        size = np.diff(self.edges)
        density = self.expected / size
        mean = self.wide @ density
        return np.asarray((mean + self.kept @ (density - mean)) * size)

    @cached_property
    def _derivatives(self) -> tuple[Array, Array]:
        """First and second, by ln of the gain."""
        slope = self._slope_of(self.quieted)
        return slope, self._slope_of(slope)

    def _slope_of(self, values: Array) -> Array:
        # A larger gain moves counts up: the change is minus the slope of ch * density.
        at_edges = np.interp(self.edges, 0.5 * (self.edges[1:] + self.edges[:-1]), values / np.diff(self.edges))
        return np.asarray(-np.diff((self.edges - self.c0) * at_edges))

    def at(self, log_ratio: float) -> Array:
        """What is expected at another gain, to second order from where it stands, shape (n,)."""
        step = log_ratio - self.log_ratio
        slope, curve = self._derivatives
        return np.asarray(np.maximum(self.expected + step * (slope + 0.5 * step * curve), 0.0))

    def times_at(self, log_ratio: float) -> Array:
        """What is expected at another gain over what is expected where it stands, of the quieted background."""
        step = log_ratio - self.log_ratio
        slope, curve = self._derivatives
        change = step * (slope + 0.5 * step * curve) / np.maximum(self.quieted, 1e-12)
        most = _STEEPEST * abs(step)
        return np.asarray(np.maximum(1.0 + np.clip(change, -most, most), 0.0))

    def slope_at(self, log_ratio: float) -> Array:
        """Derivative of `at`, shape (n,)."""
        slope, curve = self._derivatives
        return np.asarray(slope + (log_ratio - self.log_ratio) * curve)


def _in_bins(
    background: MeasuredBackground, edges: Array, log_ratio: float, c0: float, variance_blur: Array
) -> tuple[Array, Array]:
    """Counts and their variance."""
    counted, variance = background.between(edges, log_ratio, c0)
    # From neighbours within a peak's width: a bin that happened to stay empty is not known to be empty.
    return counted, np.asarray(variance_blur @ variance, dtype=np.float64)


def _blurred(per_fwhm: Array, share: float) -> Array:
    """Matrix that spreads each bin over a share of a peak's width (standard deviation), shape (n, n)."""
    at = np.arange(per_fwhm.size)
    matrix = np.exp(-0.5 * ((at[:, None] - at[None, :]) / np.maximum(share * per_fwhm[:, None], 0.1)) ** 2)
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))


def room_in_bins(background: MeasuredBackground, edges: Array, c0: float, per_fwhm: Array) -> MeasuredRoom:
    """A background at its own gain.

    Parameters
    ----------
    background
        Per channel.
    edges : ndarray, shape (n + 1,)
        Edges of the bins in channels: halves.
    c0
        The channel that no gain moves.
    per_fwhm : ndarray, shape (n,)
        Bins in a peak's width.
    """
    precision = 1.0 / background.u_scale**2 if background.u_scale else 0.0
    size = np.diff(edges)
    wide, variance_blur = _blurred(per_fwhm, _WIDE), _blurred(per_fwhm, _VARIANCE)
    counted, variance = _in_bins(background, edges, 0.0, c0, variance_blur)
    kept = _kept(counted / size, variance / size**2, wide, per_fwhm)
    nothing = np.zeros_like(counted)
    return MeasuredRoom(
        background, edges, c0, wide, kept, variance_blur, 0.0, counted, variance, counted, nothing, precision
    )


def _kept(density: Array, noise: Array, wide: Array, per_fwhm: Array) -> Array:
    """Matrix that takes noise from what a density has beside its mean over a peak's width, shape (n, n)."""
    peak = _blurred(per_fwhm, _PEAK)
    sees = peak - peak @ wide
    seen = np.abs(sees @ density)
    noise = np.maximum(noise, 1e-12 * (float(noise.max()) or 1.0))
    stands_out = seen > _STANDS_OUT * np.sqrt(sees**2 @ noise)
    amplitude = _AMPLITUDE * (_blurred(per_fwhm, _AROUND) @ (seen * stands_out))
    place = np.cumsum(1.0 / per_fwhm)
    apart = (place[:, None] - place[None, :]) / _LENGTH
    process = amplitude[:, None] * np.exp(-0.5 * apart**2) * amplitude[None, :]
    # A process so much above the noise is kept whole; its matrix alone has no inverse.
    noise = noise + 1e-10 * float(np.max(amplitude)) ** 2
    return np.asarray(cho_solve(cho_factor(process + np.diag(noise), check_finite=False), process).T)
