"""What few counts leave open: shape and gains averaged over all that the counts allow, not read off at the best fit.

With some thousand counts a handful of them decides where 2615 keV lies; the likelihood then has more than one summit,
or leans, and the best fit is neither the most accurate answer nor the middle of an honest interval. The mean of the
posterior has the least mean square error. It is taken by importance sampling (Owen, Monte Carlo theory, methods and
examples, ch. 9: a mixture of Student distributions around all fits found), strengths at their best for every sample,
on fixed low-discrepancy points, so that the same spectrum always gives the same scale.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtri
from scipy.stats import qmc

from truekev.errors import FitError
from truekev.scale.whole.fit import DELTA, WholeFit, assembled
from truekev.scale.whole.problem import Problem, ShapePrior, clipped
from truekev.scale.whole.strengths import Solved, Start, Weights, deviance_of, rows_of

__all__ = ["PLAIN_COUNTS", "averaged"]

Array = npt.NDArray[np.float64]

PLAIN_COUNTS = 100_000.0  # with as many the likelihood has one summit, and is normal about it
_SAMPLES_EACH = 24  # for every free parameter
_TAIL = 7.0  # degrees of freedom of the Student distributions
_BEHIND = 12.0  # -2 ln L behind the best: such a fit no longer matters
_LEAST_EFFECTIVE = 12.0  # samples; below, the mean would be noise


def _parameters(fit: WholeFit) -> Array:
    return np.concatenate([fit.shape, *([one.log_gain, one.room_gain] for one in fit.spectra)])


def _summits(fits: Sequence[WholeFit], free: npt.NDArray[np.bool_]) -> list[tuple[Array, Array, WholeFit]]:
    """Fits that are not one another's: parameters, precision of the free ones, the fit."""
    ordered = sorted(fits, key=lambda fit: fit.deviance)
    kept: list[tuple[Array, Array, WholeFit]] = []
    for fit in ordered:
        if fit.deviance > ordered[0].deviance + _BEHIND:
            break
        at = _parameters(fit)
        off = [at[free] - other[free] for other, _, _ in kept]
        if all(float(d @ precision @ d) > 1.0 for d, (_, precision, _) in zip(off, kept, strict=True)):
            kept.append((at, np.asarray(np.linalg.inv(fit.covariance[np.ix_(free, free)])), fit))
    return kept


def _drawn(summits: Sequence[tuple[Array, Array, WholeFit]], free: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
    """Samples from the mixture, shape (m, p), and ln of its density there, less a constant."""
    n_free = int(free.sum())
    # Low-discrepancy points come in powers of two.
    log_size = round(np.log2(_SAMPLES_EACH * n_free))
    points = qmc.Sobol(n_free + 1, scramble=True, rng=np.random.default_rng(20)).random_base2(log_size)
    normal = ndtri(np.clip(points[:, :n_free], 1e-6, 1.0 - 1e-6))
    stretch = np.sqrt(_TAIL / chdtri(_TAIL, points[:, n_free]))
    samples = np.empty((points.shape[0], free.size))
    for i, (at, precision, _) in enumerate(summits):
        # x = m + L^-T z has precision L L^T.
        lower = np.linalg.cholesky(precision)
        own = slice(i, None, len(summits))
        samples[own] = at
        samples[own, free] += np.linalg.solve(lower.T, (normal[own] * stretch[own, None]).T).T
    densities = []
    for at, precision, _ in summits:
        off = samples[:, free] - at[free]
        square = np.einsum("ij,jk,ik->i", off, precision, off)
        volume = 0.5 * float(np.linalg.slogdet(precision)[1])
        densities.append(volume - 0.5 * (_TAIL + n_free) * np.log1p(square / _TAIL))
    return samples, np.asarray(np.logaddexp.reduce(densities, axis=0))


def averaged(
    fits: Sequence[WholeFit], starts: Sequence[Start], prior: ShapePrior, *, gain_spread: float | None = None
) -> WholeFit:
    """Mean and covariance of the posterior around the fits of the same bins.

    Parameters
    ----------
    fits
        All fits of these spectra that settled somewhere.
    starts, prior, gain_spread
        As `fit_whole` had them.

    Returns
    -------
    WholeFit
        At the mean; the best of `fits` where too few samples count.
    """
    problem = Problem(starts, prior, DELTA, gain_spread)
    best = min(fits, key=lambda fit: fit.deviance)
    free = ~problem.held
    summits = _summits(fits, free)
    samples, drawn = _drawn(summits, free)
    # Weights and what is known of the strengths stay those of the best fit.
    weights = [Weights(one.factor, np.maximum(one.model, 0.0)) for one in best.spectra]
    rows = [rows_of(start, one.strengths) for start, one in zip(starts, best.spectra, strict=True)]
    factors = [one.factor for one in weights]
    log_weight = np.full(samples.shape[0], -np.inf)
    for i, theta in enumerate(samples):
        if not np.array_equal(clipped(theta), theta):
            continue
        try:
            solved = problem.solve(theta, factors, rows)
        except FitError:
            continue
        deviance = problem.prior_cost(theta) + sum(
            deviance_of(start.data, one, w) for start, one, w in zip(starts, solved, weights, strict=True)
        )
        log_weight[i] = -0.5 * deviance - drawn[i]
    share = np.exp(log_weight - log_weight.max())
    share /= share.sum()
    if not np.isfinite(log_weight.max()) or 1.0 / float(share @ share) < _LEAST_EFFECTIVE:
        return best
    mean = share @ samples
    off = samples - mean
    covariance = (off * share[:, None]).T @ off
    solved_at: list[Solved] = problem.solve(mean, factors, rows)
    return assembled(problem, mean, covariance, solved_at, rounds=best.rounds, settled=best.settled)
