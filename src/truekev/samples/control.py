"""Control charts of the instrument: the same source counted again and again.

Three charts (gain, resolution, strength corrected for decay), each with a centre line, warning limits at 2 and action
limits at 3 standard deviations, and the rule of nine points in a row on one side (ISO 7870-2). Centre and limits come
from the first points and are themselves uncertain: few points would give limits that raise false alarms, so the limits
are those of Student's distribution for a further single point, and the chance of a false alarm is 0.27 % whatever the
number of first points.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.nuclides.history import History, seconds_between
from truekev.nuclides.names import nuclide
from truekev.quantity import Measured

__all__ = [
    "ACTION_SIGMA",
    "FEWEST_FIRST_POINTS",
    "RUN_OF",
    "WARNING_SIGMA",
    "Chart",
    "ChartLimits",
    "InstrumentCharts",
    "Reading",
    "control_chart",
    "decay_of",
    "history_strength",
    "instrument_charts",
    "limits_from_first_points",
    "strength_at_reference",
]

FloatArray = npt.NDArray[np.float64]

ACTION_SIGMA = 3.0
WARNING_SIGMA = 2.0
RUN_OF = 9
FEWEST_FIRST_POINTS = 5
_DRIFT_SIGMA = 3.0  # first points whose successive differences are that much too small were drifting


@dataclass(frozen=True)
class ChartLimits:
    """Centre line and spread from the first points.

    `sigma` is the standard deviation of single points, `between` the part of it that their own uncertainties do not
    explain. `warning` and `action` multiply the standard deviation of a point; with many first points they are 2 and 3.
    `drifting` says that the first points followed each other too closely to be independent.
    """

    centre: Measured
    sigma: Measured
    between: float
    n_first: int
    warning: float
    action: float
    drifting: bool

    def sigma_of(self, u: npt.ArrayLike) -> FloatArray:
        """Standard deviation of points with the uncertainties `u`, about the true centre."""
        return np.sqrt(self.between**2 + np.asarray(u, float) ** 2)

    def score(self, value: npt.ArrayLike, u: npt.ArrayLike) -> FloatArray:
        """Distance from the centre in standard normal deviations, allowing for the small number of first points."""
        spread = self.sigma_of(u) * math.sqrt(1 + 1 / self.n_first)
        distance = (np.asarray(value, float) - self.centre.value) / spread
        # The tail on the outer side keeps its digits at any distance.
        return -np.sign(distance) * ndtri(np.maximum(stdtr(self.n_first - 1, -np.abs(distance)), 1e-300))


def limits_from_first_points(points: Sequence[Measured], *, n_first: int | None = None) -> ChartLimits:
    """Centre line and limits from the first `n_first` points (all of them if left out).

    Parameters
    ----------
    points : sequence of Measured
        Points in the order of time, each with its own standard uncertainty (0 if it is not known).
    n_first : int, optional
        How many of them set the limits; 5 at least, 20 and more are better.

    Returns
    -------
    ChartLimits
        The standard uncertainty of the centre is sigma/√n, that of sigma is sigma·√(1 - c4²)/c4 (normal points).

    Raises
    ------
    RefusedError
        Fewer than 5 points, or points without any spread.
    """
    n = len(points) if n_first is None else n_first
    if n < FEWEST_FIRST_POINTS or n > len(points):
        raise RefusedError(
            f"limits from {n} points of {len(points)}: at least {FEWEST_FIRST_POINTS} are needed.",
            "more counts of the same source in the same place.",
        )
    values = np.array([point.value for point in points[:n]])
    own = np.array([point.u for point in points[:n]])
    centre, spread = float(values.mean()), float(values.std(ddof=1))
    between = math.sqrt(max(spread**2 - float((own**2).mean()), 0.0))
    sigma = math.sqrt(between**2 + float((own**2).mean()))
    if sigma == 0:
        raise RefusedError(
            "the first points are all equal, so nothing tells how far points may spread.", "other points."
        )
    c4 = math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))
    tails = stdtrit(n - 1, ndtr(np.array([WARNING_SIGMA, ACTION_SIGMA]))) * math.sqrt(1 + 1 / n)
    return ChartLimits(
        centre=Measured(centre, sigma / math.sqrt(n), points[0].unit),
        sigma=Measured(sigma, sigma * math.sqrt(1 - c4**2) / c4, points[0].unit),
        between=between,
        n_first=n,
        warning=float(tails[0]),
        action=float(tails[1]),
        drifting=_are_drifting(values),
    )


def _are_drifting(values: FloatArray) -> bool:
    """Ratio of von Neumann: squared successive differences over squared deviations, mean 2, variance 4(n-2)/(n²-1)."""
    n, deviations = len(values), float(((values - values.mean()) ** 2).sum())
    if deviations == 0:
        return False
    ratio = float((np.diff(values) ** 2).sum()) / deviations
    return (ratio - 2) / math.sqrt(4 * (n - 2) / (n**2 - 1)) < -_DRIFT_SIGMA


@dataclass(frozen=True)
class Chart:
    """One control chart.

    `scores` are distances from the centre in standard normal deviations. `verdict` is "unchanged", "look again" (the
    last point lies beyond a warning limit) or "changed": the last point gives a signal, or an earlier one did and the
    mean of all points since is still beyond its own action limit, so that a false alarm is not carried along for ever.
    `changed_at` is the index of the first point that says so.
    """

    name: str
    limits: ChartLimits
    scores: tuple[float, ...]
    beyond_action: tuple[int, ...]
    beyond_warning: tuple[int, ...]
    runs_end_at: tuple[int, ...]
    verdict: str
    changed_at: int | None
    words: str


def control_chart(name: str, points: Sequence[Measured], *, n_first: int) -> Chart:
    """Judge the points after the first `n_first` by the limits that these give.

    Parameters
    ----------
    name : str
        What the chart shows, for its words.
    points : sequence of Measured
        All points in the order of time.
    n_first : int
        How many set the limits.

    References
    ----------
    ISO 7870-2: action limits at 3, warning limits at 2 standard deviations, nine in a row on one side.
    Checked by tests/published/test_iso_7870.py.
    """
    limits = limits_from_first_points(points, n_first=n_first)
    scores = limits.score([point.value for point in points], [point.u for point in points])
    later = range(n_first, len(points))
    action = tuple(i for i in later if abs(scores[i]) > ACTION_SIGMA)
    warning = tuple(i for i in later if WARNING_SIGMA < abs(scores[i]) <= ACTION_SIGMA)
    runs = tuple(i for i in later if i - n_first + 1 >= RUN_OF and _one_side(scores[i - RUN_OF + 1 : i + 1]))
    signals = sorted({*action, *runs})
    borne_out = [i for i in signals if _still_holds(scores, i, i in action, n_first)]
    changed_at = borne_out[0] if borne_out else None
    if changed_at is not None:
        verdict = "changed"
    elif len(points) > n_first and warning and warning[-1] == len(points) - 1:
        verdict = "look again"
    else:
        verdict = "unchanged"
    return Chart(
        name=name,
        limits=limits,
        scores=tuple(float(score) for score in scores),
        beyond_action=action,
        beyond_warning=warning,
        runs_end_at=runs,
        verdict=verdict,
        changed_at=changed_at,
        words=_words(name, points, limits, scores, verdict, changed_at, action, signals),
    )


def _still_holds(scores: FloatArray, signal: int, is_action: bool, n_first: int) -> bool:
    """Is a signal of the last point, or borne out by the mean of all points since it began."""
    if signal == len(scores) - 1:
        return True
    since = scores[signal if is_action else signal - RUN_OF + 1 :]
    # The scores share the error of the centre, which their mean does not lose.
    spread = math.sqrt((1 / len(since) + 1 / n_first) / (1 + 1 / n_first))
    return bool(abs(float(since.mean())) > ACTION_SIGMA * spread)


def _one_side(scores: FloatArray) -> bool:
    return bool(np.all(scores > 0) or np.all(scores < 0))


def _words(
    name: str,
    points: Sequence[Measured],
    limits: ChartLimits,
    scores: FloatArray,
    verdict: str,
    changed_at: int | None,
    action: tuple[int, ...],
    signals: Sequence[int],
) -> str:
    after = len(points) - limits.n_first
    if changed_at is not None:
        value = points[changed_at].value
        side = "above" if value > limits.centre.value else "below"
        how = f"{100 * abs(value / limits.centre.value - 1):.2g} % {side}" if limits.centre.value else side
        if changed_at in action:
            sentence = (
                f"{name} has changed: point {changed_at + 1} lies {how} the centre line, {abs(scores[changed_at]):.1f} "
                "standard deviations."
            )
        else:
            sentence = f"{name} has changed: {RUN_OF} points in a row up to point {changed_at + 1} lie {side} the line."
    elif verdict == "look again":
        sentence = f"{name}: the last point lies beyond a warning limit ({abs(scores[-1]):.1f} standard deviations); "
        sentence += "count once more before believing it."
    elif after == 0:
        sentence = f"{name}: limits are set from {limits.n_first} points; there is no later point to judge."
    else:
        sentence = f"{name} has not changed in {after} points."
    if signals and changed_at is None:
        sentence += f" Point {signals[-1] + 1} gave a signal that the points since do not bear out."
    if limits.drifting:
        sentence += " The first points drifted, so these limits are too wide or centred wrongly: set them anew."
    return sentence


@dataclass(frozen=True)
class Reading:
    """What one count of the control source gave.

    Parameters
    ----------
    on : date or datetime
        When it was counted.
    gain, resolution, strength : Measured
        Gain (channel per keV, or the channel of a line), resolution (relative width at 662 keV), and fitted strength of
        the source on that day.
    """

    on: date | datetime
    gain: Measured
    resolution: Measured
    strength: Measured


def decay_of(name: str, reference: date | datetime) -> Callable[[date | datetime], Measured]:
    """Activity of a nuclide on a date over that on the reference date, with the uncertainty from its half-life."""
    one = nuclide(name)

    def relative(on: date | datetime) -> Measured:
        exponent = math.log(2) * seconds_between(reference, on) / one.half_life_s
        value = math.exp(-exponent)
        return Measured(value, value * abs(exponent) * one.u_half_life_s / one.half_life_s)

    return relative


def strength_at_reference(
    readings: Sequence[Reading], relative: Callable[[date | datetime], Measured | float]
) -> list[Measured]:
    """Strength of every reading carried back to the reference date.

    Parameters
    ----------
    readings : sequence of Reading
        Readings.
    relative : callable
        Strength to be expected on a date over that on the reference date: `decay_of` for one nuclide,
        `history_strength` for a source whose parts grow in.
    """
    result = []
    for reading in readings:
        expected = relative(reading.on)
        value, u = (expected.value, expected.u) if isinstance(expected, Measured) else (expected, 0.0)
        if not value > 0:
            raise OutOfRangeError(f"expected relative strength {value} on {reading.on}: it must be above 0.")
        strength = reading.strength
        # The half-life's part is common to all points and so much smaller than counting that it may stand in each.
        combined = math.hypot(strength.u / value, strength.value * u / value**2)
        result.append(Measured(strength.value / value, combined, strength.unit))
    return result


def history_strength(history: History, name: str, reference: date | datetime) -> Callable[[date | datetime], float]:
    """As `decay_of`, for a member of a source with a history of separations."""
    first = history.plain_activities_bq(reference)[name]
    if not first > 0:
        raise InputError(f"{name} is not in this source on {reference}; choose a member that it has then.")
    return lambda on: history.plain_activities_bq(on)[name] / first


@dataclass(frozen=True)
class InstrumentCharts:
    """The three charts and one plain verdict over all of them."""

    gain: Chart
    resolution: Chart
    strength: Chart
    verdict: str
    words: str


def instrument_charts(
    readings: Sequence[Reading], relative: Callable[[date | datetime], Measured | float], *, n_first: int = 20
) -> InstrumentCharts:
    """Charts of gain, resolution and decay-corrected strength, judged together.

    Parameters
    ----------
    readings : sequence of Reading
        Readings in the order of time.
    relative : callable
        Expected strength relative to the reference date; see `strength_at_reference`.
    n_first : int
        How many first readings set the limits.

    Raises
    ------
    InputError
        Readings that are not in the order of time.
    """
    for earlier, later in pairwise(readings):
        if seconds_between(earlier.on, later.on) < 0:
            raise InputError(
                f"the reading of {later.on} follows that of {earlier.on}; give readings in the order of time."
            )
    charts = [
        control_chart("gain", [reading.gain for reading in readings], n_first=n_first),
        control_chart("resolution", [reading.resolution for reading in readings], n_first=n_first),
        control_chart("strength", strength_at_reference(readings, relative), n_first=n_first),
    ]
    charts = [replace(chart, words=chart.words[:1].upper() + chart.words[1:]) for chart in charts]
    order = ("changed", "look again", "unchanged")
    worst = min((chart.verdict for chart in charts), key=order.index)
    advice = {
        "changed": _advice([chart.name for chart in charts if chart.verdict == "changed"]),
        "look again": "Count the source once more in the same place.",
        "unchanged": "The instrument is as it was when the limits were set.",
    }[worst]
    told = [chart.words for chart in charts if chart.verdict == worst or chart.limits.drifting]
    return InstrumentCharts(charts[0], charts[1], charts[2], worst, " ".join([*told, advice]))


def _advice(changed: Sequence[str]) -> str:
    if list(changed) == ["gain"]:
        return "Re-lock the scale before reading samples."
    if list(changed) == ["strength"]:
        return "Look first whether source and distance are as before; then at threshold and dead time."
    return "Do not read samples before the cause is found and the scale made anew."
