"""A net count: gross counts less a background, times a calibration factor, y = w · (r_g - r_0)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.quantity import Measured

__all__ = ["WELL_KNOWN_FACTOR", "NetCount", "net_estimates", "net_u_of_true"]

FloatArray = npt.NDArray[np.float64]

WELL_KNOWN_FACTOR = (
    0.10  # relative u(w) up to which intervals cover as they should (docs/validation/decision_limits.md)
)


@dataclass(frozen=True)
class NetCount:
    """Counts of the sample and of the background, with the factor that turns a net rate into an activity.

    Parameters
    ----------
    n_gross, gross_time_s
        Counts with the sample, and their live time [s].
    n_background, background_time_s
        Counts without it, and their live time [s].
    factor : Measured
        Calibration factor w, activity per net rate (for activity in Bq: 1 over efficiency and line intensity), with
        its standard uncertainty; its unit is that of the result.

    Raises
    ------
    OutOfRangeError
        Counts that are negative or not whole, a time or a factor that is not above 0.

    References
    ----------
    ISO 11929-1, model of evaluation y = (r_g - r_0) · w; values in tests/published/test_iso_11929.py.
    """

    n_gross: int
    gross_time_s: float
    n_background: int
    background_time_s: float
    factor: Measured

    def __post_init__(self) -> None:
        for what, count in (("gross", self.n_gross), ("background", self.n_background)):
            if not (math.isfinite(count) and count >= 0 and count == int(count)):
                raise OutOfRangeError(
                    f"{what} counts {count}: a whole number, 0 or more, is needed (counts, not rates)."
                )
        for what, seconds in (("gross", self.gross_time_s), ("background", self.background_time_s)):
            if not (math.isfinite(seconds) and seconds > 0):
                raise OutOfRangeError(f"{what} counting time {seconds} s: it must be above 0.")
        if not self.factor.value > 0:
            raise OutOfRangeError(f"calibration factor {self.factor.value}: it must be above 0.")

    @property
    def background_rate(self) -> float:
        """Background rate r_0 [1/s]."""
        return self.n_background / self.background_time_s

    @property
    def time_ratio(self) -> float:
        """Counting time of the sample over that of the background."""
        return self.gross_time_s / self.background_time_s

    @property
    def n_background_in_gross(self) -> float:
        """Background counts to be expected in the gross counts."""
        return self.n_background * self.time_ratio

    @property
    def estimate(self) -> Measured:
        """Estimate y = w (r_g - r_0) with its standard uncertainty; negative where the background was higher."""
        value, u = net_estimates(
            self.n_gross,
            self.gross_time_s,
            self.n_background,
            self.background_time_s,
            factor=self.factor.value,
            relative_u_factor=self.factor.relative_u,
        )
        return Measured(float(value), float(u), self.factor.unit)

    def u_of_true(self, true_value: float) -> float:
        """Standard uncertainty of the estimate if the true value were `true_value` (same unit as the estimate)."""
        return float(
            net_u_of_true(
                true_value,
                self.gross_time_s,
                self.n_background,
                self.background_time_s,
                factor=self.factor.value,
                relative_u_factor=self.factor.relative_u,
            )
        )


def net_estimates(
    n_gross: npt.ArrayLike,
    gross_time_s: float,
    n_background: npt.ArrayLike,
    background_time_s: float,
    *,
    factor: float = 1.0,
    relative_u_factor: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Estimates y = w (r_g - r_0) of many pairs of counts, and their standard uncertainties.

    Parameters
    ----------
    n_gross, n_background : array_like
        Counts; shapes that broadcast. A count of 0 enters the uncertainty as a count of 1: its own square root would
        say that it is exact.
    gross_time_s, background_time_s : float
        Counting times [s].
    factor, relative_u_factor : float
        Calibration factor w and its relative standard uncertainty.
    """
    gross, background = np.asarray(n_gross, float), np.asarray(n_background, float)
    value = factor * (gross / gross_time_s - background / background_time_s)
    variance = np.maximum(gross, 1.0) / gross_time_s**2 + np.maximum(background, 1.0) / background_time_s**2
    return value, np.sqrt(factor**2 * variance + (value * relative_u_factor) ** 2)


def net_u_of_true(
    true_value: npt.ArrayLike,
    gross_time_s: float,
    n_background: npt.ArrayLike,
    background_time_s: float,
    *,
    factor: float = 1.0,
    relative_u_factor: float = 0.0,
) -> FloatArray:
    """Standard uncertainty ũ(ỹ) that the estimate would have at the true value ỹ; parameters as `net_estimates`."""
    true, background = np.asarray(true_value, float), np.asarray(n_background, float)
    gross_rate = true / factor + background / background_time_s
    variance = gross_rate / gross_time_s + background / background_time_s**2
    return np.sqrt(factor**2 * variance + (true * relative_u_factor) ** 2)
