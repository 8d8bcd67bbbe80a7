"""Decision threshold, detection limit, best estimate and coverage limits after ISO 11929-1.

All that is asked of the measurement is an estimate y from an unconstrained evaluation (it may be negative), its
standard uncertainty u(y), and the standard uncertainty u(ỹ) that the same measurement would have if the true value
were ỹ. A net count rate gives these in closed form (`net_count`), a fit of a whole spectrum gives them from its
covariance at a changed strength.

The measurand itself cannot be negative: given y, its true value is distributed as a normal distribution with mean y
and standard deviation u(y), cut off below zero. Best estimate and limits are properties of that distribution.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import erfcx, log_ndtr, ndtr, ndtri, ndtri_exp

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured

__all__ = [
    "CharacteristicLimits",
    "best_estimate",
    "characteristic_limits",
    "decision_threshold",
    "detection_limit",
    "normal_quantile",
    "quantile_of_error",
    "shortest_limits",
    "symmetric_limits",
]

FloatArray = npt.NDArray[np.float64]

_FAR_BELOW_ZERO = 200.0  # u(y) below zero from where the asymptotic series is better than the closed form
_CLOSE_ENOUGH = 1e-12  # relative step at which the iteration of the detection limit ends
_LARGEST_LIMIT = 1e9  # detection limit over decision threshold beyond which there is none to speak of


def normal_quantile(probability: float) -> float:
    """Quantile of the standard normal distribution, for a probability between 0 and 1.

    Raises
    ------
    OutOfRangeError
        A probability outside 0 to 1, or at either end.
    """
    if not 0 < probability < 1:
        raise OutOfRangeError(f"probability {probability}: it must lie between 0 and 1; 0.05 or 0.95 is usual.")
    return float(ndtri(probability))


def quantile_of_error(name: str, probability: float) -> float:
    """Quantile k(1 - probability) for a probability of error, `name` being alpha or beta.

    Raises
    ------
    OutOfRangeError
        A probability that is not between 0 and 0.5.
    """
    if not 0 < probability < 0.5:
        raise OutOfRangeError(
            f"{name} {probability}: a probability of error between 0 and 0.5 is needed; 0.05 is usual."
        )
    return normal_quantile(1 - probability)


def decision_threshold(u_of_true: Callable[[float], float], *, alpha: float = 0.05) -> float:
    """Decision threshold y*: an estimate above it is taken for a real effect.

    Parameters
    ----------
    u_of_true : callable
        Standard uncertainty of the estimate at a true value, in the unit of the measurand.
    alpha : float
        Probability of exceeding y* when nothing is there.

    Returns
    -------
    float
        k(1 - alpha) · u(0), in the unit of the measurand.

    References
    ----------
    ISO 11929-1, decision threshold; values in tests/published/test_iso_11929.py.
    """
    return quantile_of_error("alpha", alpha) * u_of_true(0.0)


def detection_limit(u_of_true: Callable[[float], float], *, alpha: float = 0.05, beta: float = 0.05) -> float:
    """Detection limit y#: the smallest true value that is recognised with probability 1 - beta.

    Solves y# = y* + k(1 - beta) · u(y#) by iteration from 2 y*; where that does not settle, by looking for the
    change of sign.

    Parameters
    ----------
    u_of_true : callable
        Standard uncertainty of the estimate at a true value, in the unit of the measurand.
    alpha, beta : float
        Probabilities of a false positive at true value zero and of a false negative at y#.

    Raises
    ------
    RefusedError
        No solution: the uncertainty grows with the true value as fast as the value itself (a relative uncertainty
        of the calibration factor of 1/k or more).

    References
    ----------
    ISO 11929-1, implicit equation of the detection limit; values in tests/published/test_iso_11929.py.
    """
    threshold = decision_threshold(u_of_true, alpha=alpha)
    k_beta = quantile_of_error("beta", beta)
    if threshold <= 0:
        raise RefusedError(
            f"the standard uncertainty at true value zero is {u_of_true(0.0):g}, so there is no decision threshold.",
            "a background count that is not empty.",
        )
    value = 2 * threshold
    for _ in range(200):
        following = threshold + k_beta * u_of_true(value)
        if not math.isfinite(following) or following > _LARGEST_LIMIT * threshold:
            break
        if abs(following - value) <= _CLOSE_ENOUGH * following:
            return following
        value = following
    return _first_crossing(u_of_true, threshold, k_beta)


def _first_crossing(u_of_true: Callable[[float], float], threshold: float, k_beta: float) -> float:
    low, high = 0.0, threshold
    while high - threshold < k_beta * u_of_true(high):
        low, high = high, 1.5 * high
        if high > _LARGEST_LIMIT * threshold:
            raise RefusedError(
                "there is no detection limit: the uncertainty grows with the true value as fast as the value itself, "
                "so that no activity, however large, is recognised with the wanted probability.",
                f"a calibration factor known to better than {100 / k_beta:.0f} % (relative standard uncertainty).",
            )
    while high - low > _CLOSE_ENOUGH * high:
        middle = (low + high) / 2
        low, high = (middle, high) if middle - threshold < k_beta * u_of_true(middle) else (low, middle)
    return high


def best_estimate(estimate: npt.ArrayLike, u: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Best estimate of a measurand that cannot be negative, and its standard uncertainty.

    Parameters
    ----------
    estimate, u : array_like
        Estimate y and standard uncertainty u(y) > 0, same unit; shapes that broadcast.

    Returns
    -------
    tuple of ndarray
        Mean and standard deviation of the normal distribution (y, u) cut off below zero.

    Notes
    -----
    With λ = φ(y/u) / Φ(y/u): ŷ = y + u λ and u(ŷ)² = u² - (ŷ - y) ŷ. Beyond 200 u below zero, where these differences
    cancel, their asymptotic series.

    References
    ----------
    ISO 11929-1, best estimate; values in tests/published/test_iso_11929.py.
    """
    y, spread = _checked(estimate, u)
    below = -y / spread
    near = np.minimum(below, _FAR_BELOW_ZERO)
    with np.errstate(over="ignore"):  # erfcx overflows far above zero, where λ is then 0 as it should be
        ratio = math.sqrt(2 / math.pi) / erfcx(near / math.sqrt(2))
    far2 = np.maximum(below, _FAR_BELOW_ZERO) ** -2.0
    is_far = below > _FAR_BELOW_ZERO
    mean = np.where(is_far, np.sqrt(far2) * (1 - 2 * far2), ratio - near)
    variance = np.where(is_far, far2 * (1 - 6 * far2), 1 - ratio * (ratio - near))
    return mean * spread, np.sqrt(variance) * spread


