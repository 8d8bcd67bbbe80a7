"""`truekev sheet`: a sheet to print and pin up."""

from __future__ import annotations

from datetime import date

import typer

from truekev.cli.book_option import BookOption, opened_book
from truekev.cli.output import as_json
from truekev.errors import InputError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def sheet(
        record: str = typer.Argument(metavar="RECORD", help="Number of a record, or shelf, moving, spill, finder."),
        which: str = typer.Option("", "--which", help="For a batch: plan, recovery or waste."),
        on: str = typer.Option(None, "--on", metavar="DATE", help="The day it holds for; today if left out."),
        out: str = typer.Option(None, "--out", metavar="FILE", help="A name ending in .pdf or .html."),
        book: BookOption = None,
        json: bool = typer.Option(False, "--json", help="Print the content as JSON, write nothing."),
    ) -> None:
        """Write a sheet as PDF (or HTML): what it rests on, figures with uncertainty, cautions, a place to sign.

        Example: truekev sheet 21 --book lab.book --out vial.pdf
        """
        from truekev.files import write_whole
        from truekev.sheets.content import without_pictures
        from truekev.sheets.for_record import sheet_for
        from truekev.sheets.html import sheet_html
        from truekev.sheets.pdf import sheet_pdf

        if record.endswith(".toml"):
            raise InputError(
                f"{record}: sheets are made of records in a book. `truekev book add batch {record} --book lab.book` "
                "gives its number, `truekev sheet NUMBER --book lab.book` the sheet."
            )
        try:
            day = date.today() if on is None else date.fromisoformat(on)
        except ValueError:
            raise InputError(f"--on {on!r}: a date is needed, as 2027-03-01.") from None
        target = out or f"sheet-{record}{f'-{which}' if which else ''}.pdf"
        if not target.endswith((".pdf", ".html")):
            raise InputError(f"--out {target}: the name must end in .pdf or .html.")
        with opened_book(book, write=False) as opened:
            made = sheet_for(opened, record, day, which=which)
        if json:
            typer.echo(as_json(without_pictures(made)))
            return
        written = write_whole(target, sheet_html(made) if target.endswith(".html") else sheet_pdf(made))
        typer.echo(f"{made.title}, {made.subtitle}: {written}")
