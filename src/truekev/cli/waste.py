"""`truekev waste`: what is left over, and how it is made ready for those who take it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.cli.step_text import paragraph, print_cautions, title

if TYPE_CHECKING:
    from truekev.job.waste import WasteReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def waste(
        batch: str = typer.Argument(metavar="BATCH.toml", help="The batch whose liquor is treated."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Calcium, sludge, liquid, tungstate kept instead, contaminated solids, labels.

        Example: truekev waste batch.toml
        """
        from truekev.job.waste import waste_of_batch

        report = waste_of_batch(batch)
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)


def _print(report: WasteReport) -> None:
    p = report.plan
    typer.echo(f"{report.batch}: waste")
    paragraph(report.ask_first)
    print_cautions(report.cautions)
    print_table(
        "\nCalcium salt [g]",
        ["salt", "tungstate alone", "with hydroxide and carbonate", "planned (+10 %)"],
        [
            [
                salt,
                f"{p.calcium_least_g[salt]:.1f}",
                f"{p.calcium_most_g[salt]:.1f}",
                f"{p.calcium_planned_g[salt]:.1f}",
            ]
            for salt in p.calcium_planned_g
        ],
    )
    low, high = p.tungsten_left_mg_l
    rows = [
        ["sludge: dry; wet", f"{p.sludge_dry_g}; {p.sludge_wet_g}"],
        ["it settles 80 mm in", f"{p.sludge_settles_h} (by grain size)"],
        [
            "in it: tungstate; lime; carbonate of calcium",
            f"{p.calcium_tungstate_g:.1f}; {p.calcium_hydroxide_g:.1f}; {p.calcium_carbonate_g:.1f} g",
        ],
        ["liquid", f"{p.liquid_ml:.0f} mL ({report.washings_ml:.0f} mL of it dilution and washings)"],
        ["pH; tungsten in it", f"about {p.liquid_ph:.1f}; {low:.0f} to {high:.0f} mg/L"],
        ["sludge reaches 1 Bq/g when this share of the thoria is in it", f"{100 * p.sludge_reaches_1_bq_g_at:.1f} %"],
        ["sludge as planned (half a percent carried over)", str(p.sludge_bq_g_planned)],
        [
            "or keep the tungstate: salt (as crystals); trioxide obtainable",
            f"{p.tungstate_kept_g:.1f} g ({p.tungstate_crystals_ml:.0f} mL); {p.trioxide_obtainable_g}",
        ],
        [
            "free hydroxide to store it (0.1 mol/L at least)",
            f"{p.free_hydroxide_mol_l}; add {p.hydroxide_to_add_g:.2f} g",
        ],
    ]
    print_table("\nWhat there is", ["quantity", "value"], rows)
    title("Order")
    for step in p.order:
        paragraph(step, "[ ] ")
    title("Contaminated solids")
    for item in p.solids:
        paragraph(item, "[ ] ")
    title("Labels (the sheet to print is made from the book: truekev sheet NUMBER --which waste)")
    for label in p.labels:
        paragraph(label, "  ")
