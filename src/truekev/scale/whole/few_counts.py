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
from truekev.scale.whole.strengths import LEAST_EXPECTED, Solved, deviance_of
from truekev.scale.whole.weights import LEAST_MODEL, Weights

__all__ = ["FewCounts"]

Array = npt.NDArray[np.float64]

_MOST = 25.0  # counts in a bin: with more the normal approximation serves
_KNOWN = 1.0  # events' worth of knowledge from the bins about a bin
_LEAST, _LEAST_SOURCE = 1e-3, 0.05
_LOW, _HIGH = 0.05, 20.0  # of the background as it was counted


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
        room = self.data.room
        return np.asarray((self.data.counts <= _MOST) & (room is not None and float(room.counted.sum()) > 0))

    @cached_property
    def _background(self) -> tuple[Array, Array]:
        """Of every bin the shape of the gamma distribution, and its rate per unit of the background's strength."""
        room = self.data.room
        assert room is not None
        # One event of the background stands for so many counts.
        one = max(float(room.variance.sum()), 1e-300) / max(float(room.counted.sum()), 1e-300)
        about = np.maximum(room.variance / one, _LEAST)
        return room.counted / one + _KNOWN, 1.0 / one + _KNOWN / about

    def deviance(self, one: Solved, weights: Weights, room_gain: float) -> float:
        """-2 ln L of the spectrum and of its equations of strengths as `deviance_of` has it, but exact in these bins.

        Parameters
        ----------
        one, weights
            Strengths and model, and V.
        room_gain
            ln of the factor on the background's gain that the model was made with.
        """
        data, room = self.data, self.data.room
        if room is None:
            return deviance_of(data, one, weights)
        n = data.counts.size
        weighted = weights.white_transposed(one.residual[:n])
        error = weights.error_times(weighted)
        shape, rate = self._background
        strength = float(one.strengths[-1])
        source = one.model + room.beyond - strength * room.at(room_gain)
        of_bins = _deviance(
            data.counts,
            one.model,
            error,
            (weights.noise - weights.own) * weighted,
            weighted,
            self.bins,
            np.maximum(source, 0.0),
            strength * room.times_at(room_gain),
            shape,
            rate,
        )
        rows = one.residual[n:]
        return float(of_bins) + float(rows @ rows) + weights.volume


@njit(cache=True)
def _deviance(
    counts: Array,
    model: Array,
    error: Array,
    room_error: Array,
    weighted: Array,
    few: npt.NDArray[np.bool_],
    source: Array,
    times: Array,
    shape: Array,
    rate: Array,
) -> float:  # pragma: no cover - compiled
    """Deviance of all bins, and what the model's error in them costs: in bins with few counts it is not the room's."""
    total = 0.0
    for i in range(counts.size):
        if not few[i]:
            whole = error[i] + room_error[i]
            expected = max(model[i] + whole, LEAST_EXPECTED * max(model[i], LEAST_MODEL))
            total += 2.0 * (expected - counts[i]) + whole * weighted[i]
            if counts[i] > 0.0:
                total += 2.0 * counts[i] * math.log(counts[i] / expected)
            continue
        expected = max(source[i] + error[i], LEAST_EXPECTED * max(source[i], _LEAST_SOURCE))
        total += _few_deviance(int(counts[i] + 0.5), expected, shape[i], rate[i] / min(max(times[i], _LOW), _HIGH))
        total += error[i] * weighted[i]
    return total


@njit(cache=True)
def _few_deviance(n: int, source: float, shape: float, rate: float) -> float:  # pragma: no cover - compiled
    """-2 ln of the probability of n counts, less that of a Poisson distribution which expects just them."""
    odds = 1.0 / (1.0 + rate)
    # Background k, source n - k: each term from the one before.
    poisson = np.empty(n + 1)
    poisson[0] = 1.0
    for k in range(1, n + 1):
        poisson[k] = poisson[k - 1] * source / k
    negative_binomial = math.exp(shape * math.log1p(-odds))
    probability = 0.0
    for k in range(n + 1):
        probability += negative_binomial * poisson[n - k]
        negative_binomial *= odds * (shape + k) / (k + 1.0)
    log_probability = math.log(max(probability, 1e-300)) - source
    if n > 0:
        log_probability -= n * math.log(n) - n - math.lgamma(n + 1.0)
    return -2.0 * log_probability
