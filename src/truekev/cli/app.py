"""The command `truekev`: collects the commands and turns errors into one line and an exit code."""

from __future__ import annotations

import os
import sys
from importlib import import_module

import typer

from truekev.errors import TruekevError
from truekev.version import __version__

__all__ = ["app", "main"]

# One module of truekev.cli per command or family of commands; each has `register(app)`.
# They are imported when the program starts, so they must import heavy rooms inside their functions.
_COMMAND_MODULES: tuple[str, ...] = (
    "lines",
    "chain",
    "new",
    "plan",
    "run",
    "recover",
    "cleanup",
    "waste",
    "dose",
    "calibrate",
    "relock",
    "align",
    "watch",
    "convert",
    "demo",
    "book",
    "shelf",
    "sheet",
    "limits",
    "emit",
    "forecast",
    "identify",
    "assay",
    "characterise",
    "control",
    "serve",
)

app = typer.Typer(
    name="truekev",
    help="A thorium check source, and a true energy scale for a small scintillation spectrometer.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"truekev {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(
        False, "--version", callback=_print_version, is_eager=True, help="Print the version and stop."
    ),
) -> None:
    """Options that stand before any command."""


for _name in _COMMAND_MODULES:
    import_module(f"truekev.cli.{_name}").register(app)


def main() -> None:
    """Run the command line; ends with exit code 0 done, 1 failed work, 2 bad input, 3 refused."""
    # The matrices are small: threads of the linear algebra would only get in the way. Numpy is not loaded yet.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except TruekevError as error:
        word = "refused" if error.exit_code == 3 else "error"
        print(f"{word}: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
