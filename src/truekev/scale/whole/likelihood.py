"""-2 ln L about a fit, by its parameters: weights and what is known of the strengths stay those of the fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from truekev.scale.whole.few_counts import FewCounts
from truekev.scale.whole.fit import DELTA, WholeFit
from truekev.scale.whole.orthant import log_volume
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
        self.weights = [one.weights for one in fit.spectra]
        self._rows = [rows_of(start, one.strengths) for start, one in zip(starts, fit.spectra, strict=True)]
        self._few = [FewCounts(start.data) for start in starts]

    def solved(self, theta: Array) -> list[Solved]:
        """Strengths of every spectrum at their best for the parameters.

        Raises
        ------
        FitError
            They do not settle.
        """
        return self.problem.solve(theta, self.weights, self._rows)

    def deviance(self, theta: Array) -> float:
        """-2 ln L with the priors; raises as `solved` does."""
        return self.problem.prior_cost(theta) + sum(
            deviance_of(start.data, one, weights)
            for start, one, weights in zip(self.problem.starts, self.solved(theta), self.weights, strict=True)
        )

    def marginal(self, theta: Array) -> float:
        """-2 ln L with the priors, strengths integrated out, bins with few counts taken exactly; less a constant.

        Raises as `solved` does.
        """
        total = self.problem.prior_cost(theta)
        for j, one in enumerate(self.solved(theta)):
            _, room_gain = self.problem.own(theta, j)
            total += self._few[j].deviance(one, self.weights[j], room_gain) + _left_open(one)
        return total


def _left_open(one: Solved) -> float:
    """-2 ln of the volume that strengths may fill about their best ones, none of them negative; less a constant.

    Strengths are counts in every sample, whatever their columns are.
    """
    return -2.0 * log_volume(one.white.T @ one.white, one.strengths, one.white.T @ one.residual)
