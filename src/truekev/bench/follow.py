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


@dataclass(frozen=True)
class _Charge:
    """Charge [C] up to some moments, and in all: best, least and most."""

    best: Floats
    least: Floats
    most: Floats


def _charge(timeline: Timeline, at_s: Floats) -> _Charge:
    """Charge up to the times `at_s`, the last of which is the last reading."""
    known = np.isfinite(timeline.current_a)
    if not known.any():
        nothing = np.zeros(at_s.size)
        return _Charge(nothing, nothing, nothing)
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
    # after the last current only notes of other kinds: it may have flowed on, or have been switched off at once
    on_s = float(timeline.time_s[-1] - time[-1])
    after = on_s * float(current[-1])
    # before the first reading nothing is known: the first current may have flowed since the start
    before = max(float(time[0]), 0.0) * float(current[0])
    axis = np.append(time, time[-1] + max(on_s, 1e-6))

    def up_to(parts: Floats, first: float, last: float) -> Floats:
        return np.interp(at_s, axis, first + np.concatenate([[0.0], np.cumsum(parts), [parts.sum() + last]]))

    return _Charge(up_to(best, before, 0.5 * after), up_to(least, 0.0, 0.0), up_to(most, before, after))


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
    charge = _charge(timeline, np.append(timeline.time_s[weighed], timeline.time_s[-1]))
    charge_c, least_c, most_c = (float(c[-1]) for c in (charge.best, charge.least, charge.most))
    start_g, tungsten_start = plan.content.mass_g.value, plan.content.tungsten_g.value
    share = tungsten_start / start_g
    efficiency, u_efficiency = batch.anode.current_efficiency, batch.anode.u_current_efficiency
    fines = batch.anode.fines_percent / 100
    factor, u_factor = efficiency / (1 - fines), math.hypot(u_efficiency, 0.02)
    weighings: list[Weighing] = []
    base_g, base_c, u_base = 0.0, 0.0, 0.0
    for i, k in enumerate(weighed):
        mass = float(timeline.mass_g[k])
        if mass > start_g + max(5 * plan.content.mass_g.u, 0.05 * start_g):
            raise OutOfRangeError(
                f"a weighing of {mass:g} g is heavier than the rods were ({start_g:g} g); rinse and dry them "
                "before weighing, or correct the batch. Readings are never rewritten: note a new weighing."
            )
        gone = max((start_g - mass) * share, 0.0)
        upper = tungsten_g(float(charge.most[i]))
        weighings.append(Weighing(float(timeline.time_s[k]) / 3600, mass, gone, gone / upper if upper > 0 else None))
        base_g, base_c, u_base = gone, float(charge.best[i]), math.hypot(plan.content.mass_g.u, 0.05)
        # a weighing tells the efficiency only where the charge up to it is well known
        if upper > 0.05 * tungsten_start and charge.least[i] > 0.8 * charge.most[i]:
            factor = min(gone / tungsten_g(base_c), 1.05 / (1 - fines))
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
    if found is not None and found > 1.1:
        notices.append(
            Notice(
                "coulombs",
                weighings[-1].at_h,
                weighings[-1].at_h,
                f"weighing finds {100 * found:.0f} % of what the coulombs could dissolve",
                "current flowed that was not noted, or the rods were weighed with something missing",
                "note the current at every visit, or give a logger's file; the weighing counts",
            )
        )
    notices += _start_notices(batch, plan, timeline)
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


def _start_notices(batch: BatchSettings, plan: MakePlan, timeline: Timeline) -> list[Notice]:
    """Readings that lie before the start, or begin long after it: the start in the batch may be wrong."""
    first_h = float(timeline.time_s[0]) / 3600.0
    stands = f"the batch says it was switched on at {batch.start:%Y-%m-%d %H:%M}"
    do = "correct start in the batch file if it is not so"
    if first_h < -0.05:
        return [Notice("start", first_h, 0.0, f"readings from {-first_h:.1f} h before the start", stands, do)]
    if first_h > max(2.0, 0.25 * plan.duration_h.value):
        seen = f"the first reading is {first_h:.1f} h after the start; until then its current is taken to have flowed"
        return [Notice("start", 0.0, first_h, seen, stands, do)]
    return []


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
