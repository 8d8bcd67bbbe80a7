"""The state of the integration: amounts, enthalpy and every cumulated loss; temperature and volume follow from it.

Enthalpy, not temperature, is a state, and so is every cumulated flow: only then do the balances of the
elements, of charge and of enthalpy close to rounding (a Runge-Kutta step keeps linear sums exactly).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from truekev.bench.solution import density_g_cm3, heat_capacity_j_g_k
from truekev.bench.stoichiometry import FARADAY_C_MOL, enthalpy_j_mol, molar_mass_g_mol

__all__ = ["STATE_NAMES", "STATE_SCALE", "Bath", "balances", "bath_of", "state_index"]

# Amounts in mol, energies in J, charge in C. "out" and "in" are cumulated flows through the surface.
STATE_NAMES = (
    "tungsten_anode tungsten_fines thoria_anode thoria_loose hydroxide tungstate carbonate sodium water "
    "enthalpy_j hydrogen_out oxygen_out vapour_out carbon_dioxide_in mist_sodium mist_hydroxide mist_tungstate "
    "mist_carbonate mist_water mist_thoria charge_c electrical_j heat_lost_j streams_out_j water_added "
    "water_added_j tungstate_solid"
).split()
state_index: dict[str, int] = {name: i for i, name in enumerate(STATE_NAMES)}
# Absolute tolerances are a millionth of these.
STATE_SCALE = np.array([1e4 if name.endswith(("_j", "_c")) else 1.0 for name in STATE_NAMES])

REFERENCE_DEGC = 25.0
_TUNGSTEN_J_MOL_K, _THORIA_J_MOL_K = 24.3, 61.8
# Crystals are the dihydrate; their heat of solution is small and left out, their heat capacity is an estimate.
_CRYSTAL_J_MOL_K, CRYSTAL_L_MOL = 220.0, 329.85 / 3259.0
H_OH, H_NA, H_WO4, H_CO3 = (enthalpy_j_mol(f) for f in ("OH-", "Na+", "WO4(2-)", "CO3(2-)"))
H_H2O, H_THO2, H_CO2, H_VAPOUR = (enthalpy_j_mol(f) for f in ("H2O", "ThO2", "CO2", "H2O(g)"))
_M_NAOH, _M_WATER = molar_mass_g_mol("NaOH"), molar_mass_g_mol("H2O")
H_CRYSTAL = 2 * H_NA + H_WO4 + 2 * H_H2O
_CRYSTALS = state_index["tungstate_solid"]
_M_NA2WO4, _M_NA2CO3 = molar_mass_g_mol("Na2WO4"), molar_mass_g_mol("Na2CO3")


class Bath(NamedTuple):
    """What follows from a state: temperature, volume, concentrations."""

    temperature_degc: float
    mass_g: float
    volume_l: float
    hydroxide_mol_l: float
    tungstate_mol_l: float
    carbonate_mol_l: float
    water_g: float
    heat_capacity_j_k: float
    solids_j_k: float
    level_l: float


def _solids_j_k(tungsten: float, thoria: float, crystals: float) -> float:
    return tungsten * _TUNGSTEN_J_MOL_K + thoria * _THORIA_J_MOL_K + crystals * _CRYSTAL_J_MOL_K


def liquid_heat_capacity_j_k(hydroxide: float, tungstate: float, carbonate: float, water: float) -> float:
    """Heat capacity of the liquid [J/K] from amounts [mol]; taken at 30 degC so that it depends on composition
    alone.
    """
    m_naoh, m_w, m_c, m_h2o = hydroxide * _M_NAOH, tungstate * _M_NA2WO4, carbonate * _M_NA2CO3, water * _M_WATER
    mass = m_naoh + m_w + m_c + m_h2o
    return mass * heat_capacity_j_g_k(m_naoh / mass, m_w / mass, m_c / mass, 30.0)


def bath_of(y: list[float], vessel_j_k: float) -> Bath:
    """Temperature, volume and concentrations of a state; `vessel_j_k` is the heat capacity of vessel and basket."""
    w_anode, w_fines, th_anode, th_loose, oh, wo4, co3, na, water, enthalpy = y[:10]
    crystals = y[_CRYSTALS]
    m_naoh, m_w, m_c, m_h2o = oh * _M_NAOH, wo4 * _M_NA2WO4, co3 * _M_NA2CO3, water * _M_WATER
    mass = max(m_naoh + m_w + m_c + m_h2o, 1e-6)
    x_naoh, x_w, x_c = m_naoh / mass, m_w / mass, m_c / mass
    solids = _solids_j_k(w_anode + w_fines, th_anode + th_loose, crystals)
    capacity = mass * heat_capacity_j_g_k(x_naoh, x_w, x_c, 30.0) + vessel_j_k + solids
    formation = oh * H_OH + wo4 * H_WO4 + co3 * H_CO3 + na * H_NA + water * H_H2O
    formation += (th_anode + th_loose) * H_THO2 + crystals * H_CRYSTAL
    temperature = REFERENCE_DEGC + (enthalpy - formation) / capacity
    volume = mass / density_g_cm3(x_naoh, x_w, x_c, min(max(temperature, -20.0), 150.0)) / 1000.0
    return Bath(
        temperature,
        mass,
        volume,
        oh / volume,
        wo4 / volume,
        co3 / volume,
        m_h2o,
        capacity,
        solids,
        volume + crystals * CRYSTAL_L_MOL,
    )


def enthalpy_of(y: list[float], temperature_degc: float, vessel_j_k: float) -> float:
    """Enthalpy [J] of a state's contents at a temperature; the inverse of the temperature in `bath_of`."""
    w_anode, w_fines, th_anode, th_loose, oh, wo4, co3, na, water = y[:9]
    crystals = y[_CRYSTALS]
    solids = _solids_j_k(w_anode + w_fines, th_anode + th_loose, crystals)
    capacity = liquid_heat_capacity_j_k(oh, wo4, co3, water) + vessel_j_k + solids
    formation = oh * H_OH + wo4 * H_WO4 + co3 * H_CO3 + na * H_NA + water * H_H2O
    formation += (th_anode + th_loose) * H_THO2 + crystals * H_CRYSTAL
    return formation + capacity * (temperature_degc - REFERENCE_DEGC)


