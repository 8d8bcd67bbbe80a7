"""How the bench's commands print steps and cautions: every caution on the step that it belongs to."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from truekev.bench.steps import Step
    from truekev.safety.cautions import Caution

__all__ = ["check_picture", "moment_of", "paragraph", "print_cautions", "print_steps", "title"]

_WIDTH = 110


def title(text: str) -> None:
    """Print a heading."""
    typer.echo(f"\n{text}\n{'-' * len(text)}")


def paragraph(text: str, first: str = "", rest: str | None = None) -> None:
    """Print a paragraph, wrapped, with an indent or mark before its first line."""
    later = " " * len(first) if rest is None else rest
    typer.echo(textwrap.fill(text, _WIDTH, initial_indent=first, subsequent_indent=later))


def print_cautions(cautions: Iterable[Caution], indent: str = "") -> None:
    """Print cautions, each with its source."""
    for caution in cautions:
        source = f" [{caution.source}]" if caution.source else ""
        paragraph(f"{caution.text}{source}", f"{indent}! CAUTION ")


def print_steps(steps: Iterable[Step]) -> None:
    """Print steps to tick, with clock times, and the cautions of each."""
    for step in steps:
        when = f"{step.when:%a %d %b %H:%M}  " if step.when is not None else ""
        paragraph(f"{when}{step.what}", "[ ] ")
        print_cautions(step.cautions, "      ")


def check_picture(name: str | None) -> None:
    """Refuse a picture's name that is no .png, before anything is worked out or written.

    Raises
    ------
    InputError
        Another ending.
    """
    from truekev.errors import InputError

    if name is not None and not name.lower().endswith(".png"):
        raise InputError(f"--picture {name!r}: pictures are written as .png.")


def moment_of(text: str, option: str) -> datetime:
    """A moment written as 2026-10-06T08:00 or "2026-10-06 08:00".

    Raises
    ------
    InputError
        It is none.
    """
    from truekev.errors import InputError

    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{option} {text!r}: a date and time is needed, as 2026-10-06T08:00.") from None
