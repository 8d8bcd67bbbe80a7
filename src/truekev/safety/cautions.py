"""Cautions, each on the step that it belongs to. No option hides them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

from truekev.errors import UnknownNameError
from truekev.tables.loader import table_bytes

__all__ = ["PROTECTIVE_GEAR", "Caution", "caution_steps", "cautions_for"]

PROTECTIVE_GEAR = (
    "goggles and face shield",
    "alkali-proof gloves (nitrile or butyl) with long cuffs, and a second thin pair",
    "closed apron or laboratory coat that stays at the bench",
    "respirator of class P3 at hand for a dry spill",
    "eye wash and running water within ten steps",
    "tongs for the vial",
    "wet wipes, tray, and a labelled, closable vessel for contaminated solids",
)


@dataclass(frozen=True)
class Caution:
    """A caution: the step, the text, and its source (empty: common practice, no source)."""

    step: str
    text: str
    source: str


@cache
def _all() -> tuple[Caution, ...]:
    rows = tomllib.loads(table_bytes("cautions.toml").decode())["caution"]
    return tuple(Caution(row["step"], row["text"], row["source"]) for row in rows)


def caution_steps() -> tuple[str, ...]:
    """Names of the steps that have cautions, in the order of the work."""
    return tuple(dict.fromkeys(c.step for c in _all()))


def cautions_for(*steps: str) -> tuple[Caution, ...]:
    """The cautions of one or more steps, in the order of the work.

    Raises
    ------
    UnknownNameError
        No such step.
    """
    for step in steps:
        if step not in caution_steps():
            raise UnknownNameError("step", step, caution_steps())
    return tuple(c for c in _all() if c.step in steps)
