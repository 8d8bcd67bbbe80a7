"""Claimed energy scales: from polynomial text, from labels or edges, and moved between channel conventions."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from truekev.spectra.limits import MAX_ENERGY_KEV
from truekev.spectra.spectrum import ClaimedScale

__all__ = ["moved_coefficients", "polynomial_of_text", "polynomial_text", "scale_through", "usable_coefficients"]

_MAX_DEGREE = 4
_TERM = re.compile(
    r"\s*([+-]?)\s*([0-9]+\.?[0-9]*(?:[eE][+-]?[0-9]{1,3})?|\.[0-9]+(?:[eE][+-]?[0-9]{1,3})?)?"
    r"\s*[*·]?\s*(?:(ch(?:annel)?|x|i|n)\s*(?:(?:\^|\*\*)\s*([0-9]))?)?(?=\s|[+-]|$)",
    re.IGNORECASE,
)


def polynomial_of_text(text: str) -> tuple[float, ...] | None:
    """Coefficients, c_0 first, of text such as "1.9 + 9.46 ch + 0.0081 ch^2"; None if it is not one."""
    text = text.strip()
    text = re.sub(r"^E\s*(?:/\s*keV|\(\s*(?:ch|x|i)\s*\))?\s*=", "", text, flags=re.IGNORECASE).strip()
    coefficients: dict[int, float] = {}
    position = 0
    while position < len(text):
        match = _TERM.match(text, position)
        if match is None or match.end() == position:
            return None
        sign, number, channel, power = match.groups()
        if (number is None and channel is None) or (position > 0 and not sign):
            return None
        degree = int(power) if power else (1 if channel else 0)
        if degree in coefficients:
            return None
        coefficients[degree] = (-1 if sign == "-" else 1) * float(number if number is not None else "1")
        position = match.end()
        position += len(text[position:]) - len(text[position:].lstrip())
    if not coefficients or max(coefficients) == 0:
        return None
    return tuple(coefficients.get(k, 0.0) for k in range(max(coefficients) + 1))


def polynomial_text(coefficients_kev: Sequence[float]) -> str:
    """Coefficients as text that `polynomial_of_text` reads back exactly."""
    terms = [repr(float(coefficients_kev[0]))]
    for k, value in enumerate(coefficients_kev[1:], start=1):
        sign = "-" if math.copysign(1.0, value) < 0 else "+"
        terms.append(f"{sign} {abs(float(value))!r} ch" + (f"^{k}" if k > 1 else ""))
    return " ".join(terms)


def usable_coefficients(coefficients_kev: Sequence[float], n_channels: int) -> bool:
    """True where the polynomial is finite over all channels, is not constant and stays below 1 GeV."""
    if len(coefficients_kev) < 2 or len(coefficients_kev) > 10 or not np.all(np.isfinite(coefficients_kev)):
        return False
    if not any(coefficients_kev[1:]):
        return False
    with np.errstate(over="ignore", invalid="ignore"):
        ends = np.polynomial.polynomial.polyval(np.linspace(0.0, n_channels, 33), np.asarray(coefficients_kev))
    return bool(np.all(np.abs(ends) <= MAX_ENERGY_KEV))


def moved_coefficients(coefficients_kev: Sequence[float], by: float) -> tuple[float, ...]:
    """Coefficients of q with q(x) = p(x + by): the same scale counted from another origin of channels."""
    n = len(coefficients_kev)
    return tuple(
        math.fsum(coefficients_kev[k] * math.comb(k, j) * by ** (k - j) for k in range(j, n)) for j in range(n)
    )


def scale_through(
    coordinate: npt.NDArray[np.float64], energy_kev: npt.NDArray[np.float64], *, tolerance_kev: float, origin: str
) -> ClaimedScale | None:
    """The claimed scale that passes `energy_kev` at the pulse coordinates `coordinate`, both shape (n,).

    The polynomial of lowest degree (1 to 4) that reproduces every value to `tolerance_kev` (the rounding
    of the labels); where none does, the pairs themselves as points. None for fewer than two values.
    """
    if coordinate.size < 2:
        return None
    slope = (energy_kev[-1] - energy_kev[0]) / (coordinate[-1] - coordinate[0])
    coefficients: tuple[float, ...] = (float(energy_kev[0] - slope * coordinate[0]), float(slope))
    for degree in range(1, min(_MAX_DEGREE, coordinate.size - 1) + 1):
        # full=True keeps numpy from warning where few, far-apart labels leave a degree undetermined
        fit = np.polynomial.Polynomial.fit(coordinate, energy_kev, degree, full=True)[0].convert()
        if not usable_coefficients(fit.coef.tolist(), int(coordinate[-1]) + 1):
            break
        exact = tuple(fit.coef.tolist())
        # without the noise of the fit's last digits, where the labels do not need them
        for coefficients in (tuple(float(f"{c:.10g}") for c in exact), exact):
            polynomial = np.polynomial.Polynomial(coefficients)
            if np.max(np.abs(polynomial(coordinate) - energy_kev)) <= tolerance_kev:
                return ClaimedScale(coefficients, origin)
    points = tuple((float(x), float(e)) for x, e in zip(coordinate, energy_kev, strict=True))
    return ClaimedScale(coefficients, origin, points)
