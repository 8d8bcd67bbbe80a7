"""`truekev shelf`: what stands there, how much in all, what is due."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import typer

from truekev.cli.book_option import BookOption, opened_book
from truekev.cli.output import as_json, print_table
from truekev.errors import InputError

if TYPE_CHECKING:
    from truekev.job.shelf import ShelfReport

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def shelf(
        on: str = typer.Option(None, "--on", metavar="DATE", help="The day, as 2027-03-01; today if left out."),
        book: BookOption = None,
        json: bool = typer.Option(False, "--json", help="Print JSON."),
    ) -> None:
        """Every source, rod, find and waste jar: place, activity, dose rate, sums, and what is due.

        Example: truekev shelf --book lab.book --on 2027-03-01
        """
        from truekev.job.shelf import shelf_on

        with opened_book(book, write=False) as opened:
            report = shelf_on(opened, _day(on))
        if json:
            typer.echo(as_json(report))
        else:
            _print(report)


def _day(text: str | None) -> date:
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--on {text!r}: a date is needed, as 2027-03-01.") from None


def _print(report: ShelfReport) -> None:
    typer.echo(f"{report.book}: the shelf on {report.on}; standard uncertainties (k = 1)")
    rows = [
        [
            str(item.record_id),
            item.name,
            item.what + (f" ({item.n_pieces})" if item.n_pieces > 1 else ""),
            item.place,
            f"{item.head_activity} {item.head}" if item.head_activity is not None else item.remark,
            "" if item.dose_rate is None else str(item.dose_rate),
        ]
        for item in report.items
    ]
    print_table("", ["record", "thing", "what", "place", "activity now", "air kerma rate at 10 cm"], rows)
    typer.echo(f"All together at 10 cm: {report.dose_rate_all} (points without absorption: an upper estimate)")
    for one in report.sums:
        typer.echo(f"\nAgainst {one.list_name} figures. {one.say}")
        for record_id, name, fraction in one.parts:
            typer.echo(f"  {record_id:>4}  {name}: {fraction}")
        for label, entries in (
            ("concentration above the published one", one.above_concentration),
            ("not counted", one.not_counted),
            ("published in", one.citations),
        ):
            if entries:
                typer.echo(f"  {label}: {'; '.join(entries)}")
    typer.echo("\nDue")
    rows = [
        [f"{d.by}{' OVERDUE' if d.overdue(report.on) else ''}", d.what, f"{d.thing} ({d.record_id})", d.why]
        for d in report.due
    ]
    print_table("", ["by", "what", "thing", "why"], rows)
    if report.left:
        typer.echo("\nLeft the shelf")
        for _, words in report.left:
            typer.echo(f"  {words}")
    typer.echo("")
    for caution in report.cautions:
        typer.echo(f"! {caution.text}")
