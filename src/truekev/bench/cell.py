"""Voltage of the cell, the current that a voltage cap lets through, and the limiting current of the hydroxide.

Overpotentials, conductivity and diffusion coefficient are from memory (wide bands); the reversible voltage follows
from E0(WO4(2-)/W, alkaline) = -1.049 V, derived from the LLNL database.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.bench.settings import BatchSettings
from truekev.bench.solution import bath_conductivity_s_cm
from truekev.bench.stoichiometry import FARADAY_C_MOL, GAS_CONSTANT_J_MOL_K

__all__ = [
    "CellGeometry",
    "VoltageParts",
    "cell_geometry",
    "cell_voltage_v",
    "current_at_cap_a",
    "limiting_current_density_a_cm2",
    "reversible_voltage_v",
    "voltage_parts",
]

E0_TUNGSTATE_ALKALINE_V = -1.049
E0_WATER_ALKALINE_V = -0.828
_ANODE_OVERPOTENTIAL = (0.65, 0.10, 0.03)  # V at reference, V per decade, reference A/cm2; band 0.4 to 0.9 V
_CATHODE_OVERPOTENTIAL = (0.55, 0.12, 0.10)  # band 0.4 to 0.7 V on tungsten
_CONTACT_OHM = 0.2  # 0.1 to 0.5 V at 1.5 A
_DIFFUSION_CM2_S = 1.66e-5  # hydroxide; falls as tungstate thickens the bath; factor 2
_LAYER_CM = {"strong": 0.010, "gentle": 0.015, "none": 0.025}
_CONCENTRATION_V = 0.05
_OBSTRUCTION = 2.0  # gas and the walls of the basket lengthen the way of the current; from memory


@dataclass(frozen=True)
class CellGeometry:
    """What the voltage needs to know of the cell."""

    anode_area_cm2: float
    cathode_area_cm2: float
    gap_cm: float
    layer_cm: float


@dataclass(frozen=True)
class VoltageParts:
    """The cell voltage in parts [V]."""

    reversible_v: float
    anode_v: float
    cathode_v: float
    bath_v: float
    contacts_v: float
    concentration_v: float

    @property
    def total_v(self) -> float:
        """Sum of all parts [V]."""
        return (
            self.reversible_v + self.anode_v + self.cathode_v + self.bath_v + self.contacts_v + self.concentration_v
        )


def cell_geometry(batch: BatchSettings, anode_area_cm2: float) -> CellGeometry:
    """Geometry of a batch's cell; rods used as cathode add their surface to the cathode."""
    of_rods = sum(
        lot.count * math.pi * lot.diameter_mm * lot.length_mm / 100 for lot in batch.rods if lot.role == "cathode"
    )
    return CellGeometry(
        anode_area_cm2=anode_area_cm2,
        cathode_area_cm2=max(batch.cell.cathode_area_cm2, 0.5 * of_rods),
        gap_cm=batch.cell.gap_mm / 10,
        layer_cm=_LAYER_CM[batch.cell.stirring],
    )


def reversible_voltage_v(hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float = 25.0) -> float:
    """Reversible voltage of the cell [V]; negative: the cell is galvanic and corrodes on when switched off."""
    rt_f = GAS_CONSTANT_J_MOL_K * (temperature_degc + 273.15) / FARADAY_C_MOL
    oh, w = max(hydroxide_mol_l, 1e-4), max(tungstate_mol_l, 1e-3)
    anode = E0_TUNGSTATE_ALKALINE_V + rt_f / 6.0 * (math.log(w) - 8.0 * math.log(oh))
    return anode - (E0_WATER_ALKALINE_V - rt_f * math.log(oh))


