"""How the gain goes with temperature: a weighted straight line, and what it predicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import RefusedError
from truekev.quantity import Measured

__all__ = ["TemperatureLine", "predicted_change", "temperature_line"]

_LEAST_DIFFERENT = 3
_SAME_DEGC = 0.05


@dataclass(frozen=True)
class TemperatureLine:
    """ln of the gain against temperature.

    Parameters
    ----------
    percent_per_degc : Measured
    at_degc : float
        Weighted mean temperature.
    spread : float
        Scatter about the line over what the uncertainties allow; above one it widened the uncertainty.
    """

    percent_per_degc: Measured
    at_degc: float
    spread: float


def temperature_line(degc: npt.ArrayLike, log_gain: npt.ArrayLike, u_log_gain: npt.ArrayLike) -> TemperatureLine:
    """Weighted straight line of ln g against temperature [°C].

    Raises
    ------
    RefusedError
        Fewer than three different temperatures.
    """
    t, y, u = (np.asarray(values, dtype=np.float64) for values in (degc, log_gain, u_log_gain))
    known = np.isfinite(t) & np.isfinite(y) & np.isfinite(u) & (u > 0)
    t, y, u = t[known], y[known], u[known]
    n_different = 1 + int((np.diff(np.sort(t)) > _SAME_DEGC).sum()) if t.size else 0
    if n_different < _LEAST_DIFFERENT:
        raise RefusedError(
            f"{n_different} different temperatures tell no coefficient; {_LEAST_DIFFERENT} are needed.",
            "count at other temperatures as well.",
        )
    weight = 1.0 / u**2
    middle = float(weight @ t / weight.sum())
    off = t - middle
    slope = float(weight @ (off * y) / (weight @ off**2))
    level = float(weight @ y / weight.sum())
    chi2 = float(weight @ (y - level - slope * off) ** 2)
    spread = float(np.sqrt(chi2 / max(t.size - 2, 1)))
    u_slope = float((weight @ off**2) ** -0.5) * max(spread, 1.0)
    return TemperatureLine(Measured(100.0 * slope, 100.0 * u_slope, "%/°C"), middle, spread)


def predicted_change(coefficient: Measured, from_degc: float, to_degc: float, u_degc: float) -> Measured:
    """Change of the gain [%] from one temperature to another; each reading known to `u_degc`.

    `coefficient` is in %/°C of ln g.
    """
    step = to_degc - from_degc
    change = 100.0 * float(np.expm1(coefficient.value * step / 100.0))
    u = float(np.hypot(step * coefficient.u, np.sqrt(2.0) * u_degc * coefficient.value))
    return Measured(change, u * (1.0 + change / 100.0), "%")
