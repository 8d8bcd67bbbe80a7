"""Should it be made, is it allowed, and how: the plan of a batch."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from pathlib import Path

from truekev.bench.course import EndEvent
from truekev.bench.inverse import current_for_deadline_a, least_hours, smallest_batch
from truekev.bench.plan import MakePlan
from truekev.bench.settings import BatchSettings, read_batch
from truekev.bench.steps import ShoppingItem, Step, make_steps, shopping_list
from truekev.bench.stoichiometry import calcium_salt_g
from truekev.bench.waste import calcium_need_mol
from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.job.planned import planned
from truekev.job.worth_it import WorthIt, worth_making
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.safety.cautions import PROTECTIVE_GEAR
from truekev.safety.rules import Comparison, PublishedRule, compare_with_exemption, published_rules
from truekev.sources.components import aged_bq
from truekev.tables.loader import table_versions

__all__ = ["MakeReport", "Opening", "activity_for_line_bq", "plan_of_batch", "plan_of_settings"]

NOT_COMPARED = (
    "The counting times were not compared: `truekev forecast --source rods:…` sets the rods as they are beside the "
    "vial that could be made. Count the rods as they are first; often nothing needs making."
)
_LONGEST_H = 30 * 24 - 1
LOWEST_AGED_SHARE = 0.42  # daughters of thorium of unknown age: 0.42 to 1.00 of equilibrium


@dataclass(frozen=True)
class Opening:
    """What stands before any figure: is it worth it, what that assumes, is it allowed."""

    worth_it: str
    assumed: tuple[str, ...]
    exemption: Comparison
    single_rod: str
    rules: tuple[PublishedRule, ...]


@dataclass(frozen=True)
class MakeReport:
    """A plan with its opening, steps, shopping and gear."""

    opening: Opening
    batch: BatchSettings
    answer: str
    plan: MakePlan
    steps: tuple[Step, ...]
    shopping: tuple[ShoppingItem, ...]
    protective_gear: tuple[str, ...]
    record: Record

    def document(self) -> Mapping[str, object]:
        """The report for JSON: everything but the states of the integration; the time course as rows."""
        course = self.plan.course
        return {
            "opening": self.opening,
            "answer": self.answer,
            "batch": self.batch.model_dump(mode="json", by_alias=True, exclude_none=True),
            "figures": {f.name: getattr(self.plan, f.name) for f in fields(self.plan) if f.name != "course"},
            "course": {
                "time_h": course.time_s / 3600,
                "current_a": course.current_a,
                "voltage_v": course.voltage_v,
                "temperature_degc": course.temperature_degc,
                "volume_l": course.volume_l,
                "hydroxide_mol_l": course.hydroxide_mol_l,
                "tungstate_mol_l": course.tungstate_mol_l,
            },
            "steps": self.steps,
            "shopping": self.shopping,
            "protective_gear": self.protective_gear,
            "record": self.record,
        }


def activity_for_line_bq(energy_kev: float, photons_per_s: float) -> tuple[float, str]:
    """Th-232 activity whose equilibrium chain emits a line that often [Bq], and a sentence about it.

    Raises
    ------
    InputError
        No line of the thorium series within 1 keV, or a rate that is not positive.
    """
    if not photons_per_s > 0:
        raise InputError(f"line rate {photons_per_s:g} per second: it must be above zero.")
    per_th232 = aged_bq("Th-232")
    near = [
        (abs(line.energy_kev - energy_kev), line, line.intensity * ratio)
        for name, ratio in per_th232.items()
        for line in photon_lines(name)
        if abs(line.energy_kev - energy_kev) <= 1.0
    ]
    if not near:
        raise InputError(
            f"line {energy_kev:g} keV: the thorium series has none within 1 keV; try 238.6, 583.2, 911.2 or 2614.5."
        )
    _, line, per_decay = max(near, key=lambda item: item[2])
    activity = photons_per_s / per_decay
    return activity, (
        f"{photons_per_s:g} photons per second at {line.energy_kev:.1f} keV ({line.nuclide}) need {activity:.0f} "
        f"Bq of Th-232 in equilibrium; thorium of unknown age gives {LOWEST_AGED_SHARE} to 1.00 of that rate."
    )


def plan_of_batch(
    path: str | Path,
    *,
    activity_bq: float | None = None,
    line_kev: float | None = None,
    line_rate_per_s: float | None = None,
    done_by: datetime | None = None,
    compare: bool = False,
    progress: Callable[[float, str], None] | None = None,
) -> MakeReport:
    """Plan the batch of a file, as it stands or turned round.

    Parameters
    ----------
    path : str or Path
        The batch file.
    activity_bq : float, optional
        Th-232 wanted [Bq]: the smallest batch of these rods that gives it.
    line_kev, line_rate_per_s : float, optional
        A line's rate wanted instead [1/s].
    done_by : datetime, optional
        Finish by then: the smallest current that does it.
    compare : bool
        Forecast the counting times of the rods as they are and of the vial; the first time takes up to half a minute.
    progress : callable, optional
        Called with (share done, what).

    Raises
    ------
    InputError, RefusedError
        As `plan_make`, `smallest_batch` and `current_for_deadline_a` say.
    """
    return plan_of_settings(
        read_batch(path),
        inputs=(InputFile.of(path),),
        activity_bq=activity_bq,
        line_kev=line_kev,
        line_rate_per_s=line_rate_per_s,
        done_by=done_by,
        compare=compare,
        progress=progress,
    )


def plan_of_settings(
    batch: BatchSettings,
    *,
    inputs: tuple[InputFile, ...] = (),
    activity_bq: float | None = None,
    line_kev: float | None = None,
    line_rate_per_s: float | None = None,
    done_by: datetime | None = None,
    compare: bool = False,
    progress: Callable[[float, str], None] | None = None,
) -> MakeReport:
    """As `plan_of_batch`, for a batch at hand."""
    answers: list[str] = []
    if (line_kev is None) != (line_rate_per_s is None):
        raise InputError("a wanted line needs both: its energy and its rate (--line 2614.5 --rate 100).")
    if line_kev is not None and line_rate_per_s is not None:
        if activity_bq is not None:
            raise InputError("give a wanted activity or a wanted line, not both.")
        activity_bq, said = activity_for_line_bq(line_kev, line_rate_per_s)
        answers.append(said)
    if activity_bq is not None:
        batch = smallest_batch(batch, activity_bq)
        answers.append(_size_in_words(batch, activity_bq))
    if done_by is not None:
        current, plan = current_for_deadline_a(batch, done_by)
        batch = batch.model_copy(update={"supply": batch.supply.model_copy(update={"current_a": current})})
        answers.append(
            f"To finish by {done_by:%Y-%m-%d %H:%M}: at least {current:.2f} A ({plan.finish:%Y-%m-%d %H:%M})."
        )
    else:
        if activity_bq is not None:
            _refuse_endless(batch, least_hours(batch))
        plan = planned(batch)
    _refuse_endless(batch, plan.duration_h.value)
    if activity_bq is not None and plan.end not in (EndEvent.DISSOLVED, EndEvent.PARTED):
        raise RefusedError(
            f"{activity_bq:.0f} Bq of Th-232 cannot be had at {batch.supply.current_a:g} A under a cap of "
            f"{batch.supply.voltage_cap_v:g} V: before all of it is dissolved, {plan.end.value}.",
            "more current (a shorter run takes up less carbon dioxide and loses less water), a higher cap, a smaller "
            "gap, or somebody there more often to top up.",
        )
    _, most_mol, planned_mol = calcium_need_mol(
        plan.course.final("tungstate"), plan.course.final("sodium") + 2 * plan.course.final("tungstate_solid")
    )
    return MakeReport(
        opening=_opening(plan, _worth_it(batch, plan, progress) if compare else None),
        batch=batch,
        answer=" ".join(answers),
        plan=plan,
        steps=make_steps(batch, plan),
        shopping=shopping_list(batch, plan, calcium_salt_g(max(planned_mol, most_mol), "calcium chloride")),
        protective_gear=PROTECTIVE_GEAR,
        record=Record.make(inputs, {"batch": batch.model_dump(mode="json", by_alias=True)}, table_versions()),
    )


def _refuse_endless(batch: BatchSettings, hours: float) -> None:
    if hours > _LONGEST_H:
        raise OutOfRangeError(
            f"supply.current_a: at {batch.supply.current_a:g} A it would take more than 30 days; more current, a "
            "larger supply, or fewer rods."
        )


def _size_in_words(batch: BatchSettings, activity_bq: float) -> str:
    rods = next(lot for lot in batch.rods if lot.role == "anode")
    return (
        f"{activity_bq:.0f} Bq of Th-232 take {rods.count} {'rod' if rods.count == 1 else 'rods'} of "
        f"{rods.diameter_mm:g} × {rods.length_mm:g} mm, "
        f"{batch.hydroxide.mass_g:g} g sodium hydroxide in {batch.cell.volume_ml:g} mL, in a vessel of "
        f"{batch.cell.vessel_diameter_mm:g} mm; nothing smaller does it (5 % lost in washing allowed for)."
    )


def _worth_it(batch: BatchSettings, plan: MakePlan, progress: Callable[[float, str], None] | None) -> WorthIt:
    lot = max((one for one in batch.rods if one.role == "anode"), key=lambda one: one.count)
    content = plan.content
    share = content.thoria_g.value / content.mass_g.value
    thoria = Measured(share, share * content.thoria_g.relative_u)
    return worth_making(lot.count, lot.diameter_mm, lot.length_mm, thoria, plan.thoria_freed_g.value, progress=progress)


def _opening(plan: MakePlan, compared_times: WorthIt | None) -> Opening:
    content = plan.content
    compared = compare_with_exemption({"Th-232": content.activity_bq.value}, content.mass_g.value)
    rods = compare_with_exemption({"Th-232": content.single_rod_bq}, content.mass_g.value / content.n_rods)
    single = f"One rod alone ({content.single_rod_bq:.0f} Bq of Th-232): {rods.say}"
    words = NOT_COMPARED if compared_times is None else "\n".join(compared_times.answer)
    said = () if compared_times is None else compared_times.said
    return Opening(words, said, compared, single, published_rules())
