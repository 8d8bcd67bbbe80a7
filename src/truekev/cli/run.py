"""`truekev note` and `truekev follow`: readings of a run, and where it stands."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.cli.step_text import check_picture, moment_of, paragraph, print_cautions, title

if TYPE_CHECKING:
    from truekev.job.run_today import FollowReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add both commands."""

    @app.command()
    def note(
        batch: str = typer.Argument(metavar="BATCH.toml", help="The batch that is running."),
        readings: list[str] = typer.Argument(
            metavar="KEY=VALUE...",
            help="current (A), voltage (V), temperature (°C), free-hydroxide (mol/L), mass (g), level (mL).",
        ),
        time: str = typer.Option(None, "--time", metavar="TIME", help="When it was read; now if left out."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Append one reading; nothing noted is ever rewritten.

        Example: truekev note batch.toml current=1.4 voltage=3.1 temperature=31
        """
        from truekev.job.run_today import note_reading

        when = datetime.now() if time is None else moment_of(time, "--time")
        noted = note_reading(batch, readings, when)
        if json:
            typer.echo(as_json(noted))
        else:
            words = ", ".join(f"{key} {value:g}" for key, value in noted.values.items())
            typer.echo(f"noted {noted.when:%Y-%m-%d %H:%M}: {words} ({noted.file})")

    @app.command()
    def follow(
        batch: str = typer.Argument(metavar="BATCH.toml", help="The batch that is running."),
        logger: str = typer.Argument(
            None, metavar="[READINGS.csv]", help="A logger's file: time, current, voltage, ..."
        ),
        picture: str = typer.Option(None, "--picture", metavar="FILE.png", help="Draw the readings on the plan."),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Where the run stands: tungsten, end time, notices with their cause.

        Example: truekev follow batch.toml logger.csv --picture today.png
        """
        from truekev.job.run_today import follow_batch

        check_picture(picture)
        report = follow_batch(batch, logger)
        if picture is not None:
            from truekev.pictures.bench_readings import picture_of_readings
            from truekev.pictures.canvas import save

            save(picture_of_readings(report), picture)
        if json:
            typer.echo(as_json(report.document()))
        else:
            _print(report)
            if picture is not None:
                typer.echo(f"\nwritten: {picture}")


def _print(report: FollowReport) -> None:
    s = report.standing
    typer.echo(f"{report.batch.name}: at {s.last_reading:%a %d %b %H:%M}, {s.elapsed_h:.1f} h after the start")
    bounds = f"between {s.charge_at_least_ah:.2f} and {s.charge_at_most_ah:.2f} Ah"
    finish = f"{s.finish:%a %d %b %H:%M} ± {s.u_finish_h:.1f} h" if s.finish is not None else "no current flows"
    if s.finish is not None and s.u_finish_h == 0.0:
        finish = "reached by then: all that goes has gone"
    origin = "titrated" if s.free_hydroxide_titrated else "from the plan"
    rows = [
        ["readings", str(s.n_readings)],
        ["charge", f"{s.charge_ah} ({bounds})"],
        ["tungsten at most, by the coulombs", f"{s.tungsten_at_most_g:.2f} g"],
        ["tungsten gone, best estimate", f"{s.tungsten_gone_g} ({100 * s.fraction_gone.value:.0f} %)"],
        ["thoria freed", str(s.thoria_freed_g)],
        ["free hydroxide", f"{s.free_hydroxide_mol_l} ({origin})"],
        ["end expected", f"{finish} (planned {s.planned_finish:%a %d %b %H:%M})"],
    ]
    print_table("", ["quantity", "value"], rows)
    if report.unread_columns:
        paragraph(f"Columns not read: {', '.join(report.unread_columns)}.")
    for w in s.weighings:
        typer.echo(
            f"weighed at {w.at_h:.1f} h: {w.mass_g:.2f} g left, {w.tungsten_gone_g:.2f} g tungsten gone, "
            + ("" if w.of_upper_bound is None else f"{100 * w.of_upper_bound:.0f} % of the coulombs' upper bound")
        )
    title("Notices")
    if not s.notices:
        typer.echo("none")
    for n in s.notices:
        mark = "!! " if n.urgent else "-  "
        span = f"{n.from_h:.1f} h" if n.to_h - n.from_h < 0.05 else f"{n.from_h:.1f} to {n.to_h:.1f} h"
        paragraph(f"{span}: {n.seen}. Cause: {n.cause}. Do: {n.do}.", mark)
    title("Cautions")
    print_cautions(report.cautions)
