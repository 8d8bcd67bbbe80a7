"""`truekev relock`: the gain of tonight, with the shape already known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.book_option import BookOption
from truekev.cli.calibrate import print_coefficients, print_readings
from truekev.cli.output import Progress, as_json, check_out

if TYPE_CHECKING:
    from truekev.job.relock_tonight import Tonight

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def relock(
        spectrum: str = typer.Argument(metavar="SPECTRUM", help="A new spectrum of the same instrument."),
        scale: str = typer.Option(None, metavar="scale.json", help="The scale that `truekev calibrate --out` wrote."),
        source: list[str] = typer.Option(
            [], "--source", "-s", metavar="S", help="What was counted; without it, the source of the scale."
        ),
        detector: str = typer.Option(None, metavar="D.toml", help="The detector that the scale was made with."),
        background: str = typer.Option(None, metavar="FILE", help="A spectrum of the room without the source."),
        limit: float = typer.Option(None, metavar="PERCENT", min=0.0, help="Leave changes up to this many % alone."),
        background_only: bool = typer.Option(
            False, "--background-only", help="The spectrum is the room itself: its natural lines are the source."
        ),
        temperature: float = typer.Option(
            None, metavar="DEGC", help="Tonight's temperature: the gain is predicted from it as well."
        ),
        method: str = typer.Option(
            "whole", metavar="M", help="whole: all counts by one model; peaks: line groups one by one."
        ),
        out: str = typer.Option(None, metavar="new.json", help="Write the new scale here."),
        book: BookOption = None,
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Find how far the gain has moved, and say whether anything must be done.

        Instrument, source, background, last scale and limit stand in a truekev.toml beside or above the spectrum
        (`truekev new bench-settings` prints one), or in the bench book; options go over both. Within the limit nothing
        is written.

        Example: truekev relock tuesday.csv
        """
        from truekev.job.relock_tonight import relock_tonight
        from truekev.job.tonight_settings import find_settings

        check_out("--out", out)
        if book is not None and scale is None and find_settings(spectrum) is None:
            from truekev.cli.book_option import opened_book
            from truekev.job.book_tonight import relock_file_with_book

            with opened_book(book) as opened:
                tonight = relock_file_with_book(
                    opened,
                    spectrum,
                    sources=source,
                    limit_percent=limit,
                    background_only=background_only,
                    temperature_degc=temperature,
                    progress=Progress(),
                )
        else:
            tonight = relock_tonight(
                spectrum,
                scale=scale,
                sources=source,
                detector=detector,
                background=background,
                method=method,
                limit_percent=limit,
                background_only=background_only,
                temperature_degc=temperature,
                out=out,
                progress=Progress(),
            )
        if json:
            typer.echo(as_json(_plain(tonight)))
        else:
            _print(tonight)


def _plain(tonight: Tonight) -> dict[str, object]:
    from truekev.scale.energy_scale import scale_as_dict

    report = tonight.report
    return {
        "headline": tonight.headline,
        "beyond_limit": tonight.beyond,
        "limit_percent": tonight.limit_percent,
        "settings": tonight.settings_file,
        "written": tonight.written,
        "prediction": tonight.prediction,
        "assumed": report.assumed,
        "file": report.file,
        "source": report.source,
        "moved_percent": report.moved_percent,
        "verdict": report.verdict,
        "readings": report.readings,
        "to_type_in": report.to_type_in,
        "scale": scale_as_dict(report.scale),
    }


def _print(tonight: Tonight) -> None:
    report = tonight.report
    typer.echo(tonight.headline)
    if tonight.beyond:
        print_coefficients(report.to_type_in, report.scale)
        typer.echo("")
    typer.echo(f"The gain moved by {report.moved_percent} since the scale was made (k = 1).")
    moved, limit = report.moved_percent, tonight.limit_percent
    if limit is not None and 2.0 * moved.u > limit:
        known = f"{2.0 * moved.u:.1f} % (k = 2)"
        typer.echo(f"That is known to ± {known} only, against a limit of {limit:g} %: count longer.")
    if tonight.prediction is not None:
        typer.echo(tonight.prediction.words)
    if tonight.settings_file:
        typer.echo(f"Source, background and last scale: {tonight.settings_file}.")
    typer.echo(report.assumed)
    if report.verdict:
        typer.echo(report.verdict)
    print_readings(report.readings)
    if tonight.written:
        typer.echo(f"\nNew scale written to {tonight.written[0]}.")
    for kept in tonight.written[1:]:
        typer.echo(f"The scale until now stays as {kept}.")
