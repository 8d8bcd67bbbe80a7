"""Settling of grains: terminal velocity (package `fluids`), hindered settling, times, and what a filter holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.bench.solution import hydroxide_density_g_cm3, hydroxide_viscosity_mpa_s, viscosity_mpa_s
from truekev.errors import OutOfRangeError
from truekev.sources.stock import THORIA_G_CM3

__all__ = [
    "CALCIUM_TUNGSTATE_G_CM3",
    "Liquid",
    "SettlingRow",
    "end_liquor",
    "filter_holds",
    "hindered_velocity_m_s",
    "richardson_zaki_exponent",
    "settling_table",
    "settling_velocity_m_s",
    "water_20_degc",
]

CALCIUM_TUNGSTATE_G_CM3 = 6.06
_GRAVITY_M_S2 = 9.80665
# Retention of filter papers [µm]: names of the trade, common practice, no source.
FILTERS = {"coarse paper": 20.0, "medium paper": 10.0, "fine paper": 2.5, "membrane 0.45 µm": 0.45}


@dataclass(frozen=True)
class Liquid:
    """A liquid to settle in: name, density [g/cm3], viscosity [mPa s]."""

    name: str
    density_g_cm3: float
    viscosity_mpa_s: float


def water_20_degc() -> Liquid:
    """Water at 20 degC."""
    return Liquid("water", 0.9982, 1.002)


def hydroxide_liquid(mass_percent: float) -> Liquid:
    """Sodium hydroxide solution at 20 degC, from the handbook's table."""
    return Liquid(
        f"{mass_percent:g} % sodium hydroxide",
        hydroxide_density_g_cm3(mass_percent),
        hydroxide_viscosity_mpa_s(mass_percent),
    )


def end_liquor(
    density_g_cm3: float, tungstate_mol_l: float, hydroxide_fraction: float, tungstate_fraction: float
) -> Liquid:
    """Spent bath at 20 degC; the viscosity carries our estimate for tungstate (30 %)."""
    return Liquid(
        "end liquor",
        density_g_cm3,
        viscosity_mpa_s(hydroxide_fraction, tungstate_fraction, 0.0, 20.0, tungstate_mol_l),
    )


def settling_velocity_m_s(grain_um: float, grain_g_cm3: float, liquid: Liquid) -> float:
    """Terminal velocity of a sphere [m/s]: Stokes where it holds, drag correlations beyond.

    Raises
    ------
    OutOfRangeError
        A size that is not positive, or a grain no denser than the liquid.
    """
    from fluids import v_terminal

    if not (math.isfinite(grain_um) and grain_um > 0):
        raise OutOfRangeError(f"grain size of {grain_um!r} µm: it must be above zero.")
    if grain_g_cm3 <= liquid.density_g_cm3:
        raise OutOfRangeError(
            f"a grain of {grain_g_cm3:g} g/cm³ does not sink in {liquid.name} of {liquid.density_g_cm3:g} g/cm³."
        )
    viscosity = liquid.viscosity_mpa_s * 1e-3
    stokes = _GRAVITY_M_S2 * (grain_g_cm3 - liquid.density_g_cm3) * 1000 * (grain_um * 1e-6) ** 2 / (18 * viscosity)
    reynolds = stokes * liquid.density_g_cm3 * 1000 * grain_um * 1e-6 / viscosity
    if reynolds < 0.01:
        return stokes
    return float(v_terminal(D=grain_um * 1e-6, rhop=grain_g_cm3 * 1000, rho=liquid.density_g_cm3 * 1000, mu=viscosity))


def richardson_zaki_exponent(reynolds: float) -> float:
    """Exponent of hindered settling: 4.65 at low, 2.39 at high Reynolds number (Richardson and Zaki 1954, from
    memory).
    """
    if reynolds < 0.2:
        return 4.65
    if reynolds < 1.0:
        return 4.35 * math.pow(reynolds, -0.03)
    if reynolds < 500.0:
        return 4.45 * math.pow(reynolds, -0.1)
    return 2.39


def hindered_velocity_m_s(terminal_m_s: float, solids_fraction: float, exponent: float = 4.65) -> float:
    """Settling velocity in a crowd, v (1 - c)**n [m/s]."""
    if not 0 <= solids_fraction < 1:
        raise OutOfRangeError(f"solids fraction {solids_fraction!r}: it must be from 0 to below 1.")
    return terminal_m_s * math.pow(1.0 - solids_fraction, exponent)


@dataclass(frozen=True)
class SettlingRow:
    """Settling of one grain size in one liquid: velocity, and the time for the height of the beaker."""

    liquid: str
    grain_um: float
    velocity_m_s: float
    hours: float


def settling_table(
    liquids: tuple[Liquid, ...], height_mm: float, grains_um: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
) -> tuple[SettlingRow, ...]:
    """Times for thoria grains to sink `height_mm` in each liquid. Grains of electrodes behave as 1.5 to 4 µm."""
    rows = []
    for liquid in liquids:
        for grain in grains_um:
            velocity = settling_velocity_m_s(grain, THORIA_G_CM3, liquid)
            rows.append(SettlingRow(liquid.name, grain, velocity, height_mm / 1000 / velocity / 3600))
    return tuple(rows)


def filter_holds(grain_um: float) -> dict[str, bool]:
    """Which filters hold a grain of that size; coarse papers pass thoria."""
    return {name: grain_um >= retention for name, retention in FILTERS.items()}
