"""Properties of the bath: sodium hydroxide with tungstate and carbonate in water.

Density and heat capacity follow Laliberté (2009) through the package `thermo`, with coefficients from the
program's table (the package's own look-up loads a data frame each time). Its viscosity has no coefficients for
sodium tungstate and returns NaN there: the tungstate's part is an estimate of ours instead.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from functools import cache, lru_cache

from truekev.bench.stoichiometry import molar_mass_g_mol
from truekev.tables.loader import table_rows

__all__ = [
    "bath_conductivity_s_cm",
    "boiling_point_degc",
    "density_g_cm3",
    "heat_capacity_j_g_k",
    "hydroxide_conductivity_s_cm",
    "hydroxide_density_g_cm3",
    "hydroxide_molarity_mol_l",
    "hydroxide_viscosity_mpa_s",
    "tungstate_solubility_g_per_100g_water",
    "vapour_pressure_pa",
    "viscosity_mpa_s",
    "water_activity",
]

# Tungstate thickens the bath: factor exp(0.40 per mol/L), so that end liquor of 1.55 mol/L has about 2.6 mPa s
# (from memory).
_TUNGSTATE_THICKENING_L_MOL = 0.40
# Tungstate lowers the conductivity: divide by 1 + 0.3 per mol/L (from memory; band of +-0.05 S/cm on the result).
_TUNGSTATE_HINDRANCE_L_MOL = 0.30
_CONDUCTIVITY_PER_K = 0.015  # from memory
_MAX_SOLUTE_FRACTION = 0.65  # beyond it the correlations run away; all callers end a run long before


@cache
def _coefficients(kind: str, count: int, first: int) -> list[list[float]]:
    rows = [r for r in table_rows("electrolyte_properties.csv") if r["formula"] in ("NaOH", "Na2WO4", "Na2CO3")]
    return [[float(row[f"{kind}{i}"]) for row in rows] for i in range(first, first + count)]


def _bounded(fractions: tuple[float, float, float]) -> list[float]:
    total = sum(fractions)
    scale = _MAX_SOLUTE_FRACTION / total if total > _MAX_SOLUTE_FRACTION else 1.0
    return [max(f, 0.0) * scale for f in fractions]


def density_g_cm3(hydroxide: float, tungstate: float, carbonate: float, temperature_degc: float) -> float:
    """Density [g/cm3] at the mass fractions of NaOH, Na2WO4 and Na2CO3 (0 to 1).

    References
    ----------
    Laliberté (2009), doi:10.1021/je8008123. Checked by tests/published/test_laliberte_electrolytes.py.
    """
    from thermo.electrochem import Laliberte_density_mix

    fractions = _bounded((hydroxide, tungstate, carbonate))
    return float(Laliberte_density_mix(temperature_degc + 273.15, fractions, *_coefficients("c", 5, 0))) / 1000.0


def heat_capacity_j_g_k(hydroxide: float, tungstate: float, carbonate: float, temperature_degc: float) -> float:
    """Heat capacity [J/(g K)] at the mass fractions of NaOH, Na2WO4 and Na2CO3.

    Notes
    -----
    Fitted to tungstate of a few percent only; held above 2.4 J/(g K), below which no such bath lies.
    """
    from thermo.electrochem import Laliberte_heat_capacity_i

    kelvin = temperature_degc + 273.15
    fractions = _bounded((hydroxide, tungstate, carbonate))
    water = 1.0 - sum(fractions)
    value = water * _water_heat_capacity_j_kg_k(kelvin)
    for fraction, coefficients in zip(fractions, _heat_coefficients(), strict=True):
        if fraction > 0.0:
            value += fraction * float(Laliberte_heat_capacity_i(kelvin, water, *coefficients))
    return max(value / 1000.0, 2.4)


@cache
def _heat_coefficients() -> tuple[tuple[float, ...], ...]:
    return tuple(zip(*_coefficients("a", 6, 1), strict=True))


@lru_cache(maxsize=64)
def _water_heat_capacity_j_kg_k(kelvin: float) -> float:
    from thermo.electrochem import Laliberte_heat_capacity_w

    return float(Laliberte_heat_capacity_w(kelvin))


def viscosity_mpa_s(
    hydroxide: float, tungstate: float, carbonate: float, temperature_degc: float, tungstate_mol_l: float
) -> float:
    """Viscosity [mPa s]: Laliberté for hydroxide and carbonate, times our estimate for tungstate (30 %)."""
    from thermo.electrochem import Laliberte_viscosity_mix

    rows = {row["formula"]: row for row in table_rows("electrolyte_properties.csv")}
    rest = max(1.0 - tungstate, 0.2)
    fractions = _bounded((hydroxide / rest, 0.0, carbonate / rest))
    columns = [[float(rows[salt][f"v{i}"]) for salt in ("NaOH", "Na2CO3")] for i in range(1, 7)]
    base = float(Laliberte_viscosity_mix(temperature_degc + 273.15, [fractions[0], fractions[2]], *columns))
    return 1000.0 * base * math.exp(_TUNGSTATE_THICKENING_L_MOL * tungstate_mol_l)


@cache
def _column(table: str, x: str, y: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    rows = [row for row in table_rows(table) if row[y]]
    return tuple(float(row[x]) for row in rows), tuple(float(row[y]) for row in rows)


def _between(x: float, xs: tuple[float, ...], ys: tuple[float, ...]) -> float:
    """Linear between rows, the end values outside; for single numbers several times faster than numpy."""
    i = bisect_right(xs, x)
    if i == 0:
        return ys[0]
    if i == len(xs):
        return ys[-1]
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])


def hydroxide_density_g_cm3(mass_percent: float) -> float:
    """Density of sodium hydroxide solution at 20 degC [g/cm3], between the rows of the handbook, 0 to 40 %."""
    x, y = _column("sodium_hydroxide_solution.csv", "mass_percent", "density_g_cm3")
    return _between(mass_percent, (0.0, *x), (0.9982, *y))


def hydroxide_viscosity_mpa_s(mass_percent: float) -> float:
    """Viscosity of sodium hydroxide solution at 20 degC [mPa s], between the rows of the handbook (in its
    logarithm).
    """
    x, y = _column("sodium_hydroxide_solution.csv", "mass_percent", "viscosity_mpa_s")
    return math.exp(_between(mass_percent, (0.0, *x), tuple(math.log(v) for v in (1.002, *y))))


def hydroxide_molarity_mol_l(mass_percent: float) -> float:
    """Molarity of sodium hydroxide solution at 20 degC [mol/L] from the handbook's density."""
    return 10.0 * mass_percent * hydroxide_density_g_cm3(mass_percent) / molar_mass_g_mol("NaOH")


