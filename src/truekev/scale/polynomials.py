"""Polynomials beside the light model: for comparison, and for the instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.scale.energy_scale import EnergyScale, UsedGroup

__all__ = ["InstrumentPolynomial", "PeakPolynomial", "instrument_polynomial", "peak_polynomials"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class InstrumentPolynomial:
    """E/keV = sum of c_k * ch**k, the best approximation to a scale over a range.

    Parameters
    ----------
    degree : int
    coefficients_kev : tuple of float
        c_0 first; channel i is its middle, as everywhere in this program.
    low_kev, high_kev : float
        The range it was made for.
    largest_error_kev, at_kev : float
        Its largest departure from the scale in that range, and where.
    """

    degree: int
    coefficients_kev: tuple[float, ...]
    low_kev: float
    high_kev: float
    largest_error_kev: float
    at_kev: float


def instrument_polynomial(
    scale: EnergyScale, degree: int, *, low_kev: float = 30.0, high_kev: float = 2700.0
) -> InstrumentPolynomial:
    """The polynomial of a degree whose largest error relative to sqrt(E) is least.

    The weight follows peak widths: an error counts where it is large beside a peak. Found by iterated
    reweighting (Lawson 1961), which tends to the minimax polynomial.

    Raises
    ------
    OutOfRangeError
        Degree outside 1 to 3, or no part of the range within the spectrum.
    """
    if degree not in (1, 2, 3):
        raise OutOfRangeError(f"degree {degree}: instruments take polynomials of degree 1, 2 or 3.")
    top = float(scale.edges_kev()[-1])
    high_kev = min(high_kev, top)
    low_kev = max(low_kev, float(scale.edges_kev()[0]), 1.0)
    if high_kev <= low_kev:
        raise OutOfRangeError(f"the spectrum covers no energy between {low_kev:.0f} and {high_kev:.0f} keV.")
    energy = np.geomspace(low_kev, high_kev, 400)
    channel = scale.channel(energy)
    unit = float(channel.max())
    vander = np.polynomial.polynomial.polyvander(channel / unit, degree)
    tolerance = np.sqrt(energy)
    weight = np.full(energy.size, 1.0 / energy.size)
    for _ in range(300):
        root = np.sqrt(weight) / tolerance
        solution, *_ = np.linalg.lstsq(vander * root[:, None], energy * root, rcond=None)
        error = np.abs(vander @ solution - energy) / tolerance
        weight = weight * np.maximum(error, 1e-3 * error.max())
        weight /= weight.sum()
    departure = vander @ solution - energy
    worst = int(np.argmax(np.abs(departure)))
    return InstrumentPolynomial(
        degree,
        tuple(float(c) / unit**k for k, c in enumerate(solution)),
        low_kev,
        high_kev,
        float(departure[worst]),
        float(energy[worst]),
    )


@dataclass(frozen=True)
class PeakPolynomial:
    """A polynomial through the groups alone, as bench habit does it.

    Parameters
    ----------
    degree : int
    coefficients_kev : tuple of float
        Empty where there are too few groups.
    chi2, dof
        Weighted sum of squares of the groups, and degrees of freedom.
    """

    degree: int
    coefficients_kev: tuple[float, ...]
    chi2: float
    dof: int

    def energy_kev(self, channel: npt.ArrayLike) -> Array:
        """Energy [keV] at a pulse coordinate."""
        return np.asarray(
            np.polynomial.polynomial.polyval(np.asarray(channel, float), self.coefficients_kev), dtype=np.float64
        )


def peak_polynomials(groups: Sequence[UsedGroup], scale: EnergyScale) -> tuple[PeakPolynomial, ...]:
    """Polynomials of degree 1 to 3 through the used groups, weighted by their uncertainty."""
    used = [g for g in groups if g.used]
    channel = np.array([g.channel for g in used])
    energy = np.array([g.energy_kev for g in used])
    result = []
    for degree in (1, 2, 3):
        if len(used) <= degree:
            result.append(PeakPolynomial(degree, (), 0.0, len(used) - degree - 1))
            continue
        slope = scale.pulse.slope_per_kev(energy)
        u = np.hypot(np.array([g.u_channel for g in used]) / slope, [g.u_energy_kev for g in used])
        unit = float(channel.max())
        vander = np.polynomial.polynomial.polyvander(channel / unit, degree)
        solution, *_ = np.linalg.lstsq(vander / u[:, None], energy / u, rcond=None)
        chi2 = float(np.sum(((vander @ solution - energy) / u) ** 2))
        coefficients = tuple(float(c) / unit**k for k, c in enumerate(solution))
        result.append(PeakPolynomial(degree, coefficients, chi2, len(used) - degree - 1))
    return tuple(result)
