"""The time course of a run: dissolution, water, heat and losses, from switch-on to the event that ends it.

scipy's Runge-Kutta pair (Dormand and Prince) steps; the program watches the events and starts anew at every switch of mode:
constant current to voltage cap and back, and each top-up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
import numpy.typing as npt
from scipy.integrate import RK45
from scipy.optimize import brentq

from truekev.bench.bath import (
    H_CO2,
    H_H2O,
    H_OH,
    H_VAPOUR,
    STATE_NAMES,
    STATE_SCALE,
    Bath,
    bath_of,
    enthalpy_of,
    state_index,
)
from truekev.bench.bath import H_CO3 as _H_CO3
from truekev.bench.bath import H_NA as _H_NA
from truekev.bench.bath import H_WO4 as _H_WO4
from truekev.bench.cell import CellGeometry, cell_voltage_v, current_at_cap_a, limiting_current_density_a_cm2
from truekev.bench.solution import boiling_point_degc, tungstate_solubility_g_per_100g_water, water_activity
from truekev.bench.stoichiometry import FARADAY_C_MOL, gas_litres, molar_mass_g_mol
from truekev.bench.surroundings import Room, evaporation_mol_s

__all__ = ["Course", "CourseInput", "EndEvent", "TopUp", "run_course"]

Floats = npt.NDArray[np.float64]

MAX_BATH_DEGC = 60.0
_M_NA2WO4, _M_WATER = molar_mass_g_mol("Na2WO4"), molar_mass_g_mol("H2O")
_WATER_J_MOL_K, _VAPOUR_J_MOL_K, _HYDROGEN_J_MOL_K, _OXYGEN_J_MOL_K, _CO2_J_MOL_K = 75.3, 33.6, 28.8, 29.4, 37.1
_LOOSE_LEFT = 1e-4  # share of the tungsten at which the rods count as dissolved
_COLLAPSED = 0.02  # share of the set current
_SPENT_MOL_L = 0.05  # below it pH dives and polytungstates form
MIST_L_PER_L = 1e-6  # bath carried off as mist per volume of gas; estimate, factor 10
MIST_THORIA_MOL_PER_L = 0.3e-3 / 24.0 / 264.0359  # 0.1 to 1 mg of oxide a run; estimate


class EndEvent(Enum):
    """What ends a run, in words."""

    DISSOLVED = "all the tungsten in the liquid is dissolved"
    PARTED = "the dipped rods part at the surface"
    COLLAPSED = "the current collapses at the voltage cap"
    HYDROXIDE_SPENT = "the hydroxide is spent"
    SATURATED = "sodium tungstate saturates the bath and crystallises"
    LEVEL = "the level falls below the cut-out"
    HOT = "the bath passes 60 °C, where the temperature cut-out switches off"
    BOILS = "the bath boils"
    TIME = "the time set for the run is over"


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


@dataclass(frozen=True)
class TopUp:
    """Water filled up at a moment [g]."""

    time_s: float
    water_g: float
    level_before: float


@dataclass(frozen=True)
class Course:
    """A time course: states at the accepted steps, derived quantities at the same times, and the events.

    `balance_states` hold both sides of every top-up, so they can have more rows than `time_s`.
    """

    time_s: Floats
    states: Floats
    current_a: Floats
    voltage_v: Floats
    temperature_degc: Floats
    volume_l: Floats
    hydroxide_mol_l: Floats
    tungstate_mol_l: Floats
    limit_ratio: Floats
    saturation: Floats
    at_cap: npt.NDArray[np.bool_]
    top_ups: tuple[TopUp, ...]
    n_switches: int
    end: EndEvent

    def final(self, name: str) -> float:
        """Value of a state at the end (names of STATE_NAMES)."""
        return float(self.states[-1, state_index[name]])

    @property
    def duration_s(self) -> float:
        """Time from switch-on to the end [s]."""
        return float(self.time_s[-1])


class _Run:
    """The right-hand side and the events of one run; `at_cap` is the mode."""

    def __init__(self, given: CourseInput, start: list[float]) -> None:
        self.given = given
        self.at_cap = False
        self.start_volume_l = bath_of(start, given.room.vessel_j_k).volume_l
        self.end_mol = max(1.0 - given.parting, _LOOSE_LEFT) * given.tungsten_mol

    def bath(self, y: list[float]) -> Bath:
        return bath_of(y, self.given.room.vessel_j_k)

    def geometry(self, y: list[float]) -> CellGeometry:
        """Rods thin evenly: their surface goes with the root of what is left."""
        left = min(max(y[0] / self.given.tungsten_mol, 1e-12), 1.0)
        return replace(self.given.geometry, anode_area_cm2=self.given.geometry.anode_area_cm2 * left**0.5)

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
        liquid_j_k = b.heat_capacity_j_k - room.vessel_j_k - (y[0] + y[1]) * 24.3 - (y[2] + y[3]) * 61.8
        streams = (
            vapour * (H_VAPOUR + _VAPOUR_J_MOL_K * warm)
            + hydrogen * _HYDROGEN_J_MOL_K * warm
            + oxygen * _OXYGEN_J_MOL_K * warm
            + mist_oh * H_OH
            + mist_w * _H_WO4
            + mist_c * _H_CO3
            + mist_na * _H_NA
            + mist_h2o * H_H2O
            + share * liquid_j_k * warm
            + mist_th * -1226400.0
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
                dissolving - mist_w,
                co2 - mist_c,
                -mist_na,
                4.0 * dissolving + 2.0 * oxygen - 2.0 * hydrogen + co2 - vapour - mist_h2o,
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
            ]
        )

    def saturation(self, y: list[float], b: Bath) -> float:
        """Tungstate over what pure water of that temperature would hold."""
        grams = 100.0 * y[5] * _M_NA2WO4 / max(b.water_g, 1e-3)
        return grams / tungstate_solubility_g_per_100g_water(b.temperature_degc)

    def margins(self, state: Floats) -> tuple[Bath, float, list[float]]:
        """Distance to each event, positive before it; the first is the switch of mode."""
        y: list[float] = state.tolist()
        b = self.bath(y)
        excess = self.excess_v(y, b)
        fraction = max(b.water_g, 0.0) / b.mass_g
        boiling = boiling_point_degc(min(max(y[4], 0.0) * 39.99711 / (b.water_g + max(y[4], 0.0) * 39.99711 + 1e-9), 0.5))
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
                1.0 - self.saturation(y, b),
                b.volume_l / self.start_volume_l - self.given.min_level if fraction > 0 else -1.0,
                MAX_BATH_DEGC - b.temperature_degc,
                boiling - b.temperature_degc,
            ],
        )


_ENDS = (
    EndEvent.DISSOLVED,
    EndEvent.COLLAPSED,
    EndEvent.HYDROXIDE_SPENT,
    EndEvent.SATURATED,
    EndEvent.LEVEL,
    EndEvent.HOT,
    EndEvent.BOILS,
)


def _start_state(given: CourseInput) -> Floats:
    y = [0.0] * len(STATE_NAMES)
    y[0], y[2] = given.tungsten_mol, given.thoria_mol
    y[4] = y[7] = given.hydroxide_mol
    y[8] = given.water_mol
    start = given.room.temperature_degc if given.start_degc is None else given.start_degc
    y[9] = enthalpy_of(y, start, given.room.vessel_j_k)
    return np.array(y)


def run_course(given: CourseInput) -> Course:
    """Integrate a run from switch-on until an event ends it.

    Notes
    -----
    At each top-up time the water that evaporated since the start is replaced at room temperature; the water that
    electrolysis used stays out, so the level ends a little above where it began. In the last stretch the rods are thin and the limiting current falls below the set one: the supply goes
    to its cap and the current follows the hydroxide.
    """
    y = _start_state(given)
    run = _Run(given, y.tolist())
    times, states, modes = [0.0], [y], [False]
    top_ups: list[TopUp] = []
    n_switches = 0
    stops = [t for t in sorted(given.top_up_times_s) if 0.0 < t < given.max_time_s] + [given.max_time_s]
    t, end = 0.0, EndEvent.TIME
    _, excess, margin = run.margins(y)
    run.at_cap = excess > 0.0
    _, excess, margin = run.margins(y)
    modes[0] = run.at_cap
    for kind, value in zip(_ENDS, margin, strict=True):
        if value <= 0.0:
            return _course(run, times, states, modes, top_ups, 0, kind)
    first_step: float | None = 30.0
    while t < given.max_time_s:
        stop = next(s for s in stops if s > t)
        solver = RK45(
            run.rate,
            t,
            y,
            stop,
            max_step=7200.0,
            rtol=1e-5,
            atol=1e-6 * STATE_SCALE,
            first_step=min(first_step or 30.0, (stop - t)),
        )
        switch = False
        while solver.status == "running":
            solver.step()
            if solver.status == "failed":
                break
            y_new = np.asarray(solver.y)
            _, excess, new = run.margins(y_new)
            crossed = [i for i, value in enumerate(new) if value <= 0.0]
            wants_cap = excess > 0.0 if not run.at_cap else excess > -1e-7
            switch = wants_cap != run.at_cap
            if crossed or switch:
                t, y, which = _locate(run, solver, crossed, switch)
                times.append(t)
                states.append(y)
                modes.append(run.at_cap)
                if which >= 0:
                    return _course(run, times, states, modes, top_ups, n_switches, _ENDS[which])
                run.at_cap = not run.at_cap
                n_switches += 1
                break
            t, y = float(solver.t), y_new
            first_step = float(solver.h_abs) if solver.h_abs > 1e-3 else 1.0
            times.append(t)
            states.append(y)
            modes.append(run.at_cap)
        if solver.status == "failed":
            end = EndEvent.COLLAPSED
            break
        if switch:
            first_step = 60.0
            continue
        if t >= given.max_time_s:
            break
        y, done = _top_up(run, given, t, y)
        if done is not None:
            top_ups.append(done)
            n_switches += 1
            times.append(t)
            states.append(y)
            _, excess, new = run.margins(y)
            run.at_cap = excess > 0.0
            modes.append(run.at_cap)
        first_step = 600.0
    return _course(run, times, states, modes, top_ups, n_switches, end)


def _locate(run: _Run, solver: RK45, crossed: list[int], switch: bool) -> tuple[float, Floats, int]:
    """Earliest of the events crossed in the last step: time, state, and its index (-1 for a switch of mode)."""
    dense = solver.dense_output()
    low, high = float(solver.t_old), float(solver.t)
    best: tuple[float, int] = (high, -1 if switch else crossed[0])
    candidates = [*crossed, *([-1] if switch else [])]
    found: list[tuple[float, int]] = []
    for which in candidates:

        def margin(t: float, which: int = which) -> float:
            _, excess, margins = run.margins(dense(t))
            return excess if which < 0 else margins[which]

        if margin(low) * margin(high) < 0.0:
            found.append((float(brentq(margin, low, high, xtol=1e-3, rtol=1e-12)), which))
    if found:
        best = min(found)
    return best[0], np.asarray(dense(best[0])), best[1]


def _top_up(run: _Run, given: CourseInput, t: float, y: Floats) -> tuple[Floats, TopUp | None]:
    s = state_index
    missing = float(y[s["vapour_out"]] + y[s["mist_water"]] - y[s["water_added"]])
    if missing * _M_WATER < 0.5:
        return y, None
    level = run.bath(y.tolist()).volume_l / run.start_volume_l
    heat = missing * (H_H2O + _WATER_J_MOL_K * (given.room.temperature_degc - 25.0))
    new = y.copy()
    new[s["water"]] += missing
    new[s["water_added"]] += missing
    new[s["enthalpy_j"]] += heat
    new[s["water_added_j"]] += heat
    return new, TopUp(t, missing * _M_WATER, level)


def _course(
    run: _Run,
    times: list[float],
    states: list[Floats],
    modes: list[bool],
    top_ups: list[TopUp],
    n_switches: int,
    end: EndEvent,
) -> Course:
    given = run.given
    rows = []
    for y_array, at_cap in zip(states, modes, strict=True):
        y: list[float] = y_array.tolist()
        b = run.bath(y)
        run.at_cap = at_cap
        current, voltage = run.electric(y, b)
        geometry = run.geometry(y)
        limit = geometry.anode_area_cm2 * limiting_current_density_a_cm2(
            b.hydroxide_mol_l, b.tungstate_mol_l, geometry.layer_cm
        )
        rows.append(
            (
                current,
                min(voltage, given.cap_v),
                b.temperature_degc,
                b.volume_l,
                b.hydroxide_mol_l,
                b.tungstate_mol_l,
                current / max(limit, 1e-12),
                run.saturation(y, b),
            )
        )
    columns = np.array(rows).T
    if end is EndEvent.DISSOLVED and given.parting < 1.0:
        end = EndEvent.PARTED
    return Course(np.array(times), np.array(states), *columns, np.array(modes), tuple(top_ups), n_switches, end)