def boiling_point_degc(hydroxide: float) -> float:
    """Boiling point at 101.325 kPa [degC] at a mass fraction of NaOH in (water + NaOH)."""
    x, y = _column("sodium_hydroxide_boiling_point.csv", "mass_percent", "boiling_point_degc")
    return _between(100.0 * hydroxide, x, y)


def hydroxide_conductivity_s_cm(mass_percent: float) -> float:
    """Conductivity of sodium hydroxide solution at 20 degC [S/cm]; above 5 % from memory (12 %)."""
    x, y = _column("sodium_hydroxide_conductivity.csv", "mass_percent", "conductivity_ms_cm")
    return _between(mass_percent, x, y) / 1000.0


_PERCENT_GRID = tuple(float(p) for p in range(41))


@cache
def _molarity_grid() -> tuple[float, ...]:
    return tuple(hydroxide_molarity_mol_l(p) for p in _PERCENT_GRID)


def bath_conductivity_s_cm(hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float) -> float:
    """Conductivity of the bath [S/cm], ± 0.05 (from memory): about 0.40 at 5 mol/L hydroxide, 0.23 at 2 with
    tungstate.
    """
    percent = _between(hydroxide_mol_l, _molarity_grid(), _PERCENT_GRID)
    # The tungstate's own ions carry current when the hydroxide is gone: about 60 S cm2 per mole of charge.
    own = 0.06 * min(tungstate_mol_l, 1.5) / (1.0 + tungstate_mol_l)
    warm = 1.0 + _CONDUCTIVITY_PER_K * (temperature_degc - 20.0)
    kappa = hydroxide_conductivity_s_cm(percent) / (1.0 + _TUNGSTATE_HINDRANCE_L_MOL * tungstate_mol_l)
    return max((kappa + own) * max(warm, 0.5), 1e-3)


def vapour_pressure_pa(temperature_degc: float) -> float:
    """Vapour pressure of pure water [Pa], 0 to 100 degC (Buck 1981 with the 1996 coefficients; 0.1 %)."""
    t = temperature_degc
    return 611.21 * math.exp((18.678 - t / 234.5) * (t / (257.14 + t)))


def water_activity(hydroxide_mol_kg: float, tungstate_mol_kg: float, carbonate_mol_kg: float) -> float:
    """Activity of water in the bath (0 to 1), from molalities.

    Notes
    -----
    Hydroxide: through the boiling points of Olsson et al., taken to hold at lower temperature too (5 %). Tungstate
    and carbonate: three ions at an osmotic coefficient of 0.8 (from memory).
    """
    grams = hydroxide_mol_kg * molar_mass_g_mol("NaOH")
    boiling = boiling_point_degc(grams / (1000.0 + grams))
    of_hydroxide = vapour_pressure_pa(100.0) / vapour_pressure_pa(boiling)
    of_salts = math.exp(-0.018015 * 0.8 * 3.0 * (tungstate_mol_kg + carbonate_mol_kg))
    return of_hydroxide * of_salts


def tungstate_solubility_g_per_100g_water(temperature_degc: float) -> float:
    """Sodium tungstate that pure water holds [g per 100 g water]: an upper bound in caustic, where the common ion
    lowers it.
    """
    x, y = _column("sodium_tungstate_solubility.csv", "temperature_degc", "solute_percent_of_solution")
    percent = _between(temperature_degc, x, y)
    return 100.0 * percent / (100.0 - percent)
