"""`truekev plan`: should it be made, is it allowed, and how."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import Progress, as_json, print_table
from truekev.cli.step_text import check_picture, moment_of, paragraph, print_steps, title

if TYPE_CHECKING:
    from truekev.job.plan_make import MakeReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def plan(
        batch: str = typer.Argument(metavar="BATCH.toml", help="A batch file; `truekev new batch` prints one."),
        activity: float = typer.Option(
            None, "--activity", metavar="BQ", help="Th-232 wanted: the smallest batch for it."
        ),
        line: float = typer.Option(None, "--line", metavar="KEV", help="A line wanted, with --rate."),
        rate: float = typer.Option(None, "--rate", metavar="PER_S", help="Photons per second wanted in that line."),
        done_by: str = typer.Option(None, "--done-by", metavar="TIME", help="Finish by then: the current for it."),
        picture: str = typer.Option(None, "--picture", metavar="FILE.png", help="Draw the time course."),
        write: str = typer.Option(None, "--write", metavar="NEW.toml", help="Write the batch as planned."),
        quick: bool = typer.Option(False, "--quick", help="Leave the comparison of counting times out."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Plan a make: figures with uncertainties, steps with clock times, what to have at hand.

        Example: truekev plan batch.toml --done-by 2026-10-07T18:00 --picture run.png
        """
        from truekev.job.plan_make import plan_of_batch

        check_picture(picture)
        report = plan_of_batch(
            batch,
            activity_bq=activity,
            line_kev=line,
            line_rate_per_s=rate,
            done_by=None if done_by is None else moment_of(done_by, "--done-by"),
            compare=not quick,
            progress=Progress(),
        )
        if picture is not None:
            from truekev.pictures.bench_course import picture_of_course
            from truekev.pictures.canvas import save

            save(picture_of_course(report), picture)
        if write is not None:
            from truekev.bench.write_batch import batch_toml
            from truekev.files import write_whole

            write_whole(write, batch_toml(report.batch, "Sized by 'truekev plan'. " + report.answer))
        if json:
            typer.echo(as_json(report.document()))
        else:
            _print(report)
            for name in filter(None, (picture, write)):
                typer.echo(f"\nwritten: {name}")


def _print(report: MakeReport) -> None:
    batch, plan = report.batch, report.plan
    typer.echo(f"{batch.name}: plan of {batch.start:%Y-%m-%d %H:%M}")
    title("Worth it, allowed, safe")
    for words in report.opening.worth_it.splitlines():
        paragraph(words)
    for words in report.opening.assumed:
        paragraph(words, "  - ")
    paragraph(f"These rods: {plan.content.activity_bq} of Th-232, {report.opening.exemption.say}")
    paragraph(report.opening.single_rod)
    typer.echo("Published rules, as examples:")
    for rule in report.opening.rules:
        paragraph(str(rule), "  - ")
    if report.answer:
        title("Answer")
        paragraph(report.answer)
    title("What it takes and gives (± standard uncertainty)")
    low, high = plan.content.thoria_limits_g
    low_bq, high_bq = plan.content.activity_limits_bq
    rows = [
        ("rods", f"{plan.content.n_rods}, {plan.content.mass_g}"),
        ("thoria in them", f"{plan.content.thoria_g} (limits {low:.2f} to {high:.2f} g)"),
        ("thoria freed", str(plan.thoria_freed_g)),
        ("Th-232 freed", f"{plan.activity_freed_bq} (limits {low_bq:.0f} to {high_bq:.0f} Bq in the rods)"),
        (
            "tungsten dissolved; as fines; left",
            _three(plan.tungsten_dissolved_g, plan.tungsten_fines_g, plan.tungsten_left_g),
        ),
        ("stubs above the liquid", "none" if plan.stubs_g.value == 0 else f"{plan.stubs_g} ({_lengths(report)})"),
        ("charge", str(plan.charge_ah)),
        ("duration; end", f"{plan.duration_h}; {plan.finish:%a %d %b %H:%M}"),
        ("what ends it", plan.end.value),
        ("hydroxide: net need; excess factor", f"{plan.hydroxide_needed_g}; {plan.hydroxide_excess}"),
        ("free hydroxide: start; end", f"{plan.hydroxide_start_mol_l}; {plan.hydroxide_end_mol_l}"),
        ("tungstate at the end", str(plan.tungstate_end_mol_l)),
        ("tungstate over its solubility in water", f"{plan.tungstate_saturation} (an upper bound in caustic)"),
        ("tungstate crystallised", "none" if plan.tungstate_crystals_g.value == 0 else str(plan.tungstate_crystals_g)),
        ("carbon dioxide taken up", str(plan.carbon_dioxide_mol)),
        ("water: used; evaporated", f"{plan.water_electrolysis_g}; {plan.water_evaporated_g}"),
        ("evaporation; latest first top-up", f"{plan.evaporation_g_h}; {plan.latest_top_up:%a %d %b %H:%M}"),
        ("volume at the end", str(plan.volume_end_ml)),
        ("voltage: warm; at nine tenths", f"{plan.voltage_start_v}; {plan.voltage_late_v}"),
        ("heat; at the cap", f"{plan.heat_w}; {plan.heat_at_cap_w}"),
        ("bath: warm; peak", f"{plan.temperature_degc}; {plan.temperature_peak_degc}"),
        ("hydrogen: rate; in all (25 °C)", f"{plan.hydrogen_ml_min}; {plan.hydrogen_l}"),
        ("air for a quarter of the flammable limit", str(plan.air_l_min)),
        ("current density at the start", str(plan.current_density_a_cm2)),
        ("of the limiting current: start; nine tenths", f"{plan.limit_ratio_start}; {plan.limit_ratio_late}"),
        ("oxide lost in mist", str(plan.mist_thoria_mg)),
    ]
    print_table("", ["quantity", "value"], [list(row) for row in rows])
    parts = [("warm", plan.voltage_start), ("nine tenths", plan.voltage_late)]
    print_table(
        "\nCell voltage in parts [V]",
        ["", "reversible", "anode", "cathode", "bath", "contacts", "concentration", "sum"],
        [
            [
                name,
                *(f"{v:.2f}" for v in (p.reversible_v, p.anode_v, p.cathode_v, p.bath_v, p.contacts_v)),
                f"{p.concentration_v:.2f}",
                f"{p.total_v:.2f}",
            ]
            for name, p in parts
        ],
    )
    for warning in plan.warnings:
        paragraph(warning, "* ")
    title("Have at hand")
    for item in report.shopping:
        paragraph(f"{item.what}: {item.amount} ({item.why})", "  - ")
    paragraph("Protective gear: " + "; ".join(report.protective_gear) + ".")
    title("Steps")
    print_steps(report.steps)


def _lengths(report: MakeReport) -> str:
    dipped_mm = report.batch.anode.dipped_mm or 0.0
    over = (f"{lot.count} of {lot.length_mm - dipped_mm:g} mm" for lot in report.batch.rods if lot.role == "anode")
    return ", ".join(over)


def _three(*values: object) -> str:
    return "; ".join(str(v) for v in values)
