"""From the beaker to a sealed source: settle, wash, dry, seal, and the dated separation for the source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from truekev.bench.follow import RunStanding, follow_run
from truekev.bench.plan import MakePlan
from truekev.bench.readings import readings_path
from truekev.bench.recovery import (
    KEPT,
    KeptFraction,
    OxideYield,
    dissolved_thoria_ug,
    oxide_yield,
    separation_toml,
    source_label,
)
from truekev.bench.settings import BatchSettings, read_batch
from truekev.bench.settling import Liquid, SettlingRow, end_liquor, filter_holds, settling_table, water_20_degc
from truekev.bench.steps import Step
from truekev.bench.stoichiometry import molar_mass_g_mol
from truekev.bench.washing import Flocculation, WashPlan, flocculation, wash_plan
from truekev.errors import InputError
from truekev.files import write_whole
from truekev.job.planned import planned
from truekev.job.run_today import run_so_far
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.safety.cautions import cautions_for
from truekev.tables.loader import table_versions

__all__ = ["RecoverReport", "free_name", "recover_batch", "washing_of", "write_separation"]


@dataclass(frozen=True)
class RecoverReport:
    """How to recover the oxide, what is kept, and the source's file."""

    batch: str
    separated_on: datetime
    from_readings: bool
    unfinished: str
    settling: tuple[SettlingRow, ...]
    filters: dict[str, dict[str, bool]]
    washing: WashPlan
    flocculant: Flocculation
    dissolved_thoria_ug: float
    oxide: OxideYield
    kept: tuple[KeptFraction, ...]
    count_not_before: datetime
    count_again: datetime
    label: str
    steps: tuple[Step, ...]
    separation_toml: str
    record: Record


def _liquor_fractions(plan: MakePlan) -> tuple[float, float, float, float]:
    """Mass fractions of hydroxide and tungstate at the end, dry salt [g] and volume [mL]."""
    course = plan.course
    hydroxide = course.final("hydroxide") * molar_mass_g_mol("NaOH")
    tungstate = course.final("tungstate") * molar_mass_g_mol("Na2WO4")
    carbonate = course.final("carbonate") * molar_mass_g_mol("Na2CO3")
    water = course.final("water") * molar_mass_g_mol("H2O")
    total = hydroxide + tungstate + carbonate + water
    crystals = course.final("tungstate_solid") * molar_mass_g_mol("Na2WO4")
    return (
        hydroxide / total,
        tungstate / total,
        hydroxide + tungstate + carbonate + crystals,
        1000 * float(course.volume_l[-1]),
    )


def washing_of(batch: BatchSettings, plan: MakePlan) -> tuple[WashPlan, Liquid]:
    """Washing of a batch's oxide, and the liquor that it settles from.

    Raises
    ------
    OutOfRangeError
        The heel is not smaller than the beaker, or it would take more than 40 rounds.
    """
    x_oh, x_w, salt_g, volume_ml = _liquor_fractions(plan)
    density = (
        plan.course.final("water") * molar_mass_g_mol("H2O") / (1 - x_oh - x_w) / volume_ml if x_oh + x_w < 1 else 1.4
    )
    liquor = end_liquor(density, plan.tungstate_end_mol_l.value, x_oh, x_w)
    return wash_plan(salt_g=salt_g, volume_ml=volume_ml, liquor=liquor, settings=batch.recovery), liquor


def _unfinished(plan: MakePlan, standing: RunStanding) -> str:
    gone_g, planned_g = standing.tungsten_gone_g.value, plan.tungsten_dissolved_g.value + plan.tungsten_fines_g.value
    if gone_g >= 0.97 * planned_g:
        return ""
    return (
        f"The readings end with {100 * gone_g / planned_g:.0f} % of the planned tungsten gone: yield, activity and "
        "label are those of a run that stopped there. Note what was read since, and ask again."
    )


