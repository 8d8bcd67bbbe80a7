"""The answer in words: which source to count, how long, and what to ask before one is made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.scale.forecast import Forecast

__all__ = [
    "ASK_FIRST",
    "ASK_FIRST_SHORT",
    "AT_HAND",
    "EVERYDAY",
    "MORE_RODS",
    "TO_MAKE",
    "Choice",
    "Costs",
    "Gain",
    "PredictedCurve",
    "answer_in_words",
    "duration_in_words",
    "gain_of",
]

ASK_FIRST = (
    "Making a source is chemical processing: it may need a licence even where the rods do not. Ask the authority for "
    "radiation protection before anything is bought or dissolved."
)
ASK_FIRST_SHORT = "Making may need a licence even where the rods do not: ask first."
AT_HAND, MORE_RODS, EVERYDAY, TO_MAKE = "at hand", "more rods", "everyday", "to be made: ask first"
_NIGHT_S = 12 * 3600.0
_MONTHLY = 12


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
        What it is; "at hand", "more rods", "everyday" or "to be made: ask first".
    forecast : Forecast
    curve : PredictedCurve
    money, hours : float or None
        What it costs beyond what is there, the hours of work priced in; hours of work.
    th232_bq : float
        Th-232 in it [Bq]; 0 where it holds none.
    crystal_share : float
        Share of all directions that the crystal fills, seen from the source.
    """

    name: str
    kind: str
    forecast: Forecast
    curve: PredictedCurve
    money: float | None
    hours: float | None
    th232_bq: float = 0.0
    crystal_share: float = 0.0


@dataclass(frozen=True)
class Gain:
    """Counts of one source over those of another, as a product of three factors.

    Parameters
    ----------
    of, over : str
        The two sources.
    counts : float
        Ratio of the counts that the sources themselves make.
    thorium : float
        Ratio of their Th-232.
    geometry : float
        Ratio of the shares of all directions that the crystal fills: how near the activity lies.
    absorption : float
        What is left: more or less of it is absorbed and scattered in the source itself.
    """

    of: str
    over: str
    counts: float
    thorium: float
    geometry: float
    absorption: float

    def __str__(self) -> str:
        less = "less" if self.absorption >= 1 else "more"
        nearer = "nearer to" if self.geometry >= 1 else "farther from"
        same = abs(self.thorium - 1) < 0.02
        thorium = "as much thorium" if same else f"{self.thorium:.2g} times the thorium"
        return (
            f"{self.of[0].upper()}{self.of[1:]} gives {self.counts:.2g} times the counts of {self.over}: {thorium}, "
            f"times {self.geometry:.2g} because it lies {nearer} the crystal (geometry), "
            f"times {self.absorption:.2g} because {less} is absorbed in the source itself."
        )


def gain_of(made: Choice, hand: Choice) -> Gain | None:
    """How much more the first counts than the second, and why; None unless both hold thorium."""
    if not (made.th232_bq > 0 and hand.th232_bq > 0 and hand.crystal_share > 0 and hand.forecast.rate_per_s > 0):
        return None
    counts = made.forecast.rate_per_s / hand.forecast.rate_per_s
    thorium = made.th232_bq / hand.th232_bq
    geometry = made.crystal_share / hand.crystal_share
    return Gain(made.name, hand.name, counts, thorium, geometry, counts / thorium / geometry)


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


def _decision(choices: Sequence[Choice], percent: str) -> str:
    hand, made = _first(choices, AT_HAND), _first(choices, TO_MAKE)
    other = _first(choices, MORE_RODS, EVERYDAY)
    hand_s = math.inf if hand is None else hand.forecast.whole_s or 0.0
    if hand is not None and hand_s <= _NIGHT_S:
        hardly = made is not None and (made.forecast.whole_s or 0.0) >= 0.66 * hand_s
        return (
            f"Use {hand.name}: {duration_in_words(hand_s)}. Nothing needs making for a monthly check."
            + hardly * " A made source would hardly be quicker."
        )
    if hand is not None and (made is None or hand_s <= 4 * _NIGHT_S):
        return f"A longer count does it: {hand.name}, {duration_in_words(hand_s)}. Nothing needs making."
    if other is not None and (other.forecast.whole_s or 0.0) < hand_s:
        return f"Before any chemistry: {_in_short(other)}."
    if made is not None and hand is not None:
        return (
            f"A longer count does it without chemistry: {hand.name}, {duration_in_words(hand_s)}; to make a source "
            f"would shorten it: {_in_short(made)}. {ASK_FIRST_SHORT}"
        )
    if made is not None:
        return (
            f"Nothing at hand reaches {percent} everywhere; to make a source would: {_in_short(made)}. "
            f"{ASK_FIRST_SHORT}"
        )
    return f"None of these reaches {percent} everywhere; join two with lines at different energies, or ask for less."


def _paid_back(choices: Sequence[Choice]) -> str:
    """How many counts the hours of work of a make are worth."""
    hand, made = _first(choices, AT_HAND), _first(choices, TO_MAKE)
    if hand is None or made is None or not made.hours:
        return ""
    saved_h = ((hand.forecast.whole_s or 0.0) - (made.forecast.whole_s or 0.0)) / 3600
    if saved_h <= 0:
        return f" Its {made.hours:g} h of work would never be paid back: its counts are not shorter."
    n = made.hours / saved_h
    return (
        f" Its {made.hours:g} h of work would be paid back by shorter counts after {max(n, 1):.0f} of them"
        f"{f', {n / _MONTHLY:.0f} years of monthly checks' if n >= 2 * _MONTHLY else ''}."
    )


def answer_in_words(choices: Sequence[Choice], reach: float, costs: Costs) -> tuple[str, ...]:
    """The decision first, then all times, where the gain comes from, prices where given, and what to ask where
    something would be made.

    More rods, a longer count and everyday sources come before any chemistry. Every line that names a source to be made
    says that this may need a licence.
    """
    percent = f"{100 * reach:.2g} %"
    made = [choice for choice in choices if choice.kind == TO_MAKE]
    ask = f" {ASK_FIRST_SHORT}" if made else ""
    times = "; ".join(_time(choice) for choice in choices)
    answer = [_decision(choices, percent), f"To a scale good to {percent} everywhere: {times}.{ask}"]
    hand = [choice for choice in choices if choice.kind == AT_HAND and choice.th232_bq > 0]
    if hand and made:
        gain = gain_of(made[0], max(hand, key=lambda choice: choice.forecast.rate_per_s))
        answer += [f"{gain} {ASK_FIRST_SHORT}"] if gain is not None else []
    priced = [c for c in choices if c.money or c.hours]
    if priced and costs != Costs():
        bits = [f"{c.name} {c.money or 0.0:.2f}" + (f" and {c.hours:g} h of work" if c.hours else "") for c in priced]
        words = "With your prices: " + "; ".join(bits) + "; what is at hand costs nothing but the count."
        answer.append(words + _paid_back(choices) + (ask if any(c.kind == TO_MAKE for c in priced) else ""))
    if made:
        answer.append(ASK_FIRST)
    return tuple(answer)
