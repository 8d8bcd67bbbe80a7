"""Sheets of a batch: plan and run, recovery and clean-up, waste with its labels."""

from __future__ import annotations

from collections.abc import Iterable

from truekev.bench.steps import Step
from truekev.book.body import Body
from truekev.book.records import BookRecord
from truekev.book.things import Waste
from truekev.job.book_batch import StoredBatch
from truekev.job.shelf_items import ShelfItem
from truekev.pictures.bench_course import picture_of_course
from truekev.pictures.canvas import png_of
from truekev.safety.cautions import cautions_for
from truekev.safety.rules import ASK_FIRST
from truekev.sheets.behind import versions_of
from truekev.sheets.content import (
    Blanks,
    Fact,
    Facts,
    Figure,
    Grid,
    Label,
    Sheet,
    SheetStep,
    Steps,
    Words,
    caution_texts,
)

__all__ = ["jar_sheet", "plan_sheet", "recovery_sheet", "waste_sheet"]

NO_DRAIN = "Never a drain, never a bin."


def _steps(steps: Iterable[Step]) -> tuple[SheetStep, ...]:
    return tuple(
        SheetStep(
            "" if step.when is None else f"{step.when:%a %d %b %H:%M}",
            step.what,
            caution_texts(step.cautions),
            step.unattended,
        )
        for step in steps
    )


