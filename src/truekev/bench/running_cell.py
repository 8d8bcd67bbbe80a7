"""What changes in the cell while it runs: the rate of every state, and the distance to every event."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.bench.bath import (
    H_CO2,
    H_CO3,
    H_H2O,
    H_NA,
    H_OH,
    H_THO2,
    H_VAPOUR,
    H_WO4,
    Bath,
    bath_of,
    state_index,
)
from truekev.bench.cell import CellGeometry, cell_voltage_v, current_at_cap_a
from truekev.bench.solution import tungstate_solubility_g_per_100g_water, water_activity
from truekev.bench.stoichiometry import FARADAY_C_MOL, gas_litres, molar_mass_g_mol
from truekev.bench.surroundings import Room, evaporation_mol_s

__all__ = ["MAX_BATH_DEGC", "CourseInput", "RunningCell"]

Floats = npt.NDArray[np.float64]

MAX_BATH_DEGC = 60.0
_M_NA2WO4 = molar_mass_g_mol("Na2WO4")
_WATER_J_MOL_K, _VAPOUR_J_MOL_K, _HYDROGEN_J_MOL_K, _OXYGEN_J_MOL_K, _CO2_J_MOL_K = 75.3, 33.6, 28.8, 29.4, 37.1
_CRYSTALS = state_index["tungstate_solid"]
_CRYSTAL_GROWTH_S = 1800.0  # crystals follow saturation within half an hour; only the smoothness rests on it
_LOOSE_LEFT = 1e-4  # share of the tungsten at which the rods count as dissolved
_COLLAPSED = 0.02  # share of the set current
_SPENT_MOL_L = 0.05  # below it pH dives and polytungstates form
MIST_L_PER_L = 1e-6  # bath carried off as mist per volume of gas; estimate, factor 10
MIST_THORIA_MOL_PER_L = 0.3e-3 / 24.0 / 264.0359  # 0.1 to 1 mg of oxide a run; estimate


@dataclass(frozen=True)
class CourseInput:
    """All that a time course needs; amounts in mol, times in seconds from switch-on.

    `top_up_times_s` are the moments at which somebody replaces the water that evaporated since; `parting` is the
    share of the tungsten in the liquid that has gone when dipped rods part (1 for a basket).
    """

    tungsten_mol: float
    thoria_mol: float
    hydroxide_mol: float
    water_mol: float
    room: Room
    geometry: CellGeometry
    current_a: float
    cap_v: float
    efficiency: float = 0.98
    fines: float = 0.0
    parting: float = 1.0
    top_up_times_s: tuple[float, ...] = ()
    max_time_s: float = 30 * 86400.0
    start_degc: float | None = None
    min_level: float = 0.7


class RunningCell:
    """The right-hand side and the events of one run; `at_cap` is the mode."""

    def __init__(self, given: CourseInput, start: list[float]) -> None:
        self.given = given
        self.at_cap = False
        self.start_volume_l = bath_of(start, given.room.vessel_j_k).volume_l
        self.end_mol = max(1.0 - given.parting, _LOOSE_LEFT) * given.tungsten_mol

    def bath(self, y: list[float]) -> Bath:
        """Temperature, volume and concentrations of a state."""
        return bath_of(y, self.given.room.vessel_j_k)

    def geometry(self, y: list[float]) -> CellGeometry:
        """Rods thin evenly: their surface goes with the root of what is left."""
        full = self.given.geometry
        left = min(max(y[0] / self.given.tungsten_mol, 1e-12), 1.0)
        return CellGeometry(full.anode_area_cm2 * left**0.5, full.cathode_area_cm2, full.gap_cm, full.layer_cm)

    def electric(self, y: list[float], bath: Bath) -> tuple[float, float]:
        """Current [A] and voltage [V] in the present mode."""
        g = self.given
        geometry = self.geometry(y)
        at = (geometry, bath.hydroxide_mol_l, bath.tungstate_mol_l, bath.temperature_degc)
        if self.at_cap:
            return current_at_cap_a(g.cap_v, g.current_a, *at), g.cap_v
        return g.current_a, cell_voltage_v(g.current_a, *at)

    def excess_v(self, y: list[float], bath: Bath) -> float:
        """Voltage at the set current above the cap [V]."""
        return (
            cell_voltage_v(
                self.given.current_a,
                self.geometry(y),
                bath.hydroxide_mol_l,
                bath.tungstate_mol_l,
                bath.temperature_degc,
            )
            - self.given.cap_v
        )

    def rate(self, _time_s: float, state: Floats) -> Floats:
        """Change of every state per second."""
        y: list[float] = state.tolist()
        g, room = self.given, self.given.room
        b = self.bath(y)
        t = b.temperature_degc
        current, voltage = self.electric(y, b)
        voltage = min(voltage, g.cap_v)
        electrons = current / FARADAY_C_MOL
        dissolving = g.efficiency * electrons / 6.0
        falling = dissolving * g.fines / (1.0 - g.fines)
        oxygen = (1.0 - g.efficiency) * electrons / 4.0
        hydrogen = electrons / 2.0
        freed = (dissolving + falling) / g.tungsten_mol * g.thoria_mol if g.tungsten_mol else 0.0
        water_kg = max(b.water_g, 1e-6) / 1000.0
        activity = water_activity(max(y[4], 0.0) / water_kg, max(y[5], 0.0) / water_kg, max(y[6], 0.0) / water_kg)
        from_surface, with_gas = evaporation_mol_s(room, t, activity, hydrogen + oxygen)
        wet = 1.0 if b.water_g > 1.0 else 0.0
        vapour = (from_surface + with_gas) * wet
        co2 = room.carbon_dioxide_mol_s if y[4] > 1e-6 else 0.0
        gas_l = gas_litres(hydrogen + oxygen)
        share = MIST_L_PER_L * gas_l / b.volume_l
        mist_oh, mist_w, mist_c, mist_na, mist_h2o = (share * y[i] for i in (4, 5, 6, 7, 8))
        mist_th = min(MIST_THORIA_MOL_PER_L * gas_l, freed)
        warm = t - 25.0
        liquid_j_k = b.heat_capacity_j_k - room.vessel_j_k - b.solids_j_k
        growing = self.crystallising(y, b)
        streams = (
            vapour * (H_VAPOUR + _VAPOUR_J_MOL_K * warm)
            + hydrogen * _HYDROGEN_J_MOL_K * warm
            + oxygen * _OXYGEN_J_MOL_K * warm
            + mist_oh * H_OH
            + mist_w * H_WO4
            + mist_c * H_CO3
            + mist_na * H_NA
            + mist_h2o * H_H2O
            + share * liquid_j_k * warm
            + mist_th * H_THO2
            - co2 * (H_CO2 + _CO2_J_MOL_K * (room.temperature_degc - 25.0))
        )
        lost = room.loss_w_k * (t - room.temperature_degc)
        power = voltage * current
        return np.array(
            [
                -dissolving - falling,
                falling,
                -freed,
                freed - mist_th,
                -8.0 * dissolving - 4.0 * oxygen + 2.0 * hydrogen - 2.0 * co2 - mist_oh,
                dissolving - mist_w - growing,
                co2 - mist_c,
                -mist_na - 2.0 * growing,
                4.0 * dissolving + 2.0 * oxygen - 2.0 * hydrogen + co2 - vapour - mist_h2o - 2.0 * growing,
                power - lost - streams,
                hydrogen,
                oxygen,
                vapour,
                co2,
                mist_na,
                mist_oh,
                mist_w,
                mist_c,
                mist_h2o,
                mist_th,
                current,
                power,
                lost,
                streams,
                0.0,
                0.0,
                growing,
            ]
        )

    def crystallising(self, y: list[float], b: Bath) -> float:
        """Growth of crystals [mol/s] above the solubility in pure water; below it they dissolve again, as fast."""
        solid = y[_CRYSTALS]
        soluble = tungstate_solubility_g_per_100g_water(b.temperature_degc) * b.water_g / 100.0 / _M_NA2WO4
        excess = y[5] - soluble
        if excess >= 0.0 or solid <= 0.0:
            return max(excess, 0.0) / _CRYSTAL_GROWTH_S
        # goes with the crystals that are left, so that no step of the solver takes more than there is
        return solid * excess / (solid - excess) / _CRYSTAL_GROWTH_S

    def saturation(self, y: list[float], b: Bath) -> float:
        """Tungstate over what pure water of that temperature would hold."""
        grams = 100.0 * y[5] * _M_NA2WO4 / max(b.water_g, 1e-3)
        return grams / tungstate_solubility_g_per_100g_water(b.temperature_degc)

    def margins(self, state: Floats) -> tuple[Bath, float, list[float]]:
        """Distance to each event, positive before it; the first is the switch of mode."""
        y: list[float] = state.tolist()
        b = self.bath(y)
        excess = self.excess_v(y, b)
        collapse = 1.0
        if self.at_cap:
            collapse = self.electric(y, b)[0] / self.given.current_a - _COLLAPSED
        return (
            b,
            excess,
            [
                y[0] - self.end_mol,
                collapse,
                b.hydroxide_mol_l - _SPENT_MOL_L,
                b.level_l / self.start_volume_l - self.given.min_level,
                MAX_BATH_DEGC - b.temperature_degc,
            ],
        )
