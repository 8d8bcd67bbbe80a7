"""Air kerma and dose rates beside a source: photons of every line, and betas at contact.

Point source, no absorption in body or air: an upper estimate for photons. 1 Gy of air kerma counts as 1 Sv here
(ambient dose
equivalent is up to some 20 % higher between 60 and 700 keV).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.tables.loader import table_rows

__all__ = [
    "KermaConstant",
    "air_kerma_constant",
    "air_kerma_rate_ngy_h",
    "air_mu_en_rho_cm2_g",
    "beta_contact_msv_h",
]

_LOWEST_KEV = 20.0
_MEV_J = 1.602176634e-13
# Skin in contact with a millimetre of glass around about 4 kBq of Th-232 in equilibrium: 0.04 mSv/h, an estimate,
# factor 3.
_BETA_MSV_H_PER_BQ = 0.04 / 4000.0


@cache
def _air() -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    rows = [r for r in table_rows("air_energy_absorption.csv") if float(r["energy_mev"]) >= 0.005]
    energy = np.array([1000 * float(r["energy_mev"]) for r in rows])
    return np.log(energy), np.log([float(r["mu_en_rho_cm2_g"]) for r in rows])


@cache
def _air_curve() -> Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]:
    from scipy.interpolate import CubicSpline

    curve: Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]] = CubicSpline(*_air())
    return curve


def air_mu_en_rho_cm2_g(energy_kev: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Mass energy-absorption coefficient of dry air [cm2/g], 10 to 20,000 keV, between rows in both logarithms.

    References
    ----------
    NIST SRD 126. Checked by tests/published/test_nist_air_absorption.py.
    """
    energy = np.asarray(energy_kev, dtype=np.float64)
    if np.any(energy < 10.0) or np.any(energy > 20_000.0):
        raise OutOfRangeError("energy: the table of air runs from 10 to 20,000 keV.")
    return np.asarray(np.exp(_air_curve()(np.log(energy))), dtype=np.float64)


@dataclass(frozen=True)
class KermaConstant:
    """Air kerma rate of a point source per activity, and the nuclides' shares of it."""

    ugy_m2_h_mbq: Measured
    shares: Mapping[str, float]


@cache
def _of_one_bq(name: str) -> tuple[float, float]:
    """Air kerma rate at 1 m from 1 Bq of a nuclide, and its standard uncertainty from the intensities [Gy/s]."""
    lines = [line for line in photon_lines(name) if _LOWEST_KEV < line.energy_kev <= 20_000.0]
    if not lines:
        return 0.0, 0.0
    energy = np.array([line.energy_kev for line in lines])
    weight = energy / 1000 * _MEV_J * air_mu_en_rho_cm2_g(energy) * 0.1 / (4 * math.pi)
    intensity = np.array([line.intensity for line in lines])
    u = np.array([line.u_intensity for line in lines])
    return float(weight @ intensity), float(np.sqrt(((weight * u) ** 2).sum()))


def _per_nuclide_gy_m2_s(activities_bq: Mapping[str, float]) -> dict[str, tuple[float, float]]:
    """Air kerma rate at 1 m and its standard uncertainty from the intensities, by nuclide [Gy/s]."""
    ones = {name: _of_one_bq(name) for name, activity in activities_bq.items() if activity > 0}
    return {name: (rate * activities_bq[name], u * activities_bq[name]) for name, (rate, u) in ones.items() if rate > 0}


def air_kerma_constant(activities_bq: Mapping[str, float], per: str) -> KermaConstant:
    """Air kerma rate constant of a mixture, per activity of the nuclide `per` [µGy m2/(h MBq)].

    Photons above 20 keV, unshielded point. The uncertainty holds the intensities and 1 % of the table of air.
    """
    rates = _per_nuclide_gy_m2_s(activities_bq)
    total = sum(rate for rate, _ in rates.values())
    scale = 1e6 * 3600 * 1e6 / activities_bq[per]
    u = math.hypot(math.sqrt(sum(u * u for _, u in rates.values())), 0.01 * total)
    return KermaConstant(
        Measured(total * scale, u * scale, "µGy m²/(h MBq)"),
        {name: rate / total for name, (rate, _) in rates.items()} if total else {},
    )


def air_kerma_rate_ngy_h(activities_bq: Mapping[str, float], distance_cm: float) -> Measured:
    """Air kerma rate at a distance from a point [nGy/h]; closer than 1 cm the point is no model.

    Raises
    ------
    OutOfRangeError
        A distance below 1 cm or beyond 1 km.
    """
    if not (math.isfinite(distance_cm) and 1.0 <= distance_cm <= 1e5):
        raise OutOfRangeError(f"distance of {distance_cm:g} cm: from 1 cm to 1 km; closer the source is no point.")
    rates = _per_nuclide_gy_m2_s(activities_bq)
    total = sum(rate for rate, _ in rates.values())
    u = math.hypot(math.sqrt(sum(u * u for _, u in rates.values())), 0.01 * total)
    scale = 1e9 * 3600 / (distance_cm / 100) ** 2
    return Measured(total * scale, u * scale, "nGy/h")


def beta_contact_msv_h(th232_bq: float) -> tuple[float, float, float]:
    """Dose rate to skin that touches a vial with 1 mm of glass: estimate, and its band of a factor 3 [mSv/h].

    Thorium in equilibrium; high-energy betas of Ac-228, Bi-212 and Tl-208 pass the glass.
    """
    value = th232_bq * _BETA_MSV_H_PER_BQ
    return value, value / 3, 3 * value
