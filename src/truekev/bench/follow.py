"""Where a run stands: charge, tungsten, end time, notices, from the plan and the readings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from truekev.bench.notices import Notice, electrical_notices, state_notices
from truekev.bench.plan import MakePlan
from truekev.bench.settings import BatchSettings
from truekev.bench.stoichiometry import ELECTRONS_PER_TUNGSTEN, FARADAY_C_MOL, molar_mass_g_mol, tungsten_g
from truekev.bench.timeline import Timeline
from truekev.errors import OutOfRangeError
from truekev.quantity import Measured

__all__ = ["RunStanding", "Weighing", "follow_run"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Weighing:
    """A weighing of what is left of the rods: when [h], mass, tungsten gone, and that over the coulombs' upper
    bound.
    """

    at_h: float
    mass_g: float
    tungsten_gone_g: float
    of_upper_bound: float | None


@dataclass(frozen=True)
class RunStanding:
    """Where a run stands at its last reading.

    `tungsten_at_most_g` is what the charge could have dissolved if all of it did; `tungsten_gone_g` is the best
    estimate:
    settled by the last weighing where there is one, else with the batch's assumed efficiency.
    `free_hydroxide_mol_l` is the
    last titration if there is one (it outranks the model), else the plan's at the same tungsten.
    """

    n_readings: int
    last_reading: datetime
    elapsed_h: float
    charge_ah: Measured
    charge_at_least_ah: float
    charge_at_most_ah: float
    tungsten_at_most_g: float
    tungsten_gone_g: Measured
    fraction_gone: Measured
    thoria_freed_g: Measured
    finish: datetime | None
    u_finish_h: float
    planned_finish: datetime
    free_hydroxide_mol_l: Measured
    free_hydroxide_titrated: bool
    weighings: tuple[Weighing, ...]
    notices: tuple[Notice, ...]


def _charge_c(timeline: Timeline, at_s: Floats) -> tuple[Floats, float, float, float]:
    """Best charge up to the times `at_s`; and best, least and most in all [C]."""
    known = np.isfinite(timeline.current_a)
    if not known.any():
        return np.zeros(at_s.size), 0.0, 0.0, 0.0
    index = np.flatnonzero(known)
    time, current = timeline.time_s[index], np.maximum(timeline.current_a[index], 0.0)
    # a gap anywhere between two known currents makes that interval uncertain
    n_gaps = np.cumsum(timeline.gap_before)
    gap = np.diff(n_gaps[index]) > 0
    step = np.diff(time)
    mean = 0.5 * (current[1:] + current[:-1]) * step
    most = np.where(gap, np.maximum(current[1:], current[:-1]) * step, mean)
    least = np.where(gap, 0.0, mean)
    best = np.where(gap, 0.5 * most, mean)
    # before the first reading nothing is known: the first current may have flowed since the start
    first = max(float(time[0]), 0.0) * float(current[0])
    cumulated = np.concatenate([[0.0], np.cumsum(best)]) + first
    return np.interp(at_s, time, cumulated), float(cumulated[-1]), float(least.sum()), float(most.sum()) + first


def follow_run(batch: BatchSettings, plan: MakePlan, timeline: Timeline) -> RunStanding:
    """Where the run stands.

    Parameters
    ----------
    batch, plan
        The batch and its plan.
    timeline : Timeline
        Readings on the axis of the run.

    Raises
    ------
    OutOfRangeError
        No readings, or a weighing heavier than the rods were.
    """
    if timeline.time_s.size == 0:
        raise OutOfRangeError(
            "there is no reading yet; note one with 'truekev note BATCH.toml current=1.4 voltage=3.1'."
        )
    weighed = np.flatnonzero(np.isfinite(timeline.mass_g))
    charge_then_c, charge_c, least_c, most_c = _charge_c(timeline, timeline.time_s[weighed])
    least_c = min(least_c, charge_c)
    start_g, tungsten_start = plan.content.mass_g.value, plan.content.tungsten_g.value
    share = tungsten_start / start_g
    efficiency, u_efficiency = batch.anode.current_efficiency, batch.anode.u_current_efficiency
    fines = batch.anode.fines_percent / 100
    factor, u_factor = efficiency / (1 - fines), math.hypot(u_efficiency, 0.02)
    weighings: list[Weighing] = []
    base_g, base_c, u_base = 0.0, 0.0, 0.0
    for i, then_c in zip(weighed, charge_then_c.tolist(), strict=True):
        mass = float(timeline.mass_g[i])
        if mass > start_g + max(5 * plan.content.mass_g.u, 0.05 * start_g):
            raise OutOfRangeError(
                f"a weighing of {mass:g} g is heavier than the rods were ({start_g:g} g); rinse and dry them "
                "before weighing, or correct the batch. Readings are never rewritten: note a new weighing."
            )
        gone = max((start_g - mass) * share, 0.0)
        upper = tungsten_g(then_c)
        weighings.append(Weighing(float(timeline.time_s[i]) / 3600, mass, gone, gone / upper if upper > 0 else None))
        base_g, base_c, u_base = gone, then_c, math.hypot(plan.content.mass_g.u, 0.05)
        if upper > 0.05 * tungsten_start:
            factor = min(max(gone / upper, 0.0), 1.5)
            u_factor = 0.03
    since = min(tungsten_g(max(charge_c - base_c, 0.0)), tungsten_start / max(factor, 0.05))
    gap_u = tungsten_g(max(most_c - least_c, 0.0)) / math.sqrt(12) if not weighings else 0.0
    gap_u = min(gap_u, tungsten_start / math.sqrt(12))
    gone = min(base_g + factor * since, tungsten_start)
    u_gone = math.sqrt(u_base**2 + (u_factor * since) ** 2 + gap_u**2)
    fraction = gone / tungsten_start
    finish, u_finish_h = _finish(batch, plan, timeline, gone, u_gone, factor)
    titrated = np.flatnonzero(np.isfinite(timeline.free_hydroxide_mol_l))
    if titrated.size:
        value = float(timeline.free_hydroxide_mol_l[titrated[-1]])
        hydroxide = Measured(value, 0.03 * value, "mol/L")
    else:
        planned_gone = plan.course.states[0, 0] - plan.course.states[:, 0]
        value = float(np.interp(gone / molar_mass_g_mol("W"), planned_gone, plan.course.hydroxide_mol_l))
        hydroxide = Measured(value, plan.hydroxide_end_mol_l.u, "mol/L")
    notices = electrical_notices(batch, timeline, plan.course, fraction)
    notices += state_notices(batch, timeline, batch.cell.volume_ml)
    found = weighings[-1].of_upper_bound if weighings else None
    if found is not None and found < 0.85 and weighings[-1].at_h > 1.0:
        notices.append(
            Notice(
                "efficiency",
                weighings[-1].at_h,
                weighings[-1].at_h,
                f"weighing finds {100 * found:.0f} % of what the coulombs could dissolve",
                "part of the current makes oxygen: bare basket or clip in the liquid, or a short for a while",
                "cover or lift bare metal out of the bath",
            )
        )
    notices.sort(key=lambda n: (not n.urgent, n.from_h))
    relative = plan.content.thoria_g.relative_u
    thoria = fraction * plan.content.thoria_g.value
    return RunStanding(
        n_readings=int(timeline.time_s.size),
        last_reading=batch.start + timedelta(seconds=float(timeline.time_s[-1])),
        elapsed_h=float(timeline.time_s[-1]) / 3600,
        charge_ah=Measured(
            charge_c / 3600, math.hypot(0.01 * charge_c, (most_c - least_c) / math.sqrt(12)) / 3600, "Ah"
        ),
        charge_at_least_ah=least_c / 3600,
        charge_at_most_ah=most_c / 3600,
        tungsten_at_most_g=min(tungsten_g(most_c), tungsten_start),
        tungsten_gone_g=Measured(gone, u_gone, "g"),
        fraction_gone=Measured(fraction, u_gone / tungsten_start, ""),
        thoria_freed_g=Measured(thoria, math.hypot(relative * thoria, u_gone / tungsten_start * thoria), "g"),
        finish=finish,
        u_finish_h=u_finish_h,
        planned_finish=plan.finish,
        free_hydroxide_mol_l=hydroxide,
        free_hydroxide_titrated=bool(titrated.size),
        weighings=tuple(weighings),
        notices=tuple(notices),
    )


def _finish(
    batch: BatchSettings, plan: MakePlan, timeline: Timeline, gone_g: float, u_gone_g: float, factor: float
) -> tuple[datetime | None, float]:
    """When it ends at the present current, and its uncertainty [h]; None while no current flows."""
    known = np.flatnonzero(np.isfinite(timeline.current_a))
    end_g = plan.tungsten_dissolved_g.value + plan.tungsten_fines_g.value
    left = max(end_g - gone_g, 0.0)
    last = batch.start + timedelta(seconds=float(timeline.time_s[-1]))
    if left <= 0.002 * end_g:
        return last, 0.0
    if not known.size:
        return None, 0.0
    now_s = float(timeline.time_s[known[-1]])
    recent = known[timeline.time_s[known] >= now_s - 3600.0]
    current = float(np.median(timeline.current_a[recent]))
    if current <= 0.02 * batch.supply.current_a:
        return None, 0.0
    per_s = current / (ELECTRONS_PER_TUNGSTEN * FARADAY_C_MOL) * molar_mass_g_mol("W") * max(factor, 0.05)
    # the slow last stretch at the cap takes longer than its charge at the set current
    steady_s = plan.charge_ah.value * 3600 / batch.supply.current_a
    tail_s = max(plan.course.duration_s - steady_s, 0.0)
    wait_s = left / per_s + tail_s
    if wait_s > 3650 * 86400.0:
        return None, 0.0
    u_s = math.hypot(u_gone_g / per_s, 0.3 * tail_s, 0.03 * wait_s)
    return last + timedelta(seconds=round(wait_s)), u_s / 3600
