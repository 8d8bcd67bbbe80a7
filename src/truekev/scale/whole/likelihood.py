"""-2 ln L about a fit, by its parameters: weights and what is known of the strengths stay those of the fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.special import log_ndtr

from truekev.scale.whole.few_counts import FewCounts
from truekev.scale.whole.fit import DELTA, WholeFit
from truekev.scale.whole.problem import Problem, ShapePrior
from truekev.scale.whole.strengths import Solved, Start, deviance_of, rows_of

__all__ = ["NearLikelihood", "parameters_of"]

Array = npt.NDArray[np.float64]


def parameters_of(fit: WholeFit) -> Array:
    """Shape, and ln g and background gain of each spectrum, shape (14 + 2 s,)."""
    return np.concatenate([fit.shape, *([one.log_gain, one.room_gain] for one in fit.spectra)])


class NearLikelihood:
    """The likelihood of the same bins about a fit.

    Parameters
    ----------
    fit
        Whose weights and strengths are kept.
    starts, prior, gain_spread
        As `fit_whole` had them.
    """

    def __init__(self, fit: WholeFit, starts: Sequence[Start], prior: ShapePrior, gain_spread: float | None) -> None:
        starts = [replace(start, data=one.data) for start, one in zip(starts, fit.spectra, strict=True)]
        self.problem = Problem(starts, prior, DELTA, gain_spread)
        self._weights = [one.weights for one in fit.spectra]
        self._rows = [rows_of(start, one.strengths) for start, one in zip(starts, fit.spectra, strict=True)]
        self._few = [FewCounts(start.data) for start in starts]

    def solved(self, theta: Array) -> list[Solved]:
        """Strengths of every spectrum at their best for the parameters.

        Raises
        ------
        FitError
            They do not settle.
        """
        return self.problem.solve(theta, self._weights, self._rows)

    def deviance(self, theta: Array) -> float:
        """-2 ln L with the priors; raises as `solved` does."""
        return self.problem.prior_cost(theta) + sum(
            deviance_of(start.data, one, weights)
            for start, one, weights in zip(self.problem.starts, self.solved(theta), self._weights, strict=True)
        )

    def marginal(self, theta: Array) -> float:
        """-2 ln L with the priors, strengths integrated out, bins with few counts taken exactly; less a constant.

        Raises as `solved` does.
        """
        total = self.problem.prior_cost(theta)
        for j, one in enumerate(self.solved(theta)):
            _, room_gain = self.problem.own(theta, j)
            total += self._few[j].deviance(one, self._weights[j], room_gain) + _left_open(one)
        return total


def _left_open(one: Solved) -> float:
    """-2 ln of the volume that strengths may fill about their best ones, none of them negative; less a constant."""
    volume, arguments = _volume(one.white.T @ one.white, one.strengths, one.white.T @ one.residual)
    return volume - 2.0 * float(log_ndtr(arguments).sum())


@njit(cache=True)
def _volume(information: Array, strengths: Array, rising: Array) -> tuple[float, Array]:  # pragma: no cover - compiled
    """-2 ln of the volume but for the logarithms of the normal distribution function, and their arguments.

    Of strengths above zero the normal distribution, each cut at zero for itself; of those at zero the half-line beyond
    it, on which the likelihood falls (`rising`: half the slope of what it rises by).
    """
    size = np.sqrt(np.diag(information))
    held = size > 0
    on = np.flatnonzero(held & (strengths > 0))
    off = np.flatnonzero(held & (strengths <= 0))
    n = on.size
    arguments = np.zeros(n + off.size)
    inner = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            inner[i, j] = information[on[i], on[j]] / (size[on[i]] * size[on[j]])
        inner[i, i] += 1e-12
    lower = np.linalg.cholesky(inner)
    # The columns of `inverse` are those of lower^-1.
    inverse = np.zeros((n, n))
    for j in range(n):
        inverse[j, j] = 1.0 / lower[j, j]
        for i in range(j + 1, n):
            total = 0.0
            for m in range(j, i):
                total += lower[i, m] * inverse[m, j]
            inverse[i, j] = -total / lower[i, i]
    # What the columns' own sizes bring: the strengths are counts in every sample, whatever their columns are.
    volume = 2.0 * np.log(size[held]).sum()
    for i in range(n):
        volume += 2.0 * math.log(lower[i, i])
        variance = 0.0
        for m in range(i, n):
            variance += inverse[m, i] ** 2
        arguments[i] = strengths[on[i]] * size[on[i]] / math.sqrt(variance)
    for k in range(off.size):
        left = 1.0
        for m in range(n):
            white = 0.0
            for j in range(m + 1):
                white += inverse[m, j] * information[on[j], off[k]] / (size[on[j]] * size[off[k]])
            left -= white * white
        left = max(left, 1e-9)
        steep = -rising[off[k]] / size[off[k]] / math.sqrt(left)
        volume += math.log(left) - steep * steep
        arguments[n + k] = -steep
    return volume, arguments
