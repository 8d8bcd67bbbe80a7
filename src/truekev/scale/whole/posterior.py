"""What few counts leave open: shape and gains averaged over all that the counts allow, not read off at the best fit.

With some thousand counts a handful of them decides where 2615 keV lies; the likelihood then has more than one summit,
or leans, and the best fit is neither the most accurate answer nor the middle of an honest interval. The mean of the
posterior has the least mean square error. It is taken by importance sampling, strengths integrated out for every
sample: first from Student distributions around all fits found, each once as the fit has it and once drawn out along
what the upper end of the scale hangs on, where the likelihood has long tails; where too few samples count, from one
more about what those gave. All samples are weighed by the mixture (Cornuet, Marin, Mira and Robert 2012, Adaptive
multiple importance sampling, Scand. J. Statist. 39, 798; Owen and Zhou 2000, J. Am. Statist. Assoc. 95, 135). Points
are fixed and of low discrepancy, so that the same spectrum always gives the same scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtri
from scipy.stats import qmc

from truekev.errors import FitError
from truekev.scale.whole.fit import WholeFit, assembled
from truekev.scale.whole.fit_start import pulse_jacobian
from truekev.scale.whole.likelihood import NearLikelihood, parameters_of
from truekev.scale.whole.problem import ShapePrior, clipped
from truekev.scale.whole.strengths import Start

__all__ = ["PLAIN_COUNTS", "averaged"]

Array = npt.NDArray[np.float64]

PLAIN_COUNTS = 1_000_000.0  # with as many the likelihood has one summit, and is normal about it
_SAMPLES_EACH = 24  # for every free parameter
_SEED = 20
_TAIL = 7.0  # degrees of freedom of the Student distributions
_BEHIND = 12.0  # -2 ln L behind the best: such a fit no longer matters
_ENOUGH = 250.0  # samples that count; with fewer the sampling goes on
_ROUNDS = 4
_LATER = 2  # times as many samples in a later round, most of which count
_LEAST_EFFECTIVE = 12.0  # below, the mean would be noise
_DRAWN_OUT = 4.0  # times as wide in what the energy at the upper end hangs on
_TOP_KEV = 2615.0
_OWN_SHARE = 0.5  # of the covariance of a later round that its samples give; the rest is the best fit's


@dataclass(frozen=True, eq=False)
class _Student:
    """A Student distribution of the free parameters: centre, precision, and how many samples were drawn from it."""

    centre: Array
    precision: Array
    size: int

    def drawn(self, seed: int) -> Array:
        """Samples, shape (size, n); the size is a power of two."""
        n = self.centre.size
        rng = np.random.default_rng(seed)
        points = qmc.Sobol(n + 1, scramble=True, rng=rng).random_base2(self.size.bit_length() - 1)
        normal = ndtri(np.clip(points[:, :n], 1e-6, 1.0 - 1e-6))
        stretch = np.sqrt(_TAIL / chdtri(_TAIL, points[:, n]))
        # x = m + L^-T z has precision L L^T.
        lower = np.linalg.cholesky(self.precision)
        return np.asarray(self.centre + np.linalg.solve(lower.T, (normal * stretch[:, None]).T).T)

    def log_density(self, samples: Array) -> Array:
        """Logarithm of the density times `size`, less a constant that all distributions share."""
        off = samples - self.centre
        square = np.einsum("ij,jk,ik->i", off, self.precision, off)
        volume = 0.5 * float(np.linalg.slogdet(self.precision)[1])
        tail = 0.5 * (_TAIL + self.centre.size) * np.log1p(square / _TAIL)
        return np.asarray(np.log(self.size) + volume - tail)


def _summits(fits: Sequence[WholeFit], free: npt.NDArray[np.bool_]) -> list[_Student]:
    """Two distributions about every fit that is not another's, the best first: as the fit says, and drawn out."""
    ordered = sorted(fits, key=lambda fit: fit.deviance)
    kept: list[tuple[Array, Array]] = []
    for fit in ordered:
        if fit.deviance > ordered[0].deviance + _BEHIND:
            break
        at = parameters_of(fit)[free]
        if all(float((at - other) @ precision @ (at - other)) > 1.0 for other, precision in kept):
            kept.append((at, np.asarray(np.linalg.inv(fit.covariance[np.ix_(free, free)]))))
    # Low-discrepancy points come in powers of two.
    size = 2 ** max(round(np.log2(_SAMPLES_EACH * int(free.sum()) / (2 * len(kept)))), 3)
    top = _top_direction(ordered[0])[free]
    found = []
    for at, precision in kept:
        along = np.linalg.solve(precision, top)
        along /= np.sqrt(float(top @ along))
        longer = np.linalg.inv(precision) + (_DRAWN_OUT**2 - 1.0) * np.outer(along, along)
        found += [_Student(at, precision, size), _Student(at, np.asarray(np.linalg.inv(longer)), size)]
    return found


def _top_direction(fit: WholeFit) -> Array:
    """How the energy read at the upper end changes with the parameters: what a handful of counts leaves most open."""
    total = np.zeros(fit.covariance.shape[0])
    for index, one in enumerate(fit.spectra):
        top = min(_TOP_KEV, float(one.pulse.energy_kev(one.edges[-1])))
        total += one.pulse.jacobian(top)[0] @ pulse_jacobian(total.size, one.pulse, index)
    return total


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
    best = min(fits, key=lambda fit: fit.deviance)
    near = NearLikelihood(best, starts, prior, gain_spread)
    at_best = parameters_of(best)
    free = ~near.problem.held

    def log_likely(values: Array) -> float:
        theta = at_best.copy()
        theta[free] = values
        if not np.array_equal(clipped(theta), theta):
            return -np.inf
        try:
            return -0.5 * near.marginal(theta)
        except FitError:
            return -np.inf

    from_fits = _summits(fits, free)
    sources = list(from_fits)
    samples = np.vstack([one.drawn(_SEED + i) for i, one in enumerate(sources)])
    likely = np.array([log_likely(one) for one in samples])
    for round_ in range(_ROUNDS):
        log_weight = likely - np.logaddexp.reduce([one.log_density(samples) for one in sources], axis=0)
        if not np.isfinite(log_weight.max()):
            return best
        share = np.exp(log_weight - log_weight.max())
        share /= share.sum()
        mean = share @ samples
        covariance = ((samples - mean) * share[:, None]).T @ (samples - mean)
        effective = 1.0 / float(share @ share)
        if effective > min(_ENOUGH, 0.25 * samples.shape[0]) or round_ == _ROUNDS - 1:
            break
        about = _OWN_SHARE * covariance + (1.0 - _OWN_SHARE) * np.linalg.inv(from_fits[0].precision)
        sources.append(_Student(mean, np.asarray(np.linalg.inv(about)), _LATER * from_fits[0].size))
        more = sources[-1].drawn(_SEED + len(sources))
        samples = np.vstack([samples, more])
        likely = np.append(likely, [log_likely(one) for one in more])
    if effective < _LEAST_EFFECTIVE:
        return best
    theta = at_best.copy()
    theta[free] = mean
    of_all = np.zeros((free.size, free.size))
    of_all[np.ix_(free, free)] = covariance
    solved = near.solved(theta)
    return assembled(near.problem, theta, of_all, solved, near.weights, rounds=best.rounds, settled=best.settled)
