"""`truekev relock`: the gain of tonight, with the shape already known."""

from __future__ import annotations

import typer

from truekev.cli.calibrate import print_coefficients, print_readings
from truekev.cli.output import Progress, as_json, check_out

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def relock(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="A new spectrum of the same instrument."),
        scale: str = typer.Option(..., metavar="scale.json", help="The scale that `truekev calibrate --out` wrote."),
        source: list[str] = typer.Option(
            [], "--source", "-s", metavar="S", help="What was counted; without it, the source of the scale."
        ),
        detector: str = typer.Option(None, metavar="D.toml", help="The detector that the scale was made with."),
        background: str = typer.Option(None, metavar="FILE", help="A spectrum of the room without the source."),
        method: str = typer.Option(
            "whole", metavar="M", help="whole: all counts by one model; peaks: line groups one by one."
        ),
        out: str = typer.Option(None, metavar="new.json", help="Write the new scale here."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Find how far the gain has moved; zero and shape of the scale stay.

        Example: truekev relock tuesday.csv --scale scale.json --out tuesday.json
        """
        from truekev.job.relock_spectrum import relock_file
        from truekev.scale.energy_scale import scale_as_dict, write_scale

        check_out("--out", out)
        report = relock_file(
            spectrum,
            scale,
            sources=source,
            detector=detector,
            background=background,
            method=method,
            progress=Progress(),
        )
        if out is not None:
            write_scale(report.scale, out)
        if json:
            typer.echo(
                as_json(
                    {
                        "assumed": report.assumed,
                        "file": report.file,
                        "source": report.source,
                        "moved_percent": report.moved_percent,
                        "verdict": report.verdict,
                        "readings": report.readings,
                        "to_type_in": report.to_type_in,
                        "scale": scale_as_dict(report.scale),
                    }
                )
            )
            return
        typer.echo(report.assumed)
        typer.echo(f"The gain moved by {report.moved_percent} since the scale was made (k = 1).")
        if report.verdict:
            typer.echo(report.verdict)
        print_readings(report.readings)
        print_coefficients(report.to_type_in, report.scale)
        if out is not None:
            typer.echo(f"\nNew scale written to {out}.")
