"""`truekev cleanup`: peroxide on the fines, if the dose is allowed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.cli.step_text import check_picture, paragraph, print_cautions, title

if TYPE_CHECKING:
    from truekev.job.clean import CleanReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def cleanup(
        batch: str = typer.Argument(metavar="BATCH.toml", help="The batch; its cleanup table tells of the beaker."),
        dose: str = typer.Option(
            None, "--dose", metavar="'50mL 5%'", help="The dose; the largest allowed if left out."
        ),
        picture: str = typer.Option(
            None, "--picture", metavar="FILE.png", help="Draw the adiabatic peak against the dose."
        ),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Heat balance of a dose of peroxide; refused (exit 3) where it can run away.

        Example: truekev cleanup batch.toml --dose '20mL 3%'
        """
        from truekev.job.clean import clean_batch

        check_picture(picture)
        report = clean_batch(batch, dose)
        if picture is not None:
            from truekev.pictures.bench_peroxide import picture_of_peroxide
            from truekev.pictures.canvas import save

            save(picture_of_peroxide(report), picture)
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)
            if picture is not None:
                typer.echo(f"\nwritten: {picture}")


def _print(report: CleanReport) -> None:
    p = report.plan
    typer.echo(f"{report.batch}: {p.asked.volume_ml:g} mL of {p.asked.percent:g} % peroxide is allowed")
    print_cautions(report.cautions)
    low, high = p.tungsten_likely_g
    rows = [
        [
            "peak if all reacts and nothing cools",
            f"{p.heat.peak_degc:.0f} °C (+{p.heat.rise_k:.0f} K; the rule is 60 °C)",
        ],
        ["the same without any tungsten", f"{p.heat_without_tungsten.peak_degc:.0f} °C"],
        [
            "tungsten taken as",
            "unlimited (unknown)" if p.heat.worst_case else f"{p.heat.tungsten_dissolved_g:.2f} g dissolve",
        ],
        ["largest portion of this strength", p.largest_in_words],
        ["it could dissolve; will likely", f"{p.tungsten_capacity_g:.2f} g; {low:.2f} to {high:.2f} g (from memory)"],
        [
            "hydroxide: needed; there; to add",
            f"{p.hydroxide_needed_mol:.4f}; {p.hydroxide_there_mol:.4f} mol; {p.hydroxide_to_add_g:.2f} g",
        ],
        ["oxygen", f"{p.oxygen_l:.2f} L"],
        ["time", f"{p.hours[0]:.0f} to {p.hours[1]:.0f} h (wide band, from memory; no refusal rests on it)"],
        ["likely peak with cooling", f"{p.cooled_peak_degc} (information only)"],
    ]
    print_table("", ["quantity", "value"], rows)
    title("Out of the beaker first")
    for item in p.first_out:
        typer.echo(f"[ ] {item}")
    title("Steps")
    for step in p.steps:
        paragraph(step, "[ ] ")
    title("Over when")
    for sign in p.over_when:
        typer.echo(f"[ ] {sign}")
