"""How many points a control chart draws on average before it gives a signal."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr

from truekev.errors import OutOfRangeError

__all__ = ["average_run_length", "chance_of_run"]


def average_run_length(
    shift_sigma: float = 0.0,
    *,
    limit_sigma: float = 3.0,
    run_of: int | None = None,
) -> float:
    """Mean number of points up to and with the first signal, for normal and independent points.

    Parameters
    ----------
    shift_sigma : float
        How far the process has moved from the centre line, in standard deviations; 0: false alarms.
    limit_sigma : float
        Distance of both limits from the centre line; infinity: no limits.
    run_of : int, optional
        So many points in a row on one side of the centre line are a signal as well.

    Notes
    -----
    Limits alone: 1 over the probability of a point beyond them. With runs: a Markov chain over the length of the
    present run and its side (Champ and Woodall, Technometrics 29 (1987) 393, from memory).
    """
    if not (math.isfinite(shift_sigma) and limit_sigma > 0 and (run_of is None or run_of >= 2)):
        raise OutOfRangeError(
            f"shift {shift_sigma}, limits at {limit_sigma} standard deviations, runs of {run_of}: the limits must be "
            "above 0, runs of 2 points or more."
        )
    above = float(ndtr(limit_sigma - shift_sigma) - ndtr(-shift_sigma))
    below = float(ndtr(-shift_sigma) - ndtr(-limit_sigma - shift_sigma))
    if run_of is None:
        return 1 / (1 - above - below) if above + below < 1 else math.inf
    # States: a run of 1 … run_of - 1 points above, then the same below. One more point leads on, back, or to a signal.
    n = run_of - 1
    transition = np.zeros((2 * n, 2 * n))
    for k in range(n):
        transition[k, n] = below
        transition[n + k, 0] = above
        if k + 1 < n:
            transition[k, k + 1] = above
            transition[n + k, n + k + 1] = below
    points_left = np.linalg.solve(np.eye(2 * n) - transition, np.ones(2 * n))
    return float(1 + above * points_left[0] + below * points_left[n])


def chance_of_run(n_points: int) -> float:
    """Probability that so many points in a row lie on one side of the centre line, with nothing changed."""
    if n_points < 1:
        raise OutOfRangeError(f"a run of {n_points} points: 1 or more is needed.")
    return 2 * 0.5**n_points
