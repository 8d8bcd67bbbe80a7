"""`truekev chain`: what is in a source on a date."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

import typer

from truekev.cli.output import as_json, print_table
from truekev.errors import InputError

if TYPE_CHECKING:
    from truekev.sources.chain_report import ChainReport

__all__ = ["day_of", "register"]

_UNITS = (("a", 365.25 * 86400.0), ("d", 86400.0), ("h", 3600.0), ("min", 60.0), ("s", 1.0), ("ms", 1e-3), ("µs", 1e-6))


def day_of(text: str) -> date:
    """A date written as YEAR-MONTH-DAY, or a date and time as YEAR-MONTH-DAYTHOUR:MINUTE."""
    try:
        return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--on {text!r}: a date is needed, as 2027-03-01 or 2027-03-01T14:30.") from None


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def chain(
        source: str = typer.Argument(metavar="SOURCE.toml", help="A source file; `truekev new source` prints one."),
        on: str = typer.Option(
            ..., "--on", metavar="DATE", help="The day, as 2027-03-01; with a time, as 2027-03-01T14:30."
        ),
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Activity of every member of a source on a date, and when it is back in equilibrium.

        Example: truekev chain rods.toml --on 2027-03-01
        """
        from truekev.sources.chain_report import chain_report

        report = chain_report(source, day_of(on))
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)


def _print(report: ChainReport) -> None:
    unit = "activity per Bq of the head" if report.relative else "activity [Bq]"
    rows = [
        [part.name if i == 0 else "", name, _half_life(part.half_lives_s[name].value), _number(str(activity))]
        for part in report.components
        for i, (name, activity) in enumerate(part.activities.items())
    ]
    typer.echo(f"{report.name} on {report.on}, uncertainties standard (k = 1)")
    print_table("", ["component", "nuclide", "half-life", unit], rows)
    waits = [
        [part.name, _wait(part.days_to_equilibrium), str(part.equilibrium_date or "-")]
        for part in report.components
        if len(part.activities) > 1
    ]
    waits += [
        [f"all that descends from {head}", _wait(days), str(report.series_equilibrium_date[head] or "-")]
        for head, days in report.series_days_to_equilibrium.items()
    ]
    if not waits:
        typer.echo("\nNothing here could come into equilibrium with what it descends from.")
        return
    typer.echo("\nIn equilibrium with its head, within 1 %")
    print_table("", ["what", "in", "on"], waits)


def _number(measured: str) -> str:
    return measured.removesuffix(" Bq")


def _half_life(seconds: float) -> str:
    for unit, size in _UNITS:
        if seconds >= size:
            return f"{seconds / size:.4g} {unit}"
    return f"{seconds / 1e-9:.4g} ns"


def _wait(days: float | None) -> str:
    if days is None:
        return "more than 1000 years"
    if days == 0:
        return "now"
    return f"{days / 365.25:.1f} years" if days > 730 else f"{days:.1f} days"
