"""Planning backwards: the smallest batch for an activity, the current for a deadline."""

from __future__ import annotations

import math
from datetime import datetime

from truekev.bench.course import EndEvent, run_course
from truekev.bench.plan import PARTING, MakePlan, course_input, largest_safe_current_a, plan_make
from truekev.bench.refusals import refuse_unsafe_cell
from truekev.bench.rods import anode_content
from truekev.bench.settings import BatchSettings
from truekev.bench.stoichiometry import charge_ah, hydroxide_net_g, molar_mass_g_mol
from truekev.errors import OutOfRangeError, RefusedError

__all__ = ["current_for_deadline_a", "least_hours", "smallest_batch"]

HYDROXIDE_FACTOR = 1.5  # free hydroxide over the net need
_MOLARITY = 4.5  # mol/L at the start
_TUNGSTATE_MOL_L = 1.6  # at most, at the end
_DONE = (EndEvent.DISSOLVED, EndEvent.PARTED)


def smallest_batch(batch: BatchSettings, activity_bq: float, *, kept: float = 0.95) -> BatchSettings:
    """The smallest batch of whole rods that leaves `activity_bq` of Th-232 in the vial.

    Parameters
    ----------
    batch : BatchSettings
        Gives the kind of rod (its first anode lot), the supply, the room. Rods, hydroxide, bath and vessel are sized
        anew; several lots become one.
    activity_bq : float
        Th-232 wanted [Bq].
    kept : float
        Share of the thoria that is not lost in washing.

    Raises
    ------
    OutOfRangeError
        An activity that is not positive, or takes more than 10,000 rods.
    """
    if not (math.isfinite(activity_bq) and activity_bq > 0):
        raise OutOfRangeError(f"activity: {activity_bq:g} Bq was given; it must be above zero.")
    anodes = [lot for lot in batch.rods if lot.role == "anode"]
    if not anodes:
        raise OutOfRangeError("rods: every lot is a cathode; give one anode lot to say which kind of rod is meant.")
    lot = anodes[0]
    single_mass = None if lot.mass_g is None else lot.mass_g / lot.count
    one = batch.model_copy(update={"rods": (lot.model_copy(update={"count": 1, "mass_g": single_mass}),)})
    content = anode_content(one)
    parting = PARTING[0] if batch.anode.holder == "dipped" else 1.0
    per_rod = content.activity_bq.value * content.wetted_fraction * parting * kept
    n_rods = math.ceil(activity_bq / per_rod * (1 - 1e-9))
    if n_rods > 10_000:
        raise OutOfRangeError(f"{activity_bq:g} Bq would take {n_rods} rods of this kind; that is no bench any more.")
    rods = (
        lot.model_copy(update={"count": n_rods, "mass_g": None if single_mass is None else n_rods * single_mass}),
        *(other for other in batch.rods if other.role == "cathode"),
    )
    tungsten = content.tungsten_g.value * n_rods * content.wetted_fraction * parting
    pure_g = HYDROXIDE_FACTOR * hydroxide_net_g(tungsten)
    volume_l = max(
        pure_g / molar_mass_g_mol("NaOH") / _MOLARITY, tungsten / molar_mass_g_mol("W") / _TUNGSTATE_MOL_L, 0.08
    )
    pure_g = max(pure_g, 3.0 * volume_l * molar_mass_g_mol("NaOH"))
    # twice as tall as the liquid: diameter from a level of two thirds of it
    diameter_mm = min(max(10 * (4 * volume_l * 1000 / (math.pi * 0.67)) ** (1 / 3), 60.0), 1000.0)
    level_mm = volume_l * 1e6 / (math.pi / 4 * diameter_mm**2)
    cell = batch.cell.model_copy(
        update={
            "volume_ml": round(1000 * volume_l, 0),
            "vessel_diameter_mm": round(diameter_mm, 0),
            "vessel_height_mm": round(max(2 * level_mm, 60.0), 0),
        }
    )
    hydroxide = batch.hydroxide.model_copy(update={"mass_g": round(pure_g / (batch.hydroxide.assay_percent / 100), 1)})
    return batch.model_copy(update={"rods": rods, "cell": cell, "hydroxide": hydroxide})


def least_hours(batch: BatchSettings) -> float:
    """Shortest time that the set current needs for the tungsten in the liquid, no cap and no limit met [h]."""
    content, anode = anode_content(batch), batch.anode
    parting = PARTING[0] if anode.holder == "dipped" else 1.0
    dissolving_g = content.tungsten_g.value * content.wetted_fraction * parting * (1.0 - anode.fines_percent / 100.0)
    return charge_ah(dissolving_g) / anode.current_efficiency / batch.supply.current_a


def current_for_deadline_a(batch: BatchSettings, deadline: datetime) -> tuple[float, MakePlan]:
    """Smallest current that finishes the batch by `deadline`, and the plan at that current.

    Raises
    ------
    RefusedError
        No current within the supply's rating and a bath below 60 degC finishes by then; says the earliest end.
    OutOfRangeError
        The deadline is before the start.
    """
    if (deadline.tzinfo is None) != (batch.start.tzinfo is None):
        deadline = deadline.replace(tzinfo=batch.start.tzinfo)
    available_s = (deadline - batch.start).total_seconds()
    if available_s <= 0:
        raise OutOfRangeError(
            f"the deadline {deadline:%Y-%m-%d %H:%M} is not after the start {batch.start:%Y-%m-%d %H:%M}."
        )
    refuse_unsafe_cell(batch)

    def end_s(current: float) -> float:
        course = run_course(course_input(batch, current_a=current))
        return course.duration_s if course.end in _DONE else math.inf

    most = largest_safe_current_a(batch)
    earliest = end_s(most) if most > 0 else math.inf
    if earliest > available_s:
        when = (
            "it does not finish at all: " + run_course(course_input(batch, current_a=most)).end.value
            if math.isinf(earliest)
            else f"it takes {earliest / 3600:.1f} h"
        )
        raise RefusedError(
            f"By {deadline:%Y-%m-%d %H:%M} ({available_s / 3600:.1f} h) it cannot be: even at {most:.2f} A, the "
            f"most that the supply's rating and a bath below 60 °C allow, {when}.",
            "fewer rods, a later time, or a wider vessel that cools better.",
        )
    low, high = 0.0, most
    for _ in range(14):
        middle = 0.5 * (low + high)
        if end_s(middle) <= available_s:
            high = middle
        else:
            low = middle
        if high - low < 0.005 * high:
            break
    current = min(math.ceil(high * 100) / 100, most)
    changed = batch.model_copy(update={"supply": batch.supply.model_copy(update={"current_a": current})})
    return current, plan_make(changed)
