"""What the reactions of the bench use and make, per gram of tungsten, per ampere-hour, per gram of salt.

Anode W + 8 OH- -> WO4(2-) + 4 H2O + 6 e-; cathode 6 H2O + 6 e- -> 3 H2 + 6 OH-;
together W + 2 OH- + 2 H2O -> WO4(2-) + 3 H2.
"""

from __future__ import annotations

from functools import cache

from truekev.sources.stock import th232_bq_of_oxide
from truekev.tables.loader import table_rows

__all__ = [
    "CALCIUM_SALTS",
    "ELECTRONS_PER_TUNGSTEN",
    "FARADAY_C_MOL",
    "GAS_CONSTANT_J_MOL_K",
    "PRESSURE_PA",
    "calcium_salt_g",
    "charge_ah",
    "enthalpy_j_mol",
    "gas_litres",
    "hydrogen_l",
    "hydroxide_net_g",
    "mol",
    "molar_mass_g_mol",
    "thoria_activity_bq",
    "tungsten_g",
]

FARADAY_C_MOL = 96485.33212
GAS_CONSTANT_J_MOL_K = 8.314462618
PRESSURE_PA = 101325.0
ELECTRONS_PER_TUNGSTEN = 6

# Calcium salts that the waste step offers. The fertiliser "calcium nitrate" holds ammonium and is not one.
CALCIUM_SALTS = ("calcium chloride", "calcium chloride dihydrate", "calcium nitrate tetrahydrate")


@cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["formula"]: row for row in table_rows("bench_substances.csv")}


@cache
def molar_mass_g_mol(formula: str) -> float:
    """Molar mass [g/mol] of a substance of the table `bench_substances.csv`."""
    return float(_rows()[formula]["molar_mass_g_mol"])


@cache
def enthalpy_j_mol(formula: str) -> float:
    """Standard enthalpy of formation at 25 degC [J/mol]; the table has it for all that takes part in heat balances."""
    return 1000.0 * float(_rows()[formula]["formation_enthalpy_kj_mol"])


def mol(mass_g: float, formula: str) -> float:
    """Amount of substance [mol] in `mass_g` grams."""
    return mass_g / molar_mass_g_mol(formula)


def charge_ah(tungsten_mass_g: float) -> float:
    """Charge that dissolves `tungsten_mass_g` if nothing else happens at the anode [Ah]."""
    return mol(tungsten_mass_g, "W") * ELECTRONS_PER_TUNGSTEN * FARADAY_C_MOL / 3600.0


def tungsten_g(charge_c: float) -> float:
    """Most tungsten that the charge [C] can have dissolved [g]; an upper bound, oxygen may have been made instead."""
    return charge_c / (ELECTRONS_PER_TUNGSTEN * FARADAY_C_MOL) * molar_mass_g_mol("W")


def hydroxide_net_g(tungsten_mass_g: float) -> float:
    """Sodium hydroxide used up by the whole cell (2 mol per mol W; the cathode gives 6 of 8 back) [g]."""
    return 2.0 * mol(tungsten_mass_g, "W") * molar_mass_g_mol("NaOH")


def gas_litres(amount_mol: float, temperature_degc: float = 25.0) -> float:
    """Volume of an ideal gas at 101.325 kPa [L]."""
    return 1000.0 * amount_mol * GAS_CONSTANT_J_MOL_K * (temperature_degc + 273.15) / PRESSURE_PA


def hydrogen_l(charge_c: float, temperature_degc: float = 25.0) -> float:
    """Hydrogen that the charge [C] makes at the cathode [L]."""
    return gas_litres(charge_c / (2.0 * FARADAY_C_MOL), temperature_degc)


def calcium_salt_g(calcium_mol: float, salt: str) -> float:
    """Mass [g] of one of CALCIUM_SALTS that brings `calcium_mol` of calcium."""
    formulas = {
        "calcium chloride": "CaCl2",
        "calcium chloride dihydrate": "CaCl2.2H2O",
        "calcium nitrate tetrahydrate": "Ca(NO3)2.4H2O",
    }
    return calcium_mol * molar_mass_g_mol(formulas[salt])


def thoria_activity_bq(thoria_mass_g: float) -> float:
    """Activity of Th-232 in a mass of thoria [Bq]."""
    return th232_bq_of_oxide(thoria_mass_g).value