def plan_sheet(stored: StoredBatch, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """Plan and run sheet of a batch: figures, steps to tick with their cautions, room for readings."""
    report = stored.plan
    batch, plan = report.batch, report.plan
    low, high = plan.content.activity_limits_bq
    rods = "; ".join(
        f"{lot.count} × {lot.class_ or f'{lot.thoria_percent} %'} {lot.diameter_mm:g} × {lot.length_mm:g} mm "
        f"({lot.role})"
        for lot in batch.rods
    )
    return Sheet(
        title="Plan and run sheet",
        subtitle=f"{batch.name}, from {batch.start:%A %d %B %Y %H:%M}",
        cautions=(f"{ASK_FIRST} Reply in hand before anything starts.", report.opening.exemption.say),
        inputs=(
            Fact("rods", rods),
            Fact(
                "bath",
                f"{batch.hydroxide.mass_g:g} g sodium hydroxide ({batch.hydroxide.assay_percent:g} %) to "
                f"{batch.cell.volume_ml:g} mL",
                f"{batch.cell.vessel_material}, {batch.cell.vessel_diameter_mm:g} × {batch.cell.vessel_height_mm:g} mm",
            ),
            Fact("supply", f"{batch.supply.current_a:g} A, cap {batch.supply.voltage_cap_v:g} V"),
            Fact(
                "room",
                f"{batch.room.temperature_degc:g} °C, {batch.room.relative_humidity_percent:g} % humidity, "
                f"air: {batch.room.air}",
            ),
            Fact("somebody there", f"{batch.attendance.from_time:%H:%M} to {batch.attendance.to_time:%H:%M}"),
        ),
        results=(
            Fact.of("mass of the rods", plan.content.mass_g),
            Fact.of("thoria freed", plan.thoria_freed_g),
            Fact.of("Th-232 freed", plan.activity_freed_bq, f"limits of the class: {low:.0f} to {high:.0f} Bq"),
            Fact.of("tungsten dissolved", plan.tungsten_dissolved_g),
            Fact.of("charge", plan.charge_ah),
            Fact("duration; end", f"{plan.duration_h}; {plan.finish:%a %d %b %H:%M}", plan.end.value),
            Fact("cell voltage, warm; at nine tenths", f"{plan.voltage_start_v}; {plan.voltage_late_v}"),
            Fact("bath, warm; peak", f"{plan.temperature_degc}; {plan.temperature_peak_degc}"),
            Fact.of("free hydroxide at the end", plan.hydroxide_end_mol_l),
            Fact(
                "water used; evaporated",
                f"{plan.water_electrolysis_g}; {plan.water_evaporated_g}",
                f"latest first top-up: {plan.latest_top_up:%a %d %b %H:%M}",
            ),
            Fact(
                "hydrogen: rate; in all",
                f"{plan.hydrogen_ml_min}; {plan.hydrogen_l}",
                f"air past the cell: {plan.air_l_min} or more",
            ),
        ),
        parts=(
            *((Words("Warnings", plan.warnings),) if plan.warnings else ()),
            Grid(
                "Have at hand",
                ("what", "how much", "why"),
                tuple((i.what, i.amount, i.why) for i in report.shopping),
                (3, 2, 4),
            ),
            Words("Protective gear", ("; ".join(report.protective_gear) + ".",)),
            Steps("Steps to tick", _steps(report.steps)),
            Figure(
                png_of(picture_of_course(report)),
                "The planned course: compare each reading with it.",
                f"Current, voltage, temperature, level and composition over {plan.duration_h}.",
            ),
            Blanks(
                "Readings",
                columns=(
                    "date, time",
                    "current [A]",
                    "voltage [V]",
                    "temperature [°C]",
                    "level [mL]",
                    "remark, initials",
                ),
                n_rows=16,
            ),
            Blanks("Before the start", ("authority, reply no.", "rods weighed [g]", "second person, telephone")),
        ),
        versions=versions_of([stored.record, *behind], report.record.tables),
        sign=("planned by, date", "run by, date", "checked by, date"),
    )


def recovery_sheet(stored: StoredBatch, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """Recovery and clean-up sheet of a batch."""
    report, cleanup = stored.recovery, stored.cleanup
    oxide = report.oxide
    parts: list[Steps | Words | Facts | Grid | Blanks] = [
        Steps("Steps to tick", _steps(report.steps)),
        Grid(
            "Settling",
            ("liquid", "grain [µm]", "speed [mm/h]", "hours for the height"),
            tuple(
                (r.liquid, f"{r.grain_um:g}", f"{3.6e6 * r.velocity_m_s:.3g}", f"{r.hours:.3g}")
                for r in report.settling
            ),
        ),
        Grid(
            "What is kept with the thorium",
            ("element", "fraction", "band", "why"),
            tuple((k.element, f"{k.value:g}", f"{k.low:g} to {k.high:g}", k.why) for k in report.kept),
            (1, 1, 2, 7),
        ),
    ]
    if cleanup is None:
        parts.append(Words("Clean-up with peroxide: refused", (stored.cleanup_refused,)))
    else:
        plan = cleanup.plan
        parts += [
            Facts(
                "Clean-up with peroxide",
                (
                    Fact(
                        "dose asked for",
                        f"{plan.asked.volume_ml:g} mL of {plan.asked.percent:g} %",
                        f"largest allowed at once: {plan.largest_in_words}",
                    ),
                    Fact.of("peak with cooling", plan.cooled_peak_degc),
                    Fact(
                        "oxygen", f"{plan.oxygen_l:.2g} L, from the peroxide as weighed", "vented vessel, never closed"
                    ),
                    Fact("takes", f"{plan.hours[0]:.0f} to {plan.hours[1]:.0f} h, an estimate"),
                ),
            ),
            Steps(
                "Clean-up: steps",
                tuple(
                    SheetStep("", text, caution_texts(cleanup.cautions) if i == 0 else ())
                    for i, text in enumerate((*(f"Take out first: {thing}." for thing in plan.first_out), *plan.steps))
                ),
            ),
            Words("Over when", plan.over_when),
        ]
    parts.append(
        Blanks("Weighings and counts", columns=("date, time", "what", "mass [g]", "strip, pH", "initials"), n_rows=8)
    )
    return Sheet(
        title="Recovery and clean-up sheet",
        subtitle=f"{report.batch}, separated {report.separated_on:%d %B %Y}",
        cautions=("From the washing on the oxide never becomes dry outside the last vessel.", NO_DRAIN),
        inputs=(
            Fact.of(
                "oxide expected", oxide.expected_g, "from the readings" if report.from_readings else "from the plan"
            ),
            Fact("oxide weighed", "not yet" if oxide.weighed_g is None else str(oxide.weighed_g)),
        ),
        results=(
            Fact(
                "yield",
                "not weighed yet" if oxide.share is None else f"{oxide.share} of what the rods held",
                oxide.says,
            ),
            Fact.of("Th-232", oxide.activity_bq),
            Fact.of(
                "washings",
                report.washing.n_washes,
                f"each to 1/{report.washing.dilution_each:.0f}; "
                f"{report.washing.water_l:.2g} L of water; about {report.washing.salt_left_mg:.2g} mg of salt stay",
            ),
            Fact.of("oxide lost in washing", report.washing.lost_share, "share"),
            Fact("count", f"not before {report.count_not_before:%d %b %Y}; again after {report.count_again:%d %b %Y}"),
        ),
        parts=tuple(parts),
        versions=versions_of([stored.record, *behind], report.record.tables),
        sign=("recovered by, date", "weighed by, date"),
    )


def waste_sheet(stored: StoredBatch, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """Waste sheet of a batch: whom to ask, what there is, in which order, and a label for each vessel."""
    report = stored.waste
    plan = report.plan
    chloride = plan.calcium_planned_g["calcium chloride"]
    return Sheet(
        title="Waste sheet",
        subtitle=report.batch,
        cautions=(report.ask_first, *caution_texts(report.cautions)),
        results=(
            Fact.of("sludge, dry; wet", f"{plan.sludge_dry_g}; {plan.sludge_wet_g}"),
            Fact.of(
                "Th-232 in the sludge, planned",
                plan.sludge_bq_g_planned,
                f"1 Bq/g is reached when {100 * plan.sludge_reaches_1_bq_g_at:.2g} % of the batch's thoria is in it; "
                "count it",
            ),
            Fact("calcium chloride, anhydrous", f"{chloride:.1f} g planned", "a tenth more than sodium could take"),
            Fact(
                "liquid over the sludge", f"about {plan.liquid_ml:.0f} mL, pH about {plan.liquid_ph:.1f}", "corrosive"
            ),
            Fact(
                "tungsten left in the liquid",
                f"{plan.tungsten_left_mg_l[0]:g} to {plan.tungsten_left_mg_l[1]:g} mg/L, a band from memory",
            ),
            Fact.of("or kept: tungstate as trioxide", plan.trioxide_obtainable_g),
        ),
        parts=(
            Steps("In this order", tuple(SheetStep("", text) for text in plan.order)),
            Words("Solids that count as contaminated", plan.solids),
            *(_vessel_label(text) for text in plan.labels),
            Blanks(
                "Reply of the authority and of the licensed disposer",
                ("authority, reply no., date", "licensed disposer, acceptance no., date", "handed over on, to whom"),
            ),
        ),
        versions=versions_of([stored.record, *behind], report.record.tables),
        sign=("closed by, date", "handed over by, date", "taken over by, date"),
    )


def _vessel_label(text: str) -> Label:
    heading, _, rest = text.partition(": ")
    lines = tuple(part.strip() for part in rest.split(";"))
    return Label(heading, lines, "radioactive" in text or "thorium" in text, 90.0, 50.0)


def jar_sheet(record: BookRecord[Waste], item: ShelfItem) -> Sheet:
    """Sheet and label of one waste jar."""
    body = record.body
    activity = "not measured yet" if item.head_activity is None else f"{item.head_activity} of {item.head}"
    amount = body.mass_g or body.volume_ml
    lines = (
        body.contents,
        body.hazards,
        f"amount: {amount.measured if amount else 'not weighed'}",
        f"activity: {activity}" + (f", {body.measured_on}" if body.measured_on else ""),
        f"closed {body.closed_on} · record {record.id}",
        "owner ____   ask the authority; reply no. ____",
    )
    compared = item.comparisons.get("exemption")
    return Sheet(
        title="Waste sheet and label",
        subtitle=f"{body.name}, closed {body.closed_on}",
        cautions=(f"{ASK_FIRST} {NO_DRAIN}", *caution_texts(cautions_for("waste", "precipitate"))),
        inputs=(
            Fact("contents", body.contents, body.hazards),
            Fact("place", body.place),
            Fact("amount", "not weighed" if amount is None else str(amount.measured)),
        ),
        results=(
            Fact("activity", activity, item.remark),
            Fact(
                "beside the published exemption figures",
                "not compared" if compared is None else compared.say,
                "information, not permission",
            ),
        ),
        parts=(
            Label(body.name, lines, bool(item.activities) or "radioactive" in body.hazards, 90.0, 50.0),
            Blanks("Way out", ("authority, reply no., date", "licensed disposer, reference no.", "handed over on")),
        ),
        versions=versions_of([record]),
        sign=("closed by, date", "taken over by, date"),
    )
