"""A number with its standard uncertainty and unit, and the rule by which it is printed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.errors import OutOfRangeError

__all__ = ["Measured"]


@dataclass(frozen=True)
class Measured:
    """A value, its standard uncertainty `u` (k = 1) and unit.

    Notes
    -----
    Printed after the rounding of the Guide to the Expression of Uncertainty in Measurement
    (JCGM 100:2008, 7.2.6): the uncertainty with two significant digits, the value to the same place.
    """

    value: float
    u: float
    unit: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise OutOfRangeError(
                f"value {self.value!r} with standard uncertainty {self.u!r} {self.unit}: both must be "
                "finite and the uncertainty not negative."
            )

    @property
    def relative_u(self) -> float:
        """Standard uncertainty over the absolute value; infinite for a value of zero."""
        return self.u / abs(self.value) if self.value else math.inf

    def __str__(self) -> str:
        number = _rounded(self.value, self.u)
        return f"{number} {self.unit}".rstrip()


def _rounded(value: float, u: float) -> str:
    if u == 0:
        return f"{value:.6g} (exact)"
    place = math.floor(math.log10(u)) - 1
    if round(u / 10.0**place) >= 100:
        place += 1
    if place > 0 and abs(value) < 1e7:
        return f"{round(value, -place):.0f} ± {round(u, -place):.0f}"
    if place > 0 or place < -7:
        exponent = math.floor(math.log10(max(abs(value), u)))
        digits = max(exponent - place, 0)
        scale = 10.0**exponent
        return f"({value / scale:.{digits}f} ± {u / scale:.{digits}f})e{exponent}"
    return f"{value:.{-place}f} ± {u:.{-place}f}"
