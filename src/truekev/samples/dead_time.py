"""Dead time: the two textbook models, measuring it with two sources, and where a correction is sound.

Non-paralysable: after every recorded pulse the instrument is blind for τ; m = n / (1 + n τ). Paralysable: every pulse,
recorded or not, makes it blind for τ anew; m = n exp(-n τ), which has a maximum 1/(e τ), so that one observed rate m
belongs to two true rates n, below and above 1/τ. Real instruments lie between.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import lambertw

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured

__all__ = [
    "HIGHEST_CORRECTED",
    "HIGHEST_PILE_UP",
    "DeadTimeJudgement",
    "Model",
    "corrected_rate",
    "judge_dead_time",
    "observed_rate",
    "paralysable_rates",
    "pile_up_fraction",
    "true_rate",
    "two_source_dead_time",
]

Model = Literal["non-paralysable", "paralysable"]

HIGHEST_CORRECTED = 0.20  # m τ; there the two models differ by 3.7 %, half of it being the uncertainty of their mean
HIGHEST_PILE_UP = 0.05  # share of summed pulses up to which a spectrum still has the shape that is fitted
_NEGLIGIBLE = 1e-3
_STEP = 1e-4


def observed_rate(true_per_s: float, dead_time_s: float, model: Model) -> float:
    """Rate that is recorded [1/s] of a true rate [1/s]."""
    _check(true_per_s, dead_time_s)
    x = true_per_s * dead_time_s
    return true_per_s / (1 + x) if model == "non-paralysable" else true_per_s * math.exp(-x)


def true_rate(observed_per_s: float, dead_time_s: float, model: Model) -> float:
    """True rate [1/s] of a recorded rate [1/s]; the paralysable model's lower branch.

    Raises
    ------
    RefusedError
        A rate that the model cannot record: 1/τ or more, or above 1/(e τ) if paralysable.

    References
    ----------
    G. F. Knoll, Radiation Detection and Measurement, chapter on dead time. Checked by tests/published/test_knoll.py.
    """
    _check(observed_per_s, dead_time_s)
    if model == "paralysable":
        return paralysable_rates(observed_per_s, dead_time_s)[0]
    dead = observed_per_s * dead_time_s
    if dead >= 1:
        raise RefusedError(
            f"{observed_per_s:g} pulses a second with a dead time of {dead_time_s:g} s each fill {dead:.2f} s of every "
            "second.",
            "a smaller dead time, or a count from further away.",
        )
    return observed_per_s / (1 - dead)


def paralysable_rates(observed_per_s: float, dead_time_s: float) -> tuple[float, float]:
    """Both true rates [1/s] that a paralysable instrument records as `observed_per_s`: below and above 1/τ.

    The upper one is infinite where nothing is recorded or the dead time is 0.

    Raises
    ------
    RefusedError
        More than the maximum 1/(e τ).
    """
    _check(observed_per_s, dead_time_s)
    x = observed_per_s * dead_time_s
    if x == 0:
        return observed_per_s, math.inf
    if x > math.exp(-1):
        raise RefusedError(
            f"a paralysable instrument with a dead time of {dead_time_s:g} s records {1 / (math.e * dead_time_s):.6g} "
            f"pulses a second at most, not {observed_per_s:g}.",
            "a smaller dead time, or the non-paralysable model.",
        )
    low, high = (-float(lambertw(-x, branch).real) / dead_time_s for branch in (0, -1))
    return low, high


def corrected_rate(observed_per_s: Measured, dead_time_s: Measured, model: Model) -> Measured:
    """True rate with its standard uncertainty, from those of the recorded rate and of the dead time."""
    value = true_rate(observed_per_s.value, dead_time_s.value, model)
    x = value * dead_time_s.value
    # dn/dm and dn/dτ of m = n/(1 + nτ) and of m = n exp(-nτ)
    if model == "non-paralysable":
        by_rate, by_dead_time = (1 + x) ** 2, value**2
    else:
        if x >= 1 - 1e-6:
            raise RefusedError("the recorded rate stands at the maximum, where it says nothing about the true rate.")
        by_rate, by_dead_time = math.exp(x) / (1 - x), value**2 / (1 - x)
    return Measured(value, math.hypot(by_rate * observed_per_s.u, by_dead_time * dead_time_s.u), "1/s")


def pile_up_fraction(true_per_s: float, resolving_time_s: float) -> float:
    """Share of pulses that another one follows within the resolving time: 1 - exp(-n τ)."""
    _check(true_per_s, resolving_time_s)
    return -math.expm1(-true_per_s * resolving_time_s)


def two_source_dead_time(
    first: Measured,
    second: Measured,
    both: Measured,
    background: Measured | None = None,
    *,
    model: Model = "non-paralysable",
) -> Measured:
    """Dead time from two sources counted alone and together, all in place so that nothing else changes.

    Parameters
    ----------
    first, second, both : Measured
        Recorded rates [1/s] of one source, the other, and both together, background included.
    background : Measured, optional
        Recorded background rate [1/s]; none if left out.
    model
        Which model the dead time is for.

    Returns
    -------
    Measured
        Dead time [s]; uncertainty to first order from the four rates, which are taken as independent. Both together
        are the difference of large numbers: the rates must be well known. It may come out negative, within its
        uncertainty, where there is no dead time to be seen.

    Raises
    ------
    RefusedError
        Both together record so little that no dead time explains it.

    Notes
    -----
    Solves n(both) + n(background) = n(first) + n(second) for τ; for the non-paralysable model in closed form, for
    both models the root next to zero.

    References
    ----------
    G. F. Knoll, Radiation Detection and Measurement, two-source method (from memory). Checked by
    tests/published/test_knoll.py.
    """
    blank = background or Measured(0.0, 0.0, "1/s")
    rates = [first, second, both, blank]
    if any(rate.value < 0 for rate in rates) or min(first.value, second.value, both.value) <= blank.value:
        raise OutOfRangeError(
            f"rates {first.value:g}, {second.value:g}, together {both.value:g}, background {blank.value:g} per second: "
            "every source must give more than the background."
        )
    solve = _two_source_non_paralysable if model == "non-paralysable" else _two_source_paralysable
    return Measured(*_propagated(solve, rates), "s")


def _propagated(solve: Callable[[Sequence[float]], float], rates: Sequence[Measured]) -> tuple[float, float]:
    values = [rate.value for rate in rates]
    variance = 0.0
    for i, rate in enumerate(rates):
        if rate.u > 0:
            step = max(rate.value, rate.u) * _STEP
            up, down = ([v + (sign * step if j == i else 0.0) for j, v in enumerate(values)] for sign in (1, -1))
            variance += ((solve(up) - solve(down)) / (2 * step) * rate.u) ** 2
    return solve(values), math.sqrt(variance)


def _two_source_non_paralysable(rates: Sequence[float]) -> float:
    one, two, both, blank = rates
    x = one * two - blank * both
    y = one * two * (both + blank) - blank * both * (one + two)
    z = y * (one + two - both - blank) / x**2
    if z > 1 or both <= max(one, two):  # together less than one alone: the model's rates never fall
        raise RefusedError(
            "the two sources together record too little for the non-paralysable model.",
            "weaker sources, or the paralysable model.",
        )
    return x * (1 - math.sqrt(1 - z)) / y


def _two_source_paralysable(rates: Sequence[float]) -> float:
    largest = max(rates)

    def excess(tau: float) -> float:
        n = [-float(lambertw(-m * tau).real) / tau if tau else m for m in rates]
        return n[2] + n[3] - n[0] - n[1]

    # The rates of the sum grow fastest with τ, so the excess rises from m12 + mb - m1 - m2 to its value at the maximum.
    high = (math.exp(-1) - 1e-12) / largest  # at the maximum itself the Lambert function is not a number
    low = -0.1 * high
    if not excess(low) < 0 < excess(high):
        raise RefusedError(
            "no dead time of the paralysable model explains these rates on its lower branch.",
            "weaker sources, and longer counts.",
        )
    return float(brentq(excess, low, high, xtol=1e-18, rtol=1e-12))


@dataclass(frozen=True)
class DeadTimeJudgement:
    """What dead time and pile-up do to a count.

    `true_rate` carries the uncertainty of counting and of the correction. `verdict` is one of "nothing to correct",
    "live time given" and "corrected"; where a correction is not sound there is no judgement but a refusal.
    """

    verdict: str
    observed_rate: Measured
    true_rate: Measured
    dead_fraction: float
    pile_up_fraction: float | None
    words: str


def judge_dead_time(
    n_counts: float,
    real_time_s: float,
    *,
    live_time_s: float | None = None,
    dead_time_s: Measured | None = None,
    model: Model | None = None,
    resolving_time_s: float | None = None,
) -> DeadTimeJudgement:
    """True rate of a count, corrected for dead time where that is sound.

    Parameters
    ----------
    n_counts, real_time_s
        All counts of the spectrum, and the real time [s].
    live_time_s : float, optional
        Live time [s] that the instrument measured; used if given, as it holds whatever the model is.
    dead_time_s : Measured, optional
        Dead time of a pulse [s]; needed without a live time.
    model : optional
        Which model holds. Not known: the mean of both, half their difference as uncertainty.
    resolving_time_s : float, optional
        Time within which two pulses add up [s]; the dead time is taken if it is left out.

    Raises
    ------
    RefusedError
        A dead fraction above 20 %, or above 5 % of pulses summed (at contact a weak source never gets there).
    """
    if not (n_counts >= 0 and real_time_s > 0):
        raise OutOfRangeError(f"{n_counts} counts in {real_time_s} s: counts from 0 and a time above 0 are needed.")
    if live_time_s is not None and not 0 < live_time_s <= real_time_s * (1 + 1e-9):
        raise OutOfRangeError(
            f"live time {live_time_s} s of {real_time_s} s real time: it must be above 0, and no longer."
        )
    observed = Measured(n_counts / real_time_s, math.sqrt(n_counts) / real_time_s, "1/s")
    if live_time_s is None and dead_time_s is None:
        raise RefusedError(
            "neither a live time nor a dead time is known, so the true rate is not.",
            "a dead time measured with two sources, or a file that gives live and real time.",
        )
    if live_time_s is not None:
        rate = Measured(n_counts / live_time_s, math.sqrt(n_counts) / live_time_s, "1/s")
        dead_fraction = 1 - live_time_s / real_time_s
        _refuse_above(dead_fraction, "so many pulses lie upon each other that the spectrum has lost its shape.")
    else:
        assert dead_time_s is not None
        dead_fraction = observed.value * dead_time_s.value
        _refuse_above(
            dead_fraction,
            "the textbook models part by more than a few per cent, and a paralysable instrument may stand on its "
            "falling branch.",
        )
        rate = _averaged(observed, dead_time_s, model)
    resolving = resolving_time_s if resolving_time_s is not None else (dead_time_s.value if dead_time_s else None)
    summed = None if resolving is None else pile_up_fraction(rate.value, resolving)
    if summed is not None and summed > HIGHEST_PILE_UP:
        raise RefusedError(
            f"{100 * summed:.0f} % of the pulses have another one inside the resolving time of {resolving:g} s; above "
            f"{100 * HIGHEST_PILE_UP:.0f} % the spectrum no longer has the shape that is fitted.",
            "a count from further away.",
        )
    verdict = "nothing to correct" if dead_fraction < _NEGLIGIBLE else "corrected"
    if live_time_s is not None and verdict == "corrected":
        verdict = "live time given"
    pile_up = "pile-up not known (no resolving time)" if summed is None else f"{100 * summed:.2g} % of pulses summed"
    return DeadTimeJudgement(
        verdict=verdict,
        observed_rate=observed,
        true_rate=rate,
        dead_fraction=dead_fraction,
        pile_up_fraction=summed,
        words=f"{verdict}: {100 * dead_fraction:.2g} % of the time dead, {pile_up}, true rate {rate}",
    )


def _averaged(observed: Measured, dead_time_s: Measured, model: Model | None) -> Measured:
    if model is not None:
        return corrected_rate(observed, dead_time_s, model)
    models: tuple[Model, ...] = ("non-paralysable", "paralysable")
    both = [corrected_rate(observed, dead_time_s, one) for one in models]
    values = np.array([rate.value for rate in both])
    half_difference = float(abs(values[1] - values[0]) / 2)
    return Measured(float(values.mean()), math.hypot(max(rate.u for rate in both), half_difference), "1/s")


def _refuse_above(dead_fraction: float, reason: str) -> None:
    if dead_fraction > HIGHEST_CORRECTED:
        raise RefusedError(
            f"the instrument was dead for {100 * dead_fraction:.0f} % of the time; above "
            f"{100 * HIGHEST_CORRECTED:.0f} % {reason}",
            "a count from further away: at twice the distance the rate falls to about a quarter.",
        )


def _check(rate_per_s: float, time_s: float) -> None:
    if not (math.isfinite(rate_per_s) and rate_per_s >= 0 and math.isfinite(time_s) and time_s >= 0):
        raise OutOfRangeError(f"rate {rate_per_s} 1/s with dead time {time_s} s: both must be finite and not negative.")