def symmetric_limits(
    estimate: npt.ArrayLike, u: npt.ArrayLike, *, coverage: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Limits of the probabilistically symmetric coverage interval: equal probability below and above.

    Returns
    -------
    tuple of ndarray
        Lower limit (above 0) and upper limit, in the unit of the estimate.

    References
    ----------
    ISO 11929-1, limits of coverage intervals; values in tests/published/test_iso_11929.py.
    """
    y, spread = _checked(estimate, u)
    outside = 1 - _checked_coverage(coverage)
    log_positive = log_ndtr(y / spread)
    lower = y - spread * ndtri_exp(log_positive + math.log1p(-outside / 2))
    upper = y - spread * ndtri_exp(log_positive + math.log(outside / 2))
    return np.maximum(lower, 0.0), upper


def shortest_limits(
    estimate: npt.ArrayLike, u: npt.ArrayLike, *, coverage: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Limits of the shortest coverage interval; its lower limit is 0 where the estimate is small.

    Returns
    -------
    tuple of ndarray
        Lower and upper limit, in the unit of the estimate.

    References
    ----------
    ISO 11929-1, limits of the shortest coverage interval.
    """
    y, spread = _checked(estimate, u)
    inside = _checked_coverage(coverage)
    positive = ndtr(y / spread)
    half = -ndtri((1 - inside * positive) / 2)
    lower = y - spread * half
    from_zero = y - spread * ndtri_exp(log_ndtr(y / spread) + math.log1p(-inside))
    cut = lower < 0
    return np.where(cut, 0.0, lower), np.where(cut, from_zero, y + spread * half)


def _checked(estimate: npt.ArrayLike, u: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    y, spread = np.asarray(estimate, float), np.asarray(u, float)
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(spread)) and np.all(spread > 0)):
        raise OutOfRangeError("estimates must be finite, and their standard uncertainties finite and above 0.")
    return y, spread


def _checked_coverage(coverage: float) -> float:
    if not 0 < coverage < 1:
        raise OutOfRangeError(f"coverage probability {coverage}: it must lie between 0 and 1; 0.95 is usual.")
    return coverage


@dataclass(frozen=True)
class CharacteristicLimits:
    """All that ISO 11929-1 asks to be reported of one measurement.

    `recognised` says whether the estimate exceeds the decision threshold. `detection_limit` is None where there is
    none (`remarks` says why). The intervals have the coverage probability `coverage`.
    """

    estimate: Measured
    decision_threshold: float
    detection_limit: float | None
    recognised: bool
    best_estimate: Measured
    symmetric_limits: tuple[float, float]
    shortest_limits: tuple[float, float]
    alpha: float
    beta: float
    coverage: float
    remarks: tuple[str, ...] = ()


def characteristic_limits(
    estimate: Measured,
    u_of_true: Callable[[float], float],
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    coverage: float = 0.95,
) -> CharacteristicLimits:
    """Characteristic limits of an estimate from an unconstrained evaluation.

    Parameters
    ----------
    estimate : Measured
        Estimate (may be negative) with its standard uncertainty, above 0.
    u_of_true : callable
        Standard uncertainty of the estimate at a true value ỹ ≥ 0, in the unit of the estimate.
    alpha, beta, coverage : float
        Probabilities of a false positive, of a false negative, and of the coverage intervals.

    Raises
    ------
    OutOfRangeError
        A probability outside 0 to 1, or an uncertainty of 0.
    """
    remarks: tuple[str, ...] = ()
    limit: float | None = None
    try:
        limit = detection_limit(u_of_true, alpha=alpha, beta=beta)
    except RefusedError as error:
        remarks = (str(error),)
    threshold = decision_threshold(u_of_true, alpha=alpha)
    best, u_best = best_estimate(estimate.value, estimate.u)
    low, high = symmetric_limits(estimate.value, estimate.u, coverage=coverage)
    short_low, short_high = shortest_limits(estimate.value, estimate.u, coverage=coverage)
    return CharacteristicLimits(
        estimate=estimate,
        decision_threshold=threshold,
        detection_limit=limit,
        recognised=estimate.value > threshold,
        best_estimate=Measured(float(best), float(u_best), estimate.unit),
        symmetric_limits=(float(low), float(high)),
        shortest_limits=(float(short_low), float(short_high)),
        alpha=alpha,
        beta=beta,
        coverage=coverage,
        remarks=remarks,
    )
