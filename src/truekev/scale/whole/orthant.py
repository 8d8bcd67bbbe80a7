"""Integral of a normal density over all strengths that are not negative, by expectation propagation.

Strengths of parts that look alike (smooth parts, what the surroundings scatter) are correlated, and many lie at zero:
cutting each at zero for itself then gives a volume that changes with the widths of peaks in the wrong way. Expectation
propagation gives the integral of all together to some thousandths (Minka 2001, Expectation propagation for approximate
Bayesian inference, Proc. 17th Conf. Uncertainty in Artificial Intelligence, 362; Cunningham, Hennig and Lacoste-Julien
2011, Gaussian probabilities and expectation propagation, arXiv:1111.6832).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["log_volume"]

Array = npt.NDArray[np.float64]

_SWEEPS = 40
_SETTLED = 1e-3  # of a site's precision
_LEAST_KNOWN = 1e-8  # of what the counts tell of one strength alone: two parts may be the same
_LEAST = 1e-10  # precision of what is left without a site, variance of what is left with it


def log_volume(information: Array, at: Array, rising: Array) -> float:
    """Logarithm of the integral of exp(-(a - at)^T I (a - at) / 2 + rising^T (a - at)) over all a >= 0.

    Parameters
    ----------
    information : ndarray, shape (n, n)
        I; rows and columns of zeros are left out.
    at : ndarray, shape (n,)
        Not negative; near the maximum, or digits are lost.
    rising : ndarray, shape (n,)
        Slope of the exponent at `at`.

    Returns
    -------
    float
        Less the part (n / 2) ln(2 pi).
    """
    held = np.diag(information) > 0
    return float(_propagated(np.ascontiguousarray(information[np.ix_(held, held)]), at[held], rising[held]))


@njit(cache=True)
def _hazard(z: float) -> tuple[float, float]:  # pragma: no cover - compiled
    """Density over distribution function of the standard normal distribution, and ln of the latter."""
    if z > -6.0:
        below = 0.5 * math.erfc(-z / math.sqrt(2.0))
        return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) / below, math.log(below)
    # Continued fraction of Mills' ratio (Abramowitz and Stegun 26.2.14).
    fraction = -z
    for k in range(60, 0, -1):
        fraction = -z + k / fraction
    return fraction, -0.5 * z * z - 0.5 * math.log(2.0 * math.pi) - math.log(fraction)


@njit(cache=True)
def _propagated(information: Array, at: Array, rising: Array) -> float:  # pragma: no cover - compiled
    n = at.size
    size = np.sqrt(np.diag(information))
    scaled = information / np.outer(size, size)
    for i in range(n):
        scaled[i, i] += _LEAST_KNOWN
    start, slope = at * size, rising / size  # what follows is about `start`
    # Each half-line is stood for by a normal factor: its precision, and precision times mean.
    precision, shift = np.zeros(n), np.zeros(n)
    covariance = np.linalg.inv(scaled)
    mean = covariance @ slope
    for sweep in range(_SWEEPS):
        if sweep == 1:
            # From next to nothing known to what the half-lines leave, updates lose digits.
            covariance = np.linalg.inv(scaled + np.diag(precision))
            mean = covariance @ (slope + shift)
        change = 0.0
        for i in range(n):
            variance = covariance[i, i]
            without = 1.0 / variance - precision[i]
            if without <= _LEAST:
                continue
            shift_without = mean[i] / variance - shift[i]
            z = (shift_without / without + start[i]) * math.sqrt(without)
            ratio, _ = _hazard(z)
            cut_mean = shift_without / without + ratio / math.sqrt(without)
            cut_variance = max(1.0 - ratio * (ratio + z), _LEAST) / without
            new = max(1.0 / cut_variance - without, 0.0)
            more = new - precision[i]
            more_shift = cut_mean / cut_variance - shift_without - shift[i]
            change = max(change, abs(more) / (without + new))
            over = 1.0 + more * variance
            column = covariance[:, i].copy()
            mean += (more_shift - more * mean[i]) / over * column
            for j in range(n):
                factor = more / over * column[j]
                for k in range(n):
                    covariance[j, k] -= factor * column[k]
            precision[i] = new
            shift[i] += more_shift
        if change < _SETTLED:
            break
    lower = np.linalg.cholesky(scaled + np.diag(precision))
    total = 0.5 * float((slope + shift) @ mean)
    for i in range(n):
        total -= math.log(lower[i, i]) + math.log(size[i])
        without = 1.0 / covariance[i, i] - precision[i]
        if without <= _LEAST:
            continue
        shift_without = mean[i] / covariance[i, i] - shift[i]
        with_site = without + precision[i]
        _, log_below = _hazard((shift_without / without + start[i]) * math.sqrt(without))
        total += log_below + 0.5 * math.log(with_site / without)
        total += 0.5 * shift_without**2 / without - 0.5 * (shift_without + shift[i]) ** 2 / with_site
    return total
