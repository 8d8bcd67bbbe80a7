"""Bins with few counts over a measured background: probabilities without the normal approximation.

Of a background counted for a time, what a bin expects is known as a gamma distribution: shape r + 1 of its r events,
with one event's worth of knowledge from the bins about it. Its counts in the spectrum's own time are then negative
binomial, and the sum with the source's Poisson counts is a convolution (Gelman et al., Bayesian Data Analysis, 3rd ed.,
2.6; the convolution is arithmetic).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from numba import njit

from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.strengths import LEAST_EXPECTED, Solved, deviance_of, poisson_deviance
from truekev.scale.whole.weights import Weights

__all__ = ["FewCounts"]

Array = npt.NDArray[np.float64]

_MOST = 25.0  # counts in a bin: with more the normal approximation serves
_KNOWN = 1.0  # events' worth of knowledge from the bins about a bin
_LEAST, _LEAST_SOURCE = 1e-3, 0.05
_TIMES = (0.05, 20.0)  # of the background as it was counted


@dataclass(frozen=True, eq=False)
class FewCounts:
    """The bins of a spectrum that hold few counts.

    Parameters
    ----------
    data : BinnedSpectrum
    """

    data: BinnedSpectrum

    @cached_property
    def bins(self) -> npt.NDArray[np.bool_]:
        """Which they are; none without a measured background, where the likelihood is Poisson anyway."""
        has = self.data.has_room and float(self.data.room.sum()) > 0
        return np.asarray((self.data.counts <= _MOST) & has)

    @cached_property
    def _background(self) -> tuple[Array, Array, Array]:
        """Whole counts; shape of the gamma distribution and what its rate is per unit of the background's strength."""
        data, few = self.data, self.bins
        # One event of the background stands for so many counts.
        one = float(data.room_variance.sum()) / float(data.room.sum())
        about = np.maximum(data.room_variance[few] / one, _LEAST)
        return np.rint(data.counts[few]), data.room[few] / one + _KNOWN, 1.0 / one + _KNOWN / about

    def deviance(self, one: Solved, weights: Weights, room_gain: float) -> float:
        """-2 ln L of the spectrum and of its equations of strengths as `deviance_of` has it, but exact in these bins.

        Parameters
        ----------
        one, weights
            Strengths and model, and V.
        room_gain
            Change of the background's gain that the model was made with.
        """
        data, few = self.data, self.bins
        if not few.any():
            return deviance_of(data, one, weights)
        n = data.counts.size
        weighted = weights.white_transposed(one.residual[:n])
        error = weights.error_times(weighted) + np.where(few, 0.0, (weights.noise - weights.own) * weighted)
        strength = float(one.strengths[-1])
        background = np.maximum(data.room + room_gain * data.room_slope, 0.0)[few]
        source = np.maximum(one.model[few] - strength * background, 0.0)
        with_error = np.maximum(source + error[few], LEAST_EXPECTED * np.maximum(source, _LEAST_SOURCE))
        total = self._few_deviance(with_error, background, strength)
        rest = ~few
        total += poisson_deviance(data.counts[rest], one.model[rest] + error[rest], one.model[rest])
        rows = float(one.residual[n:] @ one.residual[n:])
        return total + float(error @ weighted) + rows + weights.volume

    def _few_deviance(self, source: Array, background: Array, strength: float) -> float:
        """-2 ln of the probability of their counts, less that of a Poisson distribution which expects just them."""
        counts, shape, rate = self._background
        was = self.data.room[self.bins]
        times = np.where(was > 0, background / np.maximum(was, 1e-12), 1.0) * strength
        return float(_deviance(counts, source, shape, rate / np.clip(times, *_TIMES)))


@njit(cache=True)
def _deviance(counts: Array, source: Array, shape: Array, rate: Array) -> float:  # pragma: no cover - compiled
    total = 0.0
    for i in range(counts.size):
        n = int(counts[i])
        expected = max(source[i], 1e-9)
        odds = 1.0 / (1.0 + rate[i])
        # Background k, source n - k: each term from the one before.
        negative_binomial = math.exp(shape[i] * math.log1p(-odds))
        poisson = np.empty(n + 1)
        poisson[0] = 1.0
        for k in range(1, n + 1):
            poisson[k] = poisson[k - 1] * expected / k
        probability = 0.0
        for k in range(n + 1):
            probability += negative_binomial * poisson[n - k]
            negative_binomial *= odds * (shape[i] + k) / (k + 1.0)
        log_probability = math.log(max(probability, 1e-300)) - expected
        if n > 0:
            log_probability -= n * math.log(n) - n - math.lgamma(n + 1.0)
        total -= 2.0 * log_probability
    return total
