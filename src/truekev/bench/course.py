"""The time course of a run: dissolution, water, heat and losses, from switch-on to the event that ends it.

scipy's Runge-Kutta pair (Dormand and Prince) steps; the program watches the events and starts anew at every switch
of mode:
constant current to voltage cap and back, and each top-up.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.integrate import RK45
from scipy.optimize import brentq

from truekev.bench.bath import H_H2O, STATE_NAMES, STATE_SCALE, enthalpy_of, state_index
from truekev.bench.cell import limiting_current_density_a_cm2
from truekev.bench.running_cell import CourseInput, RunningCell
from truekev.bench.stoichiometry import molar_mass_g_mol

__all__ = ["Course", "CourseInput", "EndEvent", "TopUp", "run_course"]

_M_WATER = molar_mass_g_mol("H2O")
_WATER_J_MOL_K = 75.3
Floats = npt.NDArray[np.float64]


class EndEvent(Enum):
    """What ends a run, in words."""

    DISSOLVED = "all the tungsten in the liquid is dissolved"
    PARTED = "the dipped rods part at the surface"
    COLLAPSED = "the current collapses at the voltage cap"
    HYDROXIDE_SPENT = "the hydroxide is spent"
    LEVEL = "the level falls below the cut-out"
    HOT = "the bath passes 60 °C, where the temperature cut-out switches off"
    TIME = "the time set for the run is over"


@dataclass(frozen=True)
class TopUp:
    """Water filled up at a moment [g]."""

    time_s: float
    water_g: float
    level_before: float


@dataclass(frozen=True)
class Course:
    """A time course: states at the accepted steps, derived quantities at the same times, and the events.

    At a top-up the same time stands twice, before and after.
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


_ENDS = (
    EndEvent.DISSOLVED,
    EndEvent.COLLAPSED,
    EndEvent.HYDROXIDE_SPENT,
    EndEvent.LEVEL,
    EndEvent.HOT,
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
    electrolysis used stays out, so the level ends a little above where it began. In the last stretch the rods are
    thin and the limiting current falls below the set one: the supply goes
    to its cap and the current follows the hydroxide.
    """
    y = _start_state(given)
    run = RunningCell(given, y.tolist())
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
    tolerance: Any = 1e-6 * STATE_SCALE  # one per state; the stubs know a single number only
    while t < given.max_time_s:
        stop = next(s for s in stops if s > t)
        solver: Any = RK45(
            run.rate,
            t,
            y,
            stop,
            max_step=7200.0,
            rtol=1e-5,
            atol=tolerance,
            first_step=min(first_step or 30.0, (stop - t)),
        )
        switch = False
        while solver.status == "running":
            solver.step()
            if solver.status == "failed":
                break
            solver.y = y_new = _crystals_back(np.asarray(solver.y))
            _, excess, new = run.margins(y_new)
            crossed = [i for i, value in enumerate(new) if value <= 0.0]
            wants_cap = excess > 0.0 if not run.at_cap else excess > -1e-7
            switch = wants_cap != run.at_cap
            if crossed or switch:
                t, y, which = _locate(run, solver, crossed, switch)
                y = _crystals_back(y)
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


def _crystals_back(y: Floats) -> Floats:
    """The state with crystals that a step took below zero (within its tolerance) given back by the bath.

    Moves the salt and its water as a whole, so every balance stays closed.
    """
    solid = float(y[state_index["tungstate_solid"]])
    if solid >= 0.0:
        return y
    new = y.copy()
    for name, per_crystal in (("tungstate_solid", -1.0), ("tungstate", 1.0), ("sodium", 2.0), ("water", 2.0)):
        new[state_index[name]] += per_crystal * solid
    return new


def _locate(run: RunningCell, solver: Any, crossed: list[int], switch: bool) -> tuple[float, Floats, int]:
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


def _top_up(run: RunningCell, given: CourseInput, t: float, y: Floats) -> tuple[Floats, TopUp | None]:
    s = state_index
    missing = float(y[s["vapour_out"]] + y[s["mist_water"]] - y[s["water_added"]])
    if missing * _M_WATER < 0.5:
        return y, None
    level = run.bath(y.tolist()).level_l / run.start_volume_l
    heat = missing * (H_H2O + _WATER_J_MOL_K * (given.room.temperature_degc - 25.0))
    new = y.copy()
    new[s["water"]] += missing
    new[s["water_added"]] += missing
    new[s["enthalpy_j"]] += heat
    new[s["water_added_j"]] += heat
    return new, TopUp(t, missing * _M_WATER, level)


def _course(
    run: RunningCell,
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
                b.level_l,
                b.hydroxide_mol_l,
                b.tungstate_mol_l,
                current / max(limit, 1e-12),
                run.saturation(y, b),
            )
        )
    current_a, voltage_v, degc, volume_l, hydroxide, tungstate, ratio, saturation = np.array(rows).T
    if end is EndEvent.COLLAPSED and float(states[-1][0]) < 0.01 * given.tungsten_mol:
        end = EndEvent.DISSOLVED  # what is left is a hair that falls apart
    if end is EndEvent.DISSOLVED and given.parting < 1.0:
        end = EndEvent.PARTED
    time_s, all_states = np.array(times), np.array(states)
    for column in (time_s, all_states, current_a, voltage_v, degc, volume_l, hydroxide, tungstate, ratio, saturation):
        column.flags.writeable = False  # a course is shared by all who ask for the same batch
    return Course(
        time_s=time_s,
        states=all_states,
        current_a=current_a,
        voltage_v=voltage_v,
        temperature_degc=degc,
        volume_l=volume_l,
        hydroxide_mol_l=hydroxide,
        tungstate_mol_l=tungstate,
        limit_ratio=ratio,
        saturation=saturation,
        at_cap=np.array(modes),
        top_ups=tuple(top_ups),
        n_switches=n_switches,
        end=end,
    )
