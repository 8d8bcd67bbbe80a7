"""`truekev convert`: a spectrum with true energies, in an open format."""

from __future__ import annotations

import typer

from truekev.cli.output import as_json, check_out

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def convert(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="A spectrum as the instrument counted it."),
        scale: str = typer.Option(..., metavar="scale.json", help="The scale of that instrument."),
        out: str = typer.Option(..., metavar="FILE", help="Where to write: NAME.n42 or NAME.csv."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Write a spectrum with the energies of a scale.

        A .csv has the columns channel, energy_low_kev, energy_high_kev, counts; an .n42 follows ANSI/IEEE N42.42-2012
        and keeps the instrument's own coefficients beside the new ones.

        Example: truekev convert find.csv --scale scale.json --out find.n42
        """
        from truekev.job.convert_spectrum import convert_file

        check_out("--out", out)
        written = convert_file(spectrum, scale, out)
        typer.echo(as_json({"written": written}) if json else f"Written: {written}")