def balances(states: npt.NDArray[np.float64], vessel_j_k: float) -> dict[str, float]:
    """Largest departure of each balance over all states, relative to its largest term.

    Parameters
    ----------
    states : ndarray, shape (n, len(STATE_NAMES))
        States of one run in order; the first is the start.
    vessel_j_k : float
        Heat capacity of vessel and basket [J/K].

    Returns
    -------
    dict
        For Na, W, Th, C, H, O, charge (electrons through the cell, and ions in the bath) and enthalpy. The enthalpy
        of the contents is computed anew from temperature and composition.
    """
    s = {name: states[:, i] for name, i in state_index.items()}
    ions = s["sodium"] - s["hydroxide"] - 2 * s["tungstate"] - 2 * s["carbonate"]
    contents = np.array(
        [enthalpy_of(list(y), bath_of(list(y), vessel_j_k).temperature_degc, vessel_j_k) for y in states]
    )
    f = FARADAY_C_MOL
    crystals = s["tungstate_solid"]
    dissolved = s["tungstate"] + s["mist_tungstate"] + crystals
    terms = {
        "Na": [s["sodium"], s["mist_sodium"], 2 * crystals],
        "W": [s["tungsten_anode"], s["tungsten_fines"], s["tungstate"], s["mist_tungstate"], crystals],
        "Th": [s["thoria_anode"], s["thoria_loose"], s["mist_thoria"]],
        "C": [s["carbonate"], s["mist_carbonate"], -s["carbon_dioxide_in"]],
        "H": [
            s["hydroxide"],
            2 * s["water"],
            2 * s["hydrogen_out"],
            2 * s["vapour_out"],
            s["mist_hydroxide"],
            2 * s["mist_water"],
            4 * crystals,
            -2 * s["water_added"],
        ],
        "O": [
            s["hydroxide"],
            4 * s["tungstate"],
            3 * s["carbonate"],
            s["water"],
            2 * (s["thoria_anode"] + s["thoria_loose"] + s["mist_thoria"]),
            2 * s["oxygen_out"],
            s["vapour_out"],
            s["mist_hydroxide"],
            4 * s["mist_tungstate"],
            3 * s["mist_carbonate"],
            s["mist_water"],
            6 * crystals,
            -2 * s["carbon_dioxide_in"],
            -s["water_added"],
        ],
        "charge at the anode": [s["charge_c"], -6 * f * dissolved, -4 * f * s["oxygen_out"]],
        "charge at the cathode": [s["charge_c"], -2 * f * s["hydrogen_out"]],
        "charge of the ions": [ions - ions[0], s["sodium"] * 0 + s["sodium"][0]],
        "enthalpy": [contents, s["heat_lost_j"], s["streams_out_j"], -s["electrical_j"], -s["water_added_j"]],
    }
    worst = {}
    for name, parts in terms.items():
        total = np.sum(parts, axis=0)
        scale = max(float(np.max(np.abs(parts))), 1e-30)
        worst[name] = float(np.max(np.abs(total - total[0]))) / scale
    return worst
