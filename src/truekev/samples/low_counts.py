"""Exact decisions on few counts: the gross count against a background counted once, for any ratio of times.

With nothing there, gross and background counts are Poisson with means that stand in the ratio of their times r. Given
their sum n, the gross count is binomial with probability p = r / (1 + r), whatever the background is. A pair is
recognised if a gross count as high or higher, given the sum, has a probability of alpha at most. So the chance of a
false positive never exceeds alpha; counts being whole numbers, it is often well below.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.polynomial.hermite_e import hermegauss
from scipy.optimize import brentq
from scipy.special import betainc, gammainc
from scipy.stats import nbinom, poisson

from truekev.errors import OutOfRangeError, RefusedError
from truekev.samples.limits import quantile_of_error

__all__ = ["PairTest", "chance_of_pair", "detection_limit_counts", "pair_test", "smallest_recognised_gross"]

FloatArray = npt.NDArray[np.float64]

_TAIL = 1e-10  # probability of background counts left out of a sum
_N_NODES = 21


def chance_of_pair(n_gross: npt.ArrayLike, n_background: npt.ArrayLike, time_ratio: float = 1.0) -> FloatArray:
    """Probability, with nothing there, of a gross count this high or higher given the sum of both counts.

    Parameters
    ----------
    n_gross, n_background : array_like
        Counts, 0 or more.
    time_ratio : float
        Counting time of the gross count over that of the background.

    Notes
    -----
    P(X ≥ n_g | n_g + n_0, p) = I_p(n_g, n_0 + 1), the regularised incomplete beta function; 1 for no gross counts.
    """
    gross, background = np.asarray(n_gross, float), np.asarray(n_background, float)
    p = _share(time_ratio)
    return np.where(gross > 0, betainc(np.maximum(gross, 1.0), background + 1, p), 1.0)


def smallest_recognised_gross(
    n_background: npt.ArrayLike, time_ratio: float = 1.0, *, alpha: float = 0.05
) -> npt.NDArray[np.int64]:
    """Smallest gross count that is recognised beside `n_background` background counts.

    Returns
    -------
    ndarray of int
        Same shape as `n_background`. The critical net count is this less 1 less `time_ratio` times `n_background`.

    References
    ----------
    A pair (0, 5) is the smallest recognised with a blank of 0: L. A. Currie, chapter in ACS Symposium Series (2006).
    Checked by tests/published/test_currie_1968.py.
    """
    background = np.asarray(n_background, float)
    quantile_of_error("alpha", alpha)
    different, place = np.unique(background, return_inverse=True)
    # Of the events in order of time, the gross ones before the (n_0 + 1)th background one are negative binomial.
    smallest = np.asarray(nbinom.isf(alpha, different + 1, 1 - _share(time_ratio)) + 1).astype(np.int64)
    return smallest[place].reshape(background.shape)


def _share(time_ratio: float) -> float:
    if not (math.isfinite(time_ratio) and time_ratio > 0):
        raise OutOfRangeError(f"ratio of counting times {time_ratio}: it must be above 0.")
    return time_ratio / (1 + time_ratio)


@dataclass(frozen=True)
class PairTest:
    """Outcome of the exact test of one pair of counts.

    `critical_net_counts`: a net count above it is recognised (the decision threshold in counts). `chance`: the
    probability of a gross count this high or higher with nothing there.
    """

    recognised: bool
    smallest_recognised_gross: int
    critical_net_counts: float
    chance: float
    alpha: float


def pair_test(n_gross: int, n_background: int, time_ratio: float = 1.0, *, alpha: float = 0.05) -> PairTest:
    """Is there more in the gross count than background, with a chance of error of `alpha` at most."""
    smallest = int(smallest_recognised_gross(n_background, time_ratio, alpha=alpha))
    return PairTest(
        recognised=n_gross >= smallest,
        smallest_recognised_gross=smallest,
        critical_net_counts=smallest - 1 - time_ratio * n_background,
        chance=float(chance_of_pair(n_gross, n_background, time_ratio)),
        alpha=alpha,
    )


def _chance_of_recognition(
    n_background_in_gross: float, time_ratio: float, alpha: float, relative_u_factor: float
) -> Callable[[float], float]:
    """Probability that the exact test recognises a mean of so many net counts."""
    mean_background = n_background_in_gross / time_ratio
    first, last = (float(poisson.ppf(p, mean_background)) for p in (_TAIL / 2, 1 - _TAIL / 2))
    background = np.arange(first, last + 1)
    weights = poisson.pmf(background, mean_background)
    # Neighbouring background counts often share the smallest recognised gross count: sum their weights first.
    smallest, place = np.unique(smallest_recognised_gross(background, time_ratio, alpha=alpha), return_inverse=True)
    weights = np.bincount(place, weights)
    nodes, node_weights = hermegauss(_N_NODES if relative_u_factor > 0 else 1)
    factors = np.maximum(1 + relative_u_factor * nodes, 0.0)[:, None]

    def chance(n_signal: float) -> float:
        seen = gammainc(smallest, n_background_in_gross + n_signal * factors)  # P(n ≥ smallest) of a Poisson mean
        return float(node_weights @ (seen @ weights) / node_weights.sum())

    return chance


def detection_limit_counts(
    n_background_in_gross: float,
    time_ratio: float = 1.0,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    relative_u_factor: float = 0.0,
) -> float:
    """Mean net counts that the exact test recognises with probability 1 - beta.

    Parameters
    ----------
    n_background_in_gross : float
        Mean background counts in the time of the gross count, 0 or more.
    time_ratio : float
        Counting time of the gross count over that of the background.
    alpha, beta : float
        Probabilities of a false positive (at most) and of a false negative.
    relative_u_factor : float
        Relative standard uncertainty of the calibration factor.

    Raises
    ------
    RefusedError
        The calibration factor is so uncertain that no signal is recognised with that probability.
    """
    if not (math.isfinite(n_background_in_gross) and n_background_in_gross >= 0):
        raise OutOfRangeError(f"background counts {n_background_in_gross}: 0 or more is needed.")

    quantile_of_error("beta", beta)
    _share(time_ratio)
    chance = _chance_of_recognition(n_background_in_gross, time_ratio, alpha, relative_u_factor)

    high = 10.0 + 2 * n_background_in_gross
    while chance(high) < 1 - beta:
        high *= 2
        if high > 1e9:
            raise RefusedError(
                f"with a calibration factor known to {100 * relative_u_factor:.0f} % no signal is recognised with "
                f"probability {1 - beta:g}.",
                "a better known calibration factor.",
            )
    return float(brentq(lambda n_signal: chance(n_signal) - (1 - beta), 0.0, high, rtol=1e-9))
