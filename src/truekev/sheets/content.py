"""What a printed sheet says, in one model; page and PDF are made from it alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import TypeAlias

from truekev.quantity import Measured
from truekev.safety.cautions import Caution

__all__ = [
    "Blanks",
    "Fact",
    "Facts",
    "Figure",
    "Grid",
    "Label",
    "Part",
    "Sheet",
    "SheetStep",
    "Steps",
    "Words",
    "caution_texts",
    "texts_of",
    "without_pictures",
]


@dataclass(frozen=True)
class Fact:
    """One line of a list: what, its value with uncertainty and unit in words, and a remark."""

    name: str
    value: str
    remark: str = ""

    @classmethod
    def of(cls, name: str, value: Measured | str | int, remark: str = "") -> Fact:
        """A fact from a measured value or words."""
        return cls(name, str(value), remark)


@dataclass(frozen=True)
class Facts:
    """A titled list of facts."""

    title: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Grid:
    """A table of words; `widths` are shares of the width of the page, one per column."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()


@dataclass(frozen=True)
class SheetStep:
    """A step to tick: when, what, its cautions right under it, and whether nobody is there."""

    when: str
    what: str
    cautions: tuple[str, ...] = ()
    unattended: bool = False


@dataclass(frozen=True)
class Steps:
    """A titled list of steps."""

    title: str
    steps: tuple[SheetStep, ...]


@dataclass(frozen=True)
class Words:
    """Titled paragraphs."""

    title: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True)
class Blanks:
    """Lines to fill in by hand; with `columns`, an empty table of `n_rows` rows."""

    title: str
    lines: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    n_rows: int = 0


@dataclass(frozen=True)
class Figure:
    """A picture (PNG bytes), what it shows, and the same in words for who cannot see it."""

    png: bytes = field(repr=False)
    caption: str
    alternative: str


@dataclass(frozen=True)
class Label:
    """A label to cut out, true to size; with the trefoil where the thing is radioactive."""

    heading: str
    lines: tuple[str, ...]
    trefoil: bool
    width_mm: float = 70.0
    height_mm: float = 42.0


Part: TypeAlias = Facts | Grid | Steps | Words | Blanks | Figure | Label


@dataclass(frozen=True)
class Sheet:
    """A sheet to print and pin up.

    Parameters
    ----------
    title, subtitle : str
        What it is, and of which thing.
    cautions : tuple of str
        What holds for the whole of it; those of single steps stand at the steps.
    inputs, results : tuple of Fact
        What went in; what came out, with standard uncertainties and units.
    parts : tuple of Part
        Everything else, in order.
    versions : tuple of str
        Records, program and tables behind it.
    sign : tuple of str
        Who signs: one line each.
    """

    title: str
    subtitle: str
    cautions: tuple[str, ...] = ()
    inputs: tuple[Fact, ...] = ()
    results: tuple[Fact, ...] = ()
    parts: tuple[Part, ...] = ()
    versions: tuple[str, ...] = ()
    sign: tuple[str, ...] = field(default=("name, date",))


def caution_texts(cautions: Iterable[Caution]) -> tuple[str, ...]:
    """Cautions in words, each with its source where it has one."""
    return tuple(f"{c.text} [{c.source}]" if c.source else c.text for c in cautions)


def without_pictures(sheet: Sheet) -> Sheet:
    """The same sheet without the bytes of its figures."""
    return replace(sheet, parts=tuple(replace(p, png=b"") if isinstance(p, Figure) else p for p in sheet.parts))


def texts_of(value: object) -> Iterator[str]:
    """Every text in a sheet, in order."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from texts_of(item)
    elif is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            yield from texts_of(getattr(value, one.name))
