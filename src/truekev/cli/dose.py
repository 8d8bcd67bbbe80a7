"""`truekev dose`: what a source gives to somebody beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.cli.step_text import moment_of, paragraph, print_cautions, title

if TYPE_CHECKING:
    from truekev.job.dose import DoseReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def dose(
        source: str = typer.Option(
            ..., "--source", metavar="SOURCE", help="A source word, a nuclide or a source file."
        ),
        at: str = typer.Option("10cm", "--at", metavar="DISTANCE", help="As 10cm, 1m, 30mm or contact."),
        activity: float = typer.Option(
            None, "--activity", metavar="BQ", help="For a source that does not know its own."
        ),
        on: str = typer.Option(None, "--on", metavar="DATE", help="The day, for a source file."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Dose rate at a distance, intake, thoron, and the published limits: information, not permission.

        Example: truekev dose --source thorium-vial --activity 2700 --at 10cm
        """
        from truekev.job.dose import dose_of_source

        day = None if on is None else moment_of(on, "--on").date()
        report = dose_of_source(source, at, on=day, activity_bq=activity)
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)


def _print(r: DoseReport) -> None:
    where = "at contact (photons at 1 cm)" if r.contact else f"at {r.distance_cm:g} cm"
    typer.echo(f"{r.source}{'' if r.on is None else f' on {r.on}'} {where}")
    print_cautions(r.cautions)
    shares = ", ".join(
        f"{name} {100 * share:.0f} %"
        for name, share in sorted(r.kerma_constant.shares.items(), key=lambda x: -x[1])
        if share > 0.01
    )
    rows = [
        ["photons: air kerma rate (point, no absorption)", str(r.kerma_rate)],
        ["shares", shares],
        ["hours for 1 µSv", f"{r.hours_for_1_usv:.0f}" if r.hours_for_1_usv >= 100 else f"{r.hours_for_1_usv:.2g}"],
    ]
    if r.beta_contact_msv_h is not None:
        value, low, high = r.beta_contact_msv_h
        rows.append(["betas to skin through 1 mm glass", f"{value:.2g} mSv/h (estimate, {low:.1g} to {high:.1g})"])
    if r.inhaled_1_mg is not None:
        rows.append(["inhaling 1 mg of it", f"{r.inhaled_1_mg.dose_msv:.2g} mSv (ICRP 119, type S)"])
    if r.swallowed_1_mg is not None:
        rows.append(["swallowing 1 mg of it", f"{1000 * r.swallowed_1_mg.dose_msv:.2g} µSv (ICRP 119)"])
    if r.spill_of_1_g_mg is not None:
        rows.append(
            ["spilling 1 g dry: into the air, respirable", f"{r.spill_of_1_g_mg:.1g} mg (DOE-HDBK-3010, from memory)"]
        )
    if r.thoron_usv_h is not None:
        rows.append(
            ["thoron, open, 10 % escaping, 30 m³, one air change an hour", f"{r.thoron_usv_h:.2g} µSv/h (ICRP 137)"]
        )
    print_table("", ["quantity", "value"], rows)
    title("Beside published limits")
    paragraph(r.exemption.say)
    paragraph(r.transport.say)
    for rule in r.rules:
        paragraph(str(rule), "  - ")
