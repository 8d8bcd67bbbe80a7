"""The answer in words: which source to count, how long, and what to ask before one is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.scale.forecast import Forecast

__all__ = [
    "ASK_FIRST",
    "AT_HAND",
    "EVERYDAY",
    "MORE_RODS",
    "TO_MAKE",
    "Choice",
    "Costs",
    "PredictedCurve",
    "answer_in_words",
    "duration_in_words",
]

ASK_FIRST = (
    "Making a source is chemical processing: it may need a licence even where the rods do not. Ask the authority for "
    "radiation protection before anything is bought or dissolved."
)
AT_HAND, MORE_RODS, EVERYDAY, TO_MAKE = "at hand", "more rods", "everyday", "to be made"
_NIGHT_S = 12 * 3600.0


@dataclass(frozen=True)
class Costs:
    """The person's own prices, in their own money; None where not given."""

    rod_price: float | None = None
    make_cost: float | None = None
    make_hours: float | None = None
    hour_price: float | None = None

    def __post_init__(self) -> None:
        for name in ("rod_price", "make_cost", "make_hours", "hour_price"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < 1e9:
                raise OutOfRangeError(f"{name} of {value:g}: it must be zero or more.")


@dataclass(frozen=True)
class PredictedCurve:
    """A predicted spectrum for drawing: counts per second and keV, in all and by part, the room among them."""

    energy_kev: npt.NDArray[np.float64]
    total: npt.NDArray[np.float64]
    parts: dict[str, npt.NDArray[np.float64]]


@dataclass(frozen=True)
class Choice:
    """One source that could be counted.

    Parameters
    ----------
    name, kind : str
        What it is; "at hand", "more rods", "everyday" or "to be made".
    forecast : Forecast
    curve : PredictedCurve
    money, hours : float or None
        What it costs beyond what is there, the hours of work priced in; hours of work.
    """

    name: str
    kind: str
    forecast: Forecast
    curve: PredictedCurve
    money: float | None
    hours: float | None


def duration_in_words(time_s: float | None) -> str:
    """A counting time as a person says it; "never" where no count of up to 60 days does it."""
    if time_s is None:
        return "never"
    if time_s < 90:
        return f"{max(5 * round(time_s / 5), 10)} s"
    if time_s < 90 * 60:
        return f"{time_s / 60:.0f} min"
    if time_s < 36 * 3600:
        return f"{time_s / 3600:.1f} h"
    return f"{time_s / 86400:.1f} days"


def _first(choices: Sequence[Choice], *kinds: str) -> Choice | None:
    fit = [choice for choice in choices if choice.kind in kinds and choice.forecast.whole_s is not None]
    return min(fit, key=lambda choice: choice.forecast.whole_s or 0.0, default=None)


def _time(choice: Choice) -> str:
    whole = choice.forecast.whole_s
    if whole is not None:
        return f"{choice.name}: {duration_in_words(whole)}"
    missing = [
        f"{one.energy_kev:.0f} keV ({one.best_percent:.1f} % at best)"
        for one in choice.forecast.reach.values()
        if one.time_s is None
    ]
    return f"{choice.name}: never alone, for {' and '.join(missing)}"


def _in_short(choice: Choice) -> str:
    return f"{choice.name}, {duration_in_words(choice.forecast.whole_s)}"


def answer_in_words(choices: Sequence[Choice], reach: float, costs: Costs) -> tuple[str, ...]:
    """The decision first, then all times, prices where given, and what to ask where something would be made.

    More rods, a longer count and everyday sources come before any chemistry.
    """
    percent = f"{100 * reach:.2g} %"
    hand = _first(choices, AT_HAND)
    other = _first(choices, MORE_RODS, EVERYDAY)
    made = _first(choices, TO_MAKE)
    times = f"To a scale good to {percent} everywhere: " + "; ".join(_time(choice) for choice in choices) + "."
    if hand is not None and (hand.forecast.whole_s or 0.0) <= _NIGHT_S:
        words = (
            f"Use {hand.name}: {duration_in_words(hand.forecast.whole_s)}. Nothing needs making for a monthly check."
        )
        if made is not None and (made.forecast.whole_s or 0.0) >= 0.66 * (hand.forecast.whole_s or 0.0):
            words += " A made source would hardly be quicker."
    elif hand is not None and (made is None or (hand.forecast.whole_s or 0.0) <= 4 * _NIGHT_S):
        words = (
            f"A longer count does it: {hand.name}, {duration_in_words(hand.forecast.whole_s)}. Nothing needs making."
        )
    elif other is not None:
        words = f"Before any chemistry: {_in_short(other)}."
    elif made is not None:
        words = f"Nothing at hand reaches {percent} everywhere; to make a source would: {_in_short(made)}."
    else:
        words = (
            f"None of these reaches {percent} everywhere; join two with lines at different energies, or ask for less."
        )
    answer = [words, times]
    priced = [c for c in choices if c.money]
    if priced and costs != Costs():
        bits = [
            f"{c.name} {c.money:.2f}" + (f" and {c.hours:g} h of work" if c.hours else "") for c in priced if c.money
        ]
        answer.append("With your prices: " + "; ".join(bits) + "; what is at hand costs nothing but the count.")
    if any(choice.kind == TO_MAKE for choice in choices):
        answer.append(ASK_FIRST)
    return tuple(answer)
