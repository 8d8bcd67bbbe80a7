"""How long to count for a wanted detection limit."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured
from truekev.samples.limits import detection_limit, quantile_of_error
from truekev.samples.low_counts import detection_limit_counts
from truekev.samples.net_count import net_u_of_true

__all__ = ["ENOUGH_COUNTS", "Background", "CountingTime", "counting_time", "detection_limit_after"]

ENOUGH_COUNTS = 400  # background counts below which decisions are made by the exact test (docs/validation)
_SHORTEST_S, _LONGEST_S = 1e-3, 1e10
_STEP = 1.01  # the exact limit falls in steps, so times are tried one after another


@dataclass(frozen=True)
class Background:
    """A background that has been counted, and how it will enter.

    Parameters
    ----------
    n_counts, time_s
        Counts and live time [s] of the background that gives its rate.
    counted_again : bool
        True: it will be counted anew for as long as the sample. False: this very count is used.
    """

    n_counts: int
    time_s: float
    counted_again: bool = True

    def __post_init__(self) -> None:
        if not (math.isfinite(self.n_counts) and self.n_counts >= 1 and self.time_s > 0):
            raise OutOfRangeError(
                f"background of {self.n_counts} counts in {self.time_s} s: at least one count and a time above 0 are "
                "needed to plan with."
            )

    @property
    def rate(self) -> float:
        """Background rate [1/s]."""
        return self.n_counts / self.time_s


@dataclass(frozen=True)
class CountingTime:
    """Counting time for a wanted detection limit.

    `time_s` is that of the sample; `total_time_s` counts the background as well where it is counted anew.
    `detection_limit` is the limit at that time; `exact` says that the counts are so few that the exact test decides.
    """

    wanted: float
    time_s: float
    total_time_s: float
    detection_limit: float
    n_background_in_gross: float
    exact: bool


def detection_limit_after(
    time_s: float, background: Background, factor: Measured, *, alpha: float = 0.05, beta: float = 0.05
) -> tuple[float, bool]:
    """Detection limit of a count of `time_s`, in the unit of the factor, and whether it is that of the exact test."""
    background_time = time_s if background.counted_again else background.time_s
    n_in_gross = background.rate * time_s
    if min(n_in_gross, background.rate * background_time) < ENOUGH_COUNTS:
        counts = detection_limit_counts(
            n_in_gross, time_s / background_time, alpha=alpha, beta=beta, relative_u_factor=factor.relative_u
        )
        return factor.value * counts / time_s, True
    return detection_limit(_u_of_true(time_s, background_time, background.rate, factor), alpha=alpha, beta=beta), False


def _u_of_true(time_s: float, background_time_s: float, rate: float, factor: Measured) -> Callable[[float], float]:
    def u(true_value: float) -> float:
        return float(
            net_u_of_true(
                true_value,
                time_s,
                rate * background_time_s,
                background_time_s,
                factor=factor.value,
                relative_u_factor=factor.relative_u,
            )
        )

    return u


def counting_time(
    wanted: float, background: Background, factor: Measured, *, alpha: float = 0.05, beta: float = 0.05
) -> CountingTime:
    """Shortest counting time of the sample for which the detection limit is `wanted` or lower.

    Parameters
    ----------
    wanted : float
        Detection limit wanted, in the unit of the factor, above 0.
    background : Background
        The background that was counted, and whether it is counted anew for as long as the sample.
    factor : Measured
        Calibration factor: result per net rate.
    alpha, beta : float
        Probabilities of a false positive and of a false negative.

    Raises
    ------
    RefusedError
        No time reaches it: the factor is too uncertain, or the background count that is kept limits it.
    """
    if not (math.isfinite(wanted) and wanted > 0):
        raise OutOfRangeError(f"wanted detection limit {wanted}: it must be above 0.")
    if quantile_of_error("beta", beta) * factor.relative_u >= 1:
        raise RefusedError(
            f"a calibration factor known to {100 * factor.relative_u:.0f} % has no detection limit at any time.",
            "a better known calibration factor.",
        )

    def normal_limit(time_s: float) -> float:
        background_time = time_s if background.counted_again else background.time_s
        u_of_true = _u_of_true(time_s, background_time, background.rate, factor)
        return detection_limit(u_of_true, alpha=alpha, beta=beta)

    lowest = normal_limit(_LONGEST_S)
    if lowest > wanted:
        raise RefusedError(
            f"a detection limit of {wanted:g} {factor.unit} is out of reach: even without end the count comes down to "
            f"{lowest:.3g} {factor.unit} only.",
            "a background counted for longer, or counted again for as long as the sample."
            if not background.counted_again
            else "a lower background, or more counts per activity (nearer, a larger crystal).",
        )
    low, high = math.log(_SHORTEST_S), math.log(_LONGEST_S)
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (middle, high) if normal_limit(math.exp(middle)) > wanted else (low, middle)
    time_s = math.exp(high)
    limit, exact = detection_limit_after(time_s, background, factor, alpha=alpha, beta=beta)
    while limit > wanted:
        time_s *= _STEP
        limit, exact = detection_limit_after(time_s, background, factor, alpha=alpha, beta=beta)
        if time_s > _LONGEST_S:
            raise RefusedError(
                f"a detection limit of {wanted:g} {factor.unit} is out of reach with so few background counts.",
                "a background counted for longer.",
            )
    return CountingTime(
        wanted=wanted,
        time_s=time_s,
        total_time_s=2 * time_s if background.counted_again else time_s,
        detection_limit=limit,
        n_background_in_gross=background.rate * time_s,
        exact=exact,
    )
