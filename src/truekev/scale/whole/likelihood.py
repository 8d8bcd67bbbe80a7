"""-2 ln L about a fit, by its parameters: weights and what is known of the strengths stay those of the fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from truekev.scale.whole.fit import DELTA, WholeFit
from truekev.scale.whole.problem import Problem, ShapePrior
from truekev.scale.whole.strengths import Solved, Start, Weights, deviance_of, rows_of

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
        self.problem = Problem(starts, prior, DELTA, gain_spread)
        self._weights = [Weights(one.factor, np.maximum(one.model, 0.0)) for one in fit.spectra]
        self._factors = [one.factor for one in self._weights]
        self._rows = [rows_of(start, one.strengths) for start, one in zip(starts, fit.spectra, strict=True)]

    def solved(self, theta: Array) -> list[Solved]:
        """Strengths of every spectrum at their best for the parameters.

        Raises
        ------
        FitError
            They do not settle.
        """
        return self.problem.solve(theta, self._factors, self._rows)

    def deviance(self, theta: Array) -> float:
        """-2 ln L with the priors; raises as `solved` does."""
        return self.problem.prior_cost(theta) + sum(
            deviance_of(start.data, one, weights)
            for start, one, weights in zip(self.problem.starts, self.solved(theta), self._weights, strict=True)
        )