def recover_batch(batch_path: str | Path) -> RecoverReport:
    """Plan and account for the recovery of a batch.

    Notes
    -----
    The oxide to expect follows the last readings where there are any, else the plan.

    Raises
    ------
    InputError, RefusedError
        The batch, or a flocculant where it cannot work.
    """
    batch = read_batch(batch_path)
    plan = planned(batch)
    freed, from_readings, ended, unfinished = plan.thoria_freed_g, False, plan.finish, ""
    if readings_path(batch_path).exists():
        standing = follow_run(batch, plan, run_so_far(batch, batch_path, None).timeline)
        freed, from_readings, ended = standing.thoria_freed_g, True, standing.last_reading
        unfinished = _unfinished(plan, standing)
    settings = batch.recovery
    washing, liquor = washing_of(batch, plan)
    volume_ml = 1000 * float(plan.course.volume_l[-1])
    kept_share = 1 - washing.lost_share.value
    expected = Measured(
        freed.value * kept_share, freed.value * kept_share * (freed.relative_u if freed.value else 0.0), "g"
    )
    weighed = None if settings.oxide_dry_g is None else Measured(settings.oxide_dry_g, settings.u_oxide_dry_g, "g")
    oxide = oxide_yield(expected, weighed)
    separated = settings.separated_on or ended + timedelta(days=1)
    floc = flocculation(settings)
    table = settling_table((liquor, water_20_degc()), settings.settling_height_mm)
    filters = {f"{grain:g} µm": filter_holds(grain) for grain in (1.5, 4.0)}
    return RecoverReport(
        batch=batch.name,
        separated_on=separated,
        from_readings=from_readings,
        unfinished=unfinished,
        settling=table,
        filters=filters,
        washing=washing,
        flocculant=floc,
        dissolved_thoria_ug=dissolved_thoria_ug(volume_ml / 1000 + washing.water_l),
        oxide=oxide,
        kept=KEPT,
        count_not_before=separated + timedelta(days=3),
        count_again=separated + timedelta(days=21),
        label=source_label(batch, oxide.activity_bq, separated.date()),
        steps=_steps(batch, washing, floc, separated, plan.tungsten_fines_g),
        separation_toml=separation_toml(batch, oxide, separated.date()),
        record=Record.make((InputFile.of(batch_path),), tables=table_versions()),
    )


def _steps(
    batch: BatchSettings, washing: WashPlan, floc: Flocculation, separated: datetime, fines: Measured
) -> tuple[Step, ...]:
    r = batch.recovery
    sealing = (
        "Set the dry oxide in resin: no dust, a fixed geometry, less thoron. Stir it in under the hood, let it cure."
        if r.closure == "resin"
        else "Close the cool vial, glue the cap, outer tube around it."
    )
    texts: list[tuple[str, tuple[str, ...]]] = [
        (
            "Redissolve crust: dilute to about twice the volume, warm covered (vented) to 60 to 80 °C, stir; then "
            f"rest. In the undiluted liquor {r.settling_height_mm:g} mm take {washing.wait_first_h:.1f} h for 1.5 "
            "µm grains.",
            ("settle",),
        ),
        ("Sieve chips above 0.1 mm out, under liquid, and put them back into the basket.", ()),
        (
            f"Decant to {r.heel_ml:g} mL, fill up to {r.beaker_ml:g} mL with deionised water, stir, rest "
            f"{washing.wait_h:.1f} h or more; {washing.n_washes} times. Then about {washing.salt_left_mg:.2g} mg "
            "of salt stay. Coarse filter papers (8 to 25 µm) pass the oxide: decant, do not filter.",
            ("wash",),
        ),
        (f"Flocculant: {floc.kind}. {floc.advice}", ()),
        (
            f"Clear fines if dark grains are left (the plan expects {fines} of tungsten): 'truekev cleanup' first "
            "says which dose is allowed.",
            ("peroxide",),
        ),
        ("Transfer wet into the last vessel, rinse after.", ()),
        (
            "Dry at 60 to 80 °C under a filter plug to constant mass, then 110 °C; cool; weigh the vial closed.",
            ("dry",),
        ),
        (sealing, ("seal",)),
        ("Wipe test, label, log. Look at it once a year; write down who takes it at the end.", ()),
    ]
    return tuple(
        Step(separated if i == 2 else None, what, False, cautions_for(*names)) for i, (what, names) in enumerate(texts)
    )


def free_name(report: RecoverReport, batch_path: str | Path) -> Path:
    """A name beside the batch that is free, or whose file says the same."""
    batch = Path(batch_path)
    name = batch.with_name(f"{batch.stem}.source.toml")
    number = 2
    while name.exists() and name.read_text(encoding="utf-8", errors="replace") != report.separation_toml:
        name = batch.with_name(f"{batch.stem}.source-{number}.toml")
        number += 1
    return name


def write_separation(report: RecoverReport, path: str | Path) -> Path:
    """Write the source file with the dated separation.

    Raises
    ------
    InputError
        Another file of that name is there; nothing is overwritten unless it says the same.
    """
    target = Path(path)
    if target.exists() and target.read_text(encoding="utf-8", errors="replace") != report.separation_toml:
        raise InputError(f"{target} is there already and says something else; name another with --write, or move it.")
    return write_whole(target, report.separation_toml)