def limiting_current_density_a_cm2(hydroxide_mol_l: float, tungstate_mol_l: float, layer_cm: float = 0.010) -> float:
    """Limiting current density of hydroxide reaching the tungsten, (6/8) F D c / layer [A/cm2]; factor 2."""
    diffusion = _DIFFUSION_CM2_S / (1.0 + 0.4 * tungstate_mol_l)
    return 0.75 * FARADAY_C_MOL * diffusion * max(hydroxide_mol_l, 0.0) * 1e-3 / layer_cm


def _overpotential(density: float, at_reference: tuple[float, float, float]) -> float:
    value, slope, reference = at_reference
    exchange = reference * 10.0 ** (-value / slope)
    return slope / math.log(10.0) * math.asinh(density / (2.0 * exchange))


def voltage_parts(
    current_a: float, geometry: CellGeometry, hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float
) -> VoltageParts:
    """Cell voltage at a current, in parts.

    Notes
    -----
    The bath is a slab of twice the gap's length (gas, basket walls) and of the logarithmic mean of the electrodes' areas. At and above the
    limiting current the concentration part rises steeply instead of diverging, so that the sum stays finite and
    strictly increasing in the current.
    """
    anode = max(geometry.anode_area_cm2, 1e-9)
    ratio = anode / geometry.cathode_area_cm2
    mean = anode if abs(ratio - 1.0) < 1e-6 else (anode - geometry.cathode_area_cm2) / math.log(ratio)
    kappa = bath_conductivity_s_cm(hydroxide_mol_l, tungstate_mol_l, temperature_degc)
    limit = anode * limiting_current_density_a_cm2(hydroxide_mol_l, tungstate_mol_l, geometry.layer_cm)
    x = current_a / max(limit, 1e-12)
    concentration = -_CONCENTRATION_V * math.log(max(1.0 - x, 1e-12)) + (1e4 * (x - 1.0) if x > 1.0 else 0.0)
    return VoltageParts(
        reversible_v=reversible_voltage_v(hydroxide_mol_l, tungstate_mol_l, temperature_degc),
        anode_v=_overpotential(current_a / anode, _ANODE_OVERPOTENTIAL),
        cathode_v=_overpotential(current_a / geometry.cathode_area_cm2, _CATHODE_OVERPOTENTIAL),
        bath_v=_OBSTRUCTION * current_a * geometry.gap_cm / (kappa * mean),
        contacts_v=current_a * _CONTACT_OHM,
        concentration_v=min(concentration, 1e6),
    )


def cell_voltage_v(
    current_a: float, geometry: CellGeometry, hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float
) -> float:
    """Cell voltage at a current [V]; strictly increasing in the current."""
    return voltage_parts(current_a, geometry, hydroxide_mol_l, tungstate_mol_l, temperature_degc).total_v


def current_at_cap_a(
    cap_v: float,
    set_current_a: float,
    geometry: CellGeometry,
    hydroxide_mol_l: float,
    tungstate_mol_l: float,
    temperature_degc: float,
) -> float:
    """Current at which the cell takes just `cap_v`, between zero and the set current [A].

    Found by false position with the Illinois step (Dowell and Jarratt 1971).
    """
    limit = geometry.anode_area_cm2 * limiting_current_density_a_cm2(
        hydroxide_mol_l, tungstate_mol_l, geometry.layer_cm
    )

    def excess(current: float) -> float:
        return cell_voltage_v(current, geometry, hydroxide_mol_l, tungstate_mol_l, temperature_degc) - cap_v

    low, high = 0.0, min(set_current_a, limit * (1.0 - 1e-9))
    f_low, f_high = excess(low), excess(high)
    if f_low >= 0.0 or high <= 0.0:
        return 0.0
    if f_high <= 0.0:
        return high
    side = 0
    middle = high
    for _ in range(60):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f = excess(middle)
        if abs(f) < 1e-9 or high - low < 1e-13 * high:
            break
        if f < 0.0:
            low, f_low = middle, f
            if side == -1:
                f_high /= 2.0
            side = -1
        else:
            high, f_high = middle, f
            if side == 1:
                f_low /= 2.0
            side = 1
    return middle
