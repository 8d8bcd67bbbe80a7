"""`truekev book`: make, check, fill and look through a bench book; export it, import it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from truekev.cli.book_option import BookOption, opened_book
from truekev.cli.output import Progress, as_json, print_table

if TYPE_CHECKING:
    from truekev.book.check import BookCheck

__all__ = ["register"]

_JSON = typer.Option(False, "--json", help="Print JSON.")


def register(app: typer.Typer) -> None:
    """Add the family of commands."""
    book_app = typer.Typer(no_args_is_help=True, help="The bench book: one file for all records, nothing ever lost.")
    app.add_typer(book_app, name="book")
    _whole_book(book_app)
    _single_records(book_app)


def _whole_book(book_app: typer.Typer) -> None:
    @book_app.command()
    def new(
        file: str = typer.Argument(metavar="FILE", help="Where the book goes, as lab.book."),
        title: str = typer.Option("Bench book", "--title", help="Its title, one line."),
    ) -> None:
        """Make an empty book. Example: truekev book new lab.book --title "Teaching lab"."""
        from truekev.book.book import Book

        with Book.create(file, title) as made:
            typer.echo(f"{made.path}: a new, empty book. Name it with --book, or set TRUEKEV_BOOK={made.path}")
            typer.echo(f"truekev serve --book {made.path} opens it in the browser.")

    @book_app.command()
    def check(book: BookOption = None, json: bool = _JSON) -> None:
        """Check every record, stored file and reference; exit 1 if anything is damaged."""
        from truekev.book.check import check_book

        with opened_book(book, write=False) as opened:
            found = check_book(opened, Progress())
        typer.echo(as_json(found) if json else _check_text(found))
        if not found.whole:
            raise typer.Exit(1)

    @book_app.command()
    def export(
        folder: str = typer.Argument(metavar="FOLDER", help="A folder that does not exist yet."),
        book: BookOption = None,
        json: bool = _JSON,
    ) -> None:
        """Write the whole book as plain files (JSON, TOML, CSV, N42 and every stored file as it came)."""
        from truekev.book.export import export_book

        with opened_book(book, write=False) as opened:
            done = export_book(opened, folder, Progress())
        if json:
            typer.echo(as_json(done))
        else:
            typer.echo(
                f"{done.folder}: {done.n_records} records, {done.n_files} stored files, {done.n_readings} readings."
            )

    @book_app.command(name="import")
    def import_(
        folder: str = typer.Argument(metavar="FOLDER", help="What `truekev book export` wrote."),
        file: str = typer.Argument(metavar="FILE", help="The book to make; it must not exist yet."),
        json: bool = _JSON,
    ) -> None:
        """Make the same book again from an export, and check it."""
        from truekev.book.check import check_book
        from truekev.book.import_folder import import_folder

        with import_folder(folder, file, Progress()) as made:
            found = check_book(made)
        typer.echo(as_json(found) if json else _check_text(found))


def _single_records(book_app: typer.Typer) -> None:
    @book_app.command()
    def add(
        kind: str = typer.Argument(metavar="KIND", help="As spectrum, batch, source, stock, find, waste, departure."),
        file: str = typer.Argument(metavar="FILE", help="A spectrum, a batch or source file, or TOML with the fields."),
        place: str = typer.Option("", "--place", help="Where a source stands."),
        supersedes: int = typer.Option(None, "--supersedes", metavar="N", help="The record whose place it takes."),
        book: BookOption = None,
        json: bool = _JSON,
    ) -> None:
        """Add a record from a file. Example: truekev book add spectrum rods.n42 --book lab.book."""
        from truekev.job.book_entry import add_from_file

        with opened_book(book) as opened:
            record = add_from_file(opened, kind, file, place=place, supersedes=supersedes)
        typer.echo(
            as_json({"id": record.id, "sha256": record.sha256}) if json else f"record {record.id}: {record.name}"
        )

    @book_app.command(name="list")
    def list_(
        kind: str = typer.Argument(None, metavar="[KIND]", help="One kind only."),
        limit: int = typer.Option(50, "--limit", min=1, help="How many, newest first."),
        all_: bool = typer.Option(False, "--all", help="Superseded records too."),
        book: BookOption = None,
        json: bool = _JSON,
    ) -> None:
        """List records, newest first."""
        with opened_book(book, write=False) as opened:
            lines = opened.lines(kind, limit=limit, only_current=not all_)
        if json:
            typer.echo(as_json(lines))
        else:
            rows = [
                [str(r.id), r.kind, r.name, f"{r.created:%Y-%m-%d %H:%M}", "" if r.current else "superseded"]
                for r in lines
            ]
            print_table("", ["record", "kind", "name", "written (UTC)", ""], rows)

    @book_app.command()
    def show(
        number: int = typer.Argument(metavar="RECORD", help="Number of the record."),
        book: BookOption = None,
    ) -> None:
        """Show one record with its history, as JSON."""
        with opened_book(book, write=False) as opened:
            record = opened.get(number)
            history = [r.id for r in opened.history(number)]
        typer.echo(
            as_json(
                {
                    "record": record.id,
                    "kind": record.kind,
                    "written": record.created,
                    "history": history,
                    "program": record.program,
                    "sha256": record.sha256,
                    "content": record.body.model_dump(mode="json"),
                }
            )
        )


def _check_text(found: BookCheck) -> str:
    kinds = ", ".join(f"{n} {kind}" for kind, n in sorted(found.records_by_kind.items()))
    lines = [
        f"{found.path}: {found.title}",
        f"{found.n_records} records ({kinds or 'none'} in force), {found.n_files} stored files, "
        f"{found.n_readings} readings, {found.n_bytes / 1e6:.1f} MB",
    ]
    lines += [f"  - {fault}" for fault in found.faults]
    lines.append("Whole: every record and file is as it was written." if found.whole else "DAMAGED: see above.")
    return "\n".join(lines)
