"""`truekev lines`: photon lines of nuclides and sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.chain import day_of
from truekev.cli.output import as_json, print_table
from truekev.errors import InputError

if TYPE_CHECKING:
    from truekev.sources.line_list import LineList

__all__ = ["register"]


def energy_range_kev(text: str) -> tuple[float, float]:
    """LOW:HIGH in keV as two numbers."""
    try:
        low, high = text.split(":")
        return float(low), float(high)
    except ValueError:
        raise InputError(f"--range {text!r}: two energies in keV are needed, as 30:2700.") from None


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def lines(
        names: list[str] = typer.Argument(metavar="NAME...", help="Nuclides (Tl-208), source words or source files."),
        min_intensity: float = typer.Option(
            0.001, "--min-intensity", help="Fewest photons per decay; for a source, per second."
        ),
        energy_range: str = typer.Option("10:3500", "--range", metavar="LOW:HIGH", help="Energies in keV."),
        on: str = typer.Option("", "--on", metavar="DATE", help="The day for source files, as 2027-03-01."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Photon lines with energy, intensity and their standard uncertainties.

        Examples: truekev lines Tl-208 Pb-212 --range 30:2700; truekev lines thorium-vial --min-intensity 0.01
        """
        from truekev.sources.line_list import line_list

        low, high = energy_range_kev(energy_range)
        day = day_of(on) if on else None
        result = line_list(names, min_intensity=min_intensity, lowest_kev=low, highest_kev=high, on=day)
        if json:
            typer.echo(as_json(result))
        else:
            _print(result)


def _print(result: LineList) -> None:
    from truekev.quantity import Measured

    if result.nuclide_lines:
        typer.echo("Photon lines of the nuclides, uncertainties standard (k = 1)")
        print_table(
            "",
            ["nuclide", "energy [keV]", "photons per 100 decays", "kind", "evaluation"],
            [
                [
                    line.nuclide,
                    str(Measured(line.energy_kev, line.u_energy_kev)),
                    str(Measured(100 * line.intensity, 100 * line.u_intensity)),
                    line.kind,
                    line.evaluation,
                ]
                for line in result.nuclide_lines
            ],
        )
    if result.source_lines:
        typer.echo("Photon lines of the sources, before absorption in the body, uncertainties of the intensity alone.")
        typer.echo("Where the activity is unknown: per Bq of the head of the chain.")
        print_table(
            "",
            ["source", "component", "nuclide", "energy [keV]", "photons per second", "kind"],
            [
                [
                    entry.source,
                    entry.component,
                    entry.line.nuclide or "-",
                    str(Measured(entry.line.energy_kev, entry.line.u_energy_kev)),
                    str(Measured(entry.line.photons_per_s, entry.line.u_photons_per_s)),
                    entry.line.kind,
                ]
                for entry in result.source_lines
            ],
        )
    for remark in result.remarks:
        typer.echo(remark)
