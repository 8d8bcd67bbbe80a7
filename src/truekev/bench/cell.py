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
_LN10 = math.log(10.0)
_OBSTRUCTION = 1.6  # gas and the walls of the basket lengthen the way of the current; from memory


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
        return self.reversible_v + self.anode_v + self.cathode_v + self.bath_v + self.contacts_v + self.concentration_v


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


def _exchange(at_reference: tuple[float, float, float]) -> float:
    value, slope, reference = at_reference
    return reference * math.pow(10.0, -value / slope)


_ANODE_EXCHANGE, _CATHODE_EXCHANGE = _exchange(_ANODE_OVERPOTENTIAL), _exchange(_CATHODE_OVERPOTENTIAL)


class _Cell:
    """A cell at one composition and temperature: what does not depend on the current is worked out once."""

    __slots__ = ("anode_a", "bath_ohm", "cathode_a", "limit_a", "reversible_v")

    def __init__(self, geometry: CellGeometry, hydroxide: float, tungstate: float, temperature_degc: float) -> None:
        anode = max(geometry.anode_area_cm2, 1e-9)
        ratio = anode / geometry.cathode_area_cm2
        mean = anode if abs(ratio - 1.0) < 1e-6 else (anode - geometry.cathode_area_cm2) / math.log(ratio)
        kappa = bath_conductivity_s_cm(hydroxide, tungstate, temperature_degc)
        self.limit_a = max(anode * limiting_current_density_a_cm2(hydroxide, tungstate, geometry.layer_cm), 1e-12)
        self.reversible_v = reversible_voltage_v(hydroxide, tungstate, temperature_degc)
        self.bath_ohm = _OBSTRUCTION * geometry.gap_cm / (kappa * mean)
        self.anode_a = 2.0 * _ANODE_EXCHANGE * anode
        self.cathode_a = 2.0 * _CATHODE_EXCHANGE * geometry.cathode_area_cm2

    def anode_v(self, current_a: float) -> float:
        return _ANODE_OVERPOTENTIAL[1] / _LN10 * math.asinh(current_a / self.anode_a)

    def cathode_v(self, current_a: float) -> float:
        return _CATHODE_OVERPOTENTIAL[1] / _LN10 * math.asinh(current_a / self.cathode_a)

    def concentration_v(self, current_a: float) -> float:
        x = current_a / self.limit_a
        steep = 1e4 * (x - 1.0) if x > 1.0 else 0.0
        return min(steep - _CONCENTRATION_V * math.log(max(1.0 - x, 1e-12)), 1e6)

    def total_v(self, current_a: float) -> float:
        return (
            self.reversible_v
            + self.anode_v(current_a)
            + self.cathode_v(current_a)
            + current_a * (self.bath_ohm + _CONTACT_OHM)
            + self.concentration_v(current_a)
        )


def voltage_parts(
    current_a: float, geometry: CellGeometry, hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float
) -> VoltageParts:
    """Cell voltage at a current, in parts.

    Notes
    -----
    The bath is a slab of 1.6 times the gap's length (gas, basket walls) and of the logarithmic mean of the electrodes'
    areas. At and above the limiting current the concentration part rises steeply instead of diverging, so that the sum
    stays finite and strictly increasing in the current.
    """
    cell = _Cell(geometry, hydroxide_mol_l, tungstate_mol_l, temperature_degc)
    return VoltageParts(
        reversible_v=cell.reversible_v,
        anode_v=cell.anode_v(current_a),
        cathode_v=cell.cathode_v(current_a),
        bath_v=current_a * cell.bath_ohm,
        contacts_v=current_a * _CONTACT_OHM,
        concentration_v=cell.concentration_v(current_a),
    )


def cell_voltage_v(
    current_a: float, geometry: CellGeometry, hydroxide_mol_l: float, tungstate_mol_l: float, temperature_degc: float
) -> float:
    """Cell voltage at a current [V]; strictly increasing in the current."""
    return _Cell(geometry, hydroxide_mol_l, tungstate_mol_l, temperature_degc).total_v(current_a)


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
    cell = _Cell(geometry, hydroxide_mol_l, tungstate_mol_l, temperature_degc)

    def excess(current: float) -> float:
        return cell.total_v(current) - cap_v

    low, high = 0.0, min(set_current_a, cell.limit_a * (1.0 - 1e-9))
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
