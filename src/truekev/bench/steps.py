"""The steps of a make to tick, with clock times, unattended hours marked, and each step's cautions on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from truekev.bench.attendance import unattended_stretches
from truekev.bench.bath import state_index
from truekev.bench.course import EndEvent
from truekev.bench.plan import MakePlan
from truekev.bench.settings import BatchSettings
from truekev.bench.stoichiometry import mol
from truekev.safety.cautions import Caution, cautions_for

__all__ = ["ShoppingItem", "Step", "dissolving_rise_k", "make_steps", "shopping_list"]

_HEAT_OF_SOLUTION_J_MOL = 44.5e3  # NaOH into water, from memory


@dataclass(frozen=True)
class Step:
    """One step: when (None: before the clock starts or after it ends), what, whether nobody is there, and its
    cautions.
    """

    when: datetime | None
    what: str
    unattended: bool
    cautions: tuple[Caution, ...]


@dataclass(frozen=True)
class ShoppingItem:
    """One thing to have at hand: what, how much, and why."""

    what: str
    amount: str
    why: str


def dissolving_rise_k(batch: BatchSettings) -> float:
    """Temperature rise when the hydroxide dissolves at once without cooling [K]; heat of solution from memory."""
    heat = mol(batch.hydroxide.mass_g, "NaOH") * _HEAT_OF_SOLUTION_J_MOL
    return heat / (batch.cell.volume_ml * 1.18 * 3.65)


def make_steps(batch: BatchSettings, plan: MakePlan) -> tuple[Step, ...]:
    """All steps of a make in order."""
    start = batch.start
    steps = [
        Step(None, "Ask the authority, and write its reply's number on this sheet.", False, cautions_for("before")),
        Step(None, "Count the rods as they are, an hour at least, and keep the spectrum.", False, ()),
        Step(
            None,
            f"Weigh the anode rods (planned {plan.content.mass_g.value:.1f} g) and write the mass down.",
            False,
            (),
        ),
        Step(
            None,
            f"Make up the bath: {batch.hydroxide.mass_g:g} g sodium hydroxide in portions into cold water, to "
            f"{batch.cell.volume_ml:g} mL. At once it would heat by {dissolving_rise_k(batch):.0f} K. Let it cool "
            "to the room.",
            False,
            cautions_for("dissolve"),
        ),
        Step(
            None,
            f"Set up: tray for {1.1 * batch.cell.volume_ml:.0f} mL, clamped vessel, {_holder(batch)}, stirring "
            f"{batch.cell.stirring}; air of {plan.air_l_min.value:.2g} L/min at least past the cell. Mark the level.",
            False,
            cautions_for("setup"),
        ),
        Step(
            start,
            f"Switch on: {batch.supply.current_a:g} A, cap {batch.supply.voltage_cap_v:g} V. Expect "
            f"{plan.voltage_start_v} once warm.",
            False,
            cautions_for("lift", "run"),
        ),
        Step(
            start + timedelta(minutes=20),
            "Look: gas at the cathode only, the clips cool, the voltage as expected. Below 1 V is a short; note "
            "the first reading.",
            False,
            (),
        ),
    ]
    timed = [*_top_ups(batch, plan), *_unattended(batch, plan), *_slow_down(batch, plan)]
    timed.sort(key=lambda step: step.when or start)
    steps += timed
    steps.append(Step(plan.finish, _ending(plan), False, cautions_for("lift")))
    steps.append(
        Step(
            None,
            "Dilute to twice the volume and warm it covered (vented), 60 to 80 °C, until crust of tungstate and "
            "carbonate is dissolved; then let the oxide settle. Go on with 'truekev recover' and 'truekev "
            "cleanup'.",
            False,
            cautions_for("settle"),
        )
    )
    return tuple(steps)


def _holder(batch: BatchSettings) -> str:
    if batch.anode.holder == "basket":
        return f"rods in the {batch.anode.basket_material} basket, wholly under the liquid"
    return f"rods dipped {batch.anode.dipped_mm:g} mm"


def _top_ups(batch: BatchSettings, plan: MakePlan) -> list[Step]:
    steps = []
    for top_up in plan.top_ups:
        when = batch.start + timedelta(seconds=top_up.time_s)
        steps.append(
            Step(
                when,
                f"Top up {_round_ml(top_up.water_g)} mL of deionised water by {when:%H:%M} (level by then "
                f"{100 * top_up.level_before:.0f} % of the start); note current, voltage, temperature.",
                False,
                (),
            )
        )
    return steps


def _round_ml(grams: float) -> str:
    return f"{grams:.0f}" if grams < 20 else f"{round(grams / 5) * 5}"


def _unattended(batch: BatchSettings, plan: MakePlan) -> list[Step]:
    return [
        Step(
            begin,
            f"UNATTENDED from {begin:%a %H:%M} to {end:%a %H:%M}: about "
            f"{plan.evaporation_g_h.value * (end - begin).total_seconds() / 3600:.0f} mL will be lost.",
            True,
            cautions_for("unattended"),
        )
        for begin, end in unattended_stretches(batch.start, plan.finish, batch.attendance)
    ]


def _slow_down(batch: BatchSettings, plan: MakePlan) -> list[Step]:
    course = plan.course
    over = (course.limit_ratio > 0.6) & (course.time_s > 0.5 * course.duration_s)
    if plan.end is not EndEvent.DISSOLVED or not over.any():
        return []
    at = int(over.argmax())
    at_s = float(course.time_s[at])
    charge_left_c = course.final("charge_c") - float(course.states[at, state_index["charge_c"]])
    later = batch.start + timedelta(seconds=round(at_s + charge_left_c / (0.5 * batch.supply.current_a)))
    return [
        Step(
            batch.start + timedelta(minutes=round(at_s / 60)),
            f"Lower the current to {0.5 * batch.supply.current_a:.2g} A: the rods are thin now and the hydroxide "
            f"carries no more. It then ends about {later:%a %H:%M}. (If nobody is there the supply goes to its cap, "
            "the bath warms, and it ends as planned.)",
            False,
            (),
        )
    ]


def _ending(plan: MakePlan) -> str:
    if plan.end is EndEvent.DISSOLVED:
        what = "Expected end: the current falls at the cap, the basket is empty."
    else:
        what = f"Expected end: {plan.end.value}."
    return f"{what} Supply off, lift the rods and basket out, disconnect. Weigh what is left."


def shopping_list(batch: BatchSettings, plan: MakePlan, calcium_chloride_g: float) -> tuple[ShoppingItem, ...]:
    """What must be on the bench before the start; `calcium_chloride_g` (anhydrous) comes from the waste plan."""
    bath_ml = batch.cell.volume_ml
    top_up = sum(t.water_g for t in plan.top_ups)
    water_l = (bath_ml + 1.5 * top_up + 2 * bath_ml + 2000) / 1000
    return (
        ShoppingItem("sodium hydroxide pellets", f"{batch.hydroxide.mass_g:g} g", "the bath"),
        ShoppingItem("deionised, chloride-free water", f"{water_l:.1f} L", "bath, topping up, diluting, washing"),
        ShoppingItem(
            "constant-current supply",
            f"{batch.supply.rating_a:g} A, {batch.supply.voltage_cap_v:g} V",
            "with a voltage cap, a temperature and a level cut-out before it",
        ),
        ShoppingItem(
            f"vessel of {batch.cell.vessel_material}",
            f"{batch.cell.vessel_diameter_mm:g} × {batch.cell.vessel_height_mm:g} mm",
            "with clamp; tray that holds 110 % of the bath",
        ),
        ShoppingItem(
            "titanium basket" if batch.anode.holder == "basket" else "titanium clip",
            "1",
            "holds the rods, carries no current",
        ),
        ShoppingItem(
            f"{batch.cell.cathode_material} cathode", f"{batch.cell.cathode_area_cm2:g} cm²", "above or beside"
        ),
        ShoppingItem(
            "calcium chloride, anhydrous", f"{calcium_chloride_g:.0f} g", "precipitates the tungstate, if not kept"
        ),
        ShoppingItem(
            "hydrogen peroxide 3 to 6 %", "100 mL", "clears fines; doses as 'truekev cleanup' allows, nothing stronger"
        ),
        ShoppingItem("pH and peroxide test strips", "1 pack each", "washing; peroxide below 10 mg/L before drying"),
        ShoppingItem("sealable glass or plastic vial, outer tube, label", "1 each", "the source"),
        ShoppingItem("wipes, closable waste vessels with labels", "3 vessels", "solids, sludge, liquid"),
    )
