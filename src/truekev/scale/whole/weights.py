"""V, the covariance of a spectrum's residuals: noise of the counts and of the background, and the model's own error.

    V = diag(noise) + diag(a) K diag(a),   K_ij = exp(-|s_i - s_j|),

s the place of a bin in lengths of correlation. K is the covariance of an Ornstein-Uhlenbeck process, which is Markov's,
so V = L L^T need not be written out: a Kalman filter gives L^-1 times anything in one pass over the bins, its adjoint
L^-T (Kalman 1960, J. Basic Eng. 82, 35; Rasmussen and Williams, Gaussian Processes for Machine Learning, appendix B).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.ndimage import maximum_filter1d

from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import Design

__all__ = ["LEAST_MODEL", "Weights", "model_error", "weights_of"]

Array = npt.NDArray[np.float64]

LEAST_MODEL = 0.2  # counts in a bin: below it one count would weigh too much
_LOW_KEV = 45.0  # absorption, X-rays, scatter and trigger make templates worse towards low energy
_MOST_ERROR = 0.5
_CORRELATED_FWHM = 2.0
_P0_KEV = 661.655


def model_error(u: Array, width: Array, delta: float) -> tuple[Array, float]:
    """Standard deviation of the model's error at `u` (relative), and its length of correlation in u.

    The process is Ornstein and Uhlenbeck's: correlated over two peak widths, rough, so that it allows for a peak of a
    slightly wrong place or shape as well as for one of a wrong size.
    """
    fwhm_u = 0.5 * float(np.exp(width[0])) * np.sqrt(_P0_KEV)
    relative = np.minimum(delta * (1.0 + (_LOW_KEV / np.maximum(u, 1.0) ** 2) ** 4), _MOST_ERROR)
    return relative, _CORRELATED_FWHM * fwhm_u


@dataclass(frozen=True, eq=False)
class Weights:
    """V of the residuals of one spectrum.

    Parameters
    ----------
    own : ndarray, shape (n,)
        Variance of the counts themselves.
    noise : ndarray, shape (n,)
        The same with the variance of the background.
    amplitude : ndarray, shape (n,)
        Standard deviation of the model's error [counts].
    place : ndarray, shape (n,)
        Places of the bins in lengths of correlation, rising.
    """

    own: Array
    noise: Array
    amplitude: Array
    place: Array

    @cached_property
    def _filter(self) -> tuple[Array, Array, Array]:
        keep = np.exp(-np.diff(self.place, prepend=self.place[:1]))
        spread, gain = _filtered(self.noise, self.amplitude, keep)
        return keep, spread, gain

    def white(self, columns: Array) -> Array:
        """L^-1 times `columns`, shape (n,) or (n, k)."""
        keep, spread, gain = self._filter
        many = np.ascontiguousarray(columns.reshape(columns.shape[0], -1), dtype=np.float64)
        return np.asarray(_whitened(many, self.amplitude, keep, spread, gain).reshape(columns.shape))

    def white_transposed(self, values: Array) -> Array:
        """L^-T times `values`, shape (n,)."""
        keep, spread, gain = self._filter
        return np.asarray(_adjoint(values, self.amplitude, keep, spread, gain))

    def error_times(self, values: Array) -> Array:
        """The model's error's covariance times `values`, shape (n,)."""
        keep, _, _ = self._filter
        return np.asarray(self.amplitude * _correlated(self.amplitude * values, keep))

    def likely_error(self, white: Array) -> tuple[Array, Array]:
        """The most likely error of model and background, G V^-1 r with G = V - diag(own), and V^-1 r.

        Parameters
        ----------
        white : ndarray, shape (n,)
            The residuals made white, L^-1 r.
        """
        weighted = self.white_transposed(white)
        return self.error_times(weighted) + (self.noise - self.own) * weighted, weighted

    @cached_property
    def covariance(self) -> Array:
        """V written out, shape (n, n)."""
        apart = np.abs(self.place[:, None] - self.place[None, :])
        total = self.amplitude[:, None] * np.exp(-apart) * self.amplitude[None, :]
        total[np.diag_indices_from(total)] += self.noise
        return np.asarray(total)

    @cached_property
    def volume(self) -> float:
        """Logarithm of det V less that of the counting noise."""
        return 2.0 * float(np.log(self._filter[1]).sum()) - float(np.log(self.own).sum())


def weights_of(model: Array, data: BinnedSpectrum, design: Design, width: Array, delta: float) -> Weights:
    """V for counts that are expected.

    Parameters
    ----------
    model : ndarray, shape (n,)
        What is expected in every bin.
    data, design
        The spectrum, and where its bins lie.
    width, delta
        As `model_error` takes them.
    """
    u = np.maximum(0.5 * (design.edges_u[1:] + design.edges_u[:-1]), 1.0)
    relative, length = model_error(u, width, delta)
    # Not more than was counted: a model that is far too high must not excuse itself.
    amplitude = relative * np.minimum(model, maximum_filter1d(data.counts, 3) + 1.0)
    own = np.maximum(model, LEAST_MODEL)
    return Weights(own, own + (data.room.variance if data.room else 0.0), amplitude, u / length)


@njit(cache=True)
def _filtered(noise: Array, amplitude: Array, keep: Array) -> tuple[Array, Array]:  # pragma: no cover - compiled
    """Standard deviations of the innovations, and the filter's gains."""
    n = noise.size
    spread, gain = np.empty(n), np.empty(n)
    left = 1.0  # variance of the error not yet told by the bins before
    for i in range(n):
        if i > 0:
            left = keep[i] * keep[i] * left + 1.0 - keep[i] * keep[i]
        square = amplitude[i] * amplitude[i] * left + noise[i]
        spread[i] = np.sqrt(square)
        gain[i] = amplitude[i] * left / square
        left *= 1.0 - amplitude[i] * gain[i]
    return spread, gain


@njit(cache=True)
def _whitened(
    columns: Array, amplitude: Array, keep: Array, spread: Array, gain: Array
) -> Array:  # pragma: no cover - compiled
    n, k = columns.shape
    out = np.empty((n, k))
    mean = np.zeros(k)
    for i in range(n):
        for part in range(k):
            before = keep[i] * mean[part]
            new = columns[i, part] - amplitude[i] * before
            mean[part] = before + gain[i] * new
            out[i, part] = new / spread[i]
    return out


@njit(cache=True)
def _adjoint(
    values: Array, amplitude: Array, keep: Array, spread: Array, gain: Array
) -> Array:  # pragma: no cover - compiled
    n = values.size
    out = np.empty(n)
    after = 0.0  # by the mean that bin i hands on
    for i in range(n - 1, -1, -1):
        out[i] = values[i] / spread[i] + gain[i] * after
        after = keep[i] * (after - amplitude[i] * out[i])
    return out


@njit(cache=True)
def _correlated(values: Array, keep: Array) -> Array:  # pragma: no cover - compiled
    """K times `values`."""
    n = values.size
    out = np.empty(n)
    running = 0.0
    for i in range(n):
        running = keep[i] * running + values[i]
        out[i] = running
    running = 0.0
    for i in range(n - 1, -1, -1):
        out[i] += running
        running = (running + values[i]) * keep[i]
    return out
