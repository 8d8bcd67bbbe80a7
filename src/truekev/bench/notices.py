"""Notices about a run, each with its cause and what to do, from the readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.bench.course import Course
from truekev.bench.settings import BatchSettings
from truekev.bench.timeline import Timeline

__all__ = ["Notice", "electrical_notices", "state_notices"]

Floats = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SHORT_BELOW_V = 1.0
_BLOCKS = 3000


@dataclass(frozen=True)
class Notice:
    """A notice: what was seen, from when to when [h], the cause, what to do; `urgent` is for safety."""

    kind: str
    from_h: float
    to_h: float
    seen: str
    cause: str
    do: str
    urgent: bool = False


def _blocks(timeline: Timeline) -> tuple[Floats, Floats, Floats, Floats]:
    """Time, current, voltage and temperature averaged over at most a few thousand stretches of equal count."""
    known = np.isfinite(timeline.current_a) & np.isfinite(timeline.voltage_v)
    columns = [timeline.time_s[known], timeline.current_a[known], timeline.voltage_v[known]]
    n = columns[0].size
    size = max(n // _BLOCKS, 1)
    starts = np.arange(0, n, size)
    counts = np.diff(np.append(starts, n))
    averaged = [np.add.reduceat(c, starts) / counts if n else c for c in columns]
    warm = timeline.temperature_degc[known]
    finite = np.isfinite(warm)
    if n:
        sums = np.add.reduceat(np.where(finite, warm, 0.0), starts)
        n_warm = np.add.reduceat(finite.astype(np.float64), starts)
        averaged.append(np.where(n_warm > 0, sums / np.maximum(n_warm, 1.0), np.nan))
    else:
        averaged.append(warm)
    return averaged[0], averaged[1], averaged[2], averaged[3]


def _stretches(mask: BoolArray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def electrical_notices(
    batch: BatchSettings, timeline: Timeline, course: Course, tungsten_fraction_gone: float
) -> list[Notice]:
    """Notices from current and voltage.

    Parameters
    ----------
    batch : BatchSettings
        Set current and cap.
    timeline : Timeline
        The readings.
    course : Course
        The planned course, for the voltage to expect.
    tungsten_fraction_gone : float
        Best estimate of the share of the tungsten that has gone, 0 to 1.
    """
    time, current, voltage, _ = _blocks(timeline)
    if time.size == 0:
        return []
    hours = time / 3600.0
    set_a, cap = batch.supply.current_a, batch.supply.voltage_cap_v
    found: list[Notice] = []

    def told(mask: BoolArray, kind: str, seen: str, cause: str, do: str, urgent: bool = False) -> None:
        stretches = _stretches(mask)
        for a, b in stretches[-3:]:
            found.append(Notice(kind, float(hours[a]), float(hours[b]), seen, cause, do, urgent))

    carrying = current >= 0.5 * set_a
    told(
        carrying & (voltage < SHORT_BELOW_V),
        "short",
        "less than 1 V at the set current",
        "a short: anode or basket touches the cathode",
        "supply off, lift the anode, find the touch; coulombs of this stretch dissolved nothing",
        True,
    )
    at_cap = voltage >= cap - max(0.03 * cap, 0.05)
    near_end = tungsten_fraction_gone > 0.85
    told(
        at_cap & (current < 0.5 * set_a),
        "collapse",
        "the current collapses at the voltage cap",
        "the end: what is left is thin, or the titanium blocks" if near_end else "lost contact, or crust on the rods",
        "supply off, lift, look, weigh"
        if near_end
        else "supply off, then look at clips and rods; do not raise the cap",
    )
    told(
        at_cap & carrying,
        "at the cap",
        "the supply sits at its voltage cap",
        "crust, spent hydroxide, or a poor contact; near the end the thin rods",
        "titrate the free hydroxide, look at the rods; do not raise the cap",
    )
    found += _steps(hours, current, voltage, at_cap, batch, course)
    expected = np.interp(time, course.time_s, course.voltage_v)
    late = hours > 1.0
    rising = carrying & ~at_cap & late & (voltage > expected + 1.0)
    if rising.mean() > 0.02 or rising[-1]:
        told(
            rising,
            "rising voltage",
            "more than 1 V above the plan",
            "crust of thoria or tungstate on the rods, hydroxide running out, or the level is low",
            "stir harder, top up, titrate the free hydroxide",
        )
    off = (current < 0.02 * set_a) & ~at_cap
    if off.any() and tungsten_fraction_gone < 0.95:
        told(
            off,
            "off",
            "no current",
            "the supply is off or a clip is open; tungsten corrodes on while it touches the cathode circuit",
            "lift the rods and disconnect, or switch on again",
        )
    return found


def _steps(
    hours: Floats, current: Floats, voltage: Floats, at_cap: BoolArray, batch: BatchSettings, course: Course
) -> list[Notice]:
    """Steps of about a volt at an unchanged current, that stay."""
    if hours.size < 4:
        return []
    set_a, cap = batch.supply.current_a, batch.supply.voltage_cap_v
    found = []
    planned = np.interp(hours * 3600.0, course.time_s, course.voltage_v)
    jump = np.diff(voltage) - np.maximum(np.diff(planned), 0.0)
    steady = (np.minimum(current[1:], current[:-1]) > 0.5 * set_a) & (np.abs(np.diff(current)) < 0.1 * set_a)
    for i in np.flatnonzero((jump > 0.7) & (jump < 2.5) & steady & ~at_cap[1:] & (np.diff(hours) < 3.0)):
        before = float(np.median(voltage[max(i - 4, 0) : i + 1]))
        after = float(np.median(voltage[i + 1 : i + 6]))
        if 0.6 < after - before < 2.5 and after < cap:
            found.append(
                Notice(
                    "basket",
                    float(hours[i + 1]),
                    float(hours[i + 1]),
                    f"a step of {after - before:+.1f} V at an unchanged current",
                    "the basket has taken over if there is gas at the anode: oxygen is made, the coulombs count "
                    "no tungsten",
                    "look for gas at the anode; if so supply off, and move the rods into contact",
                )
            )
    return found[-3:]


def state_notices(batch: BatchSettings, timeline: Timeline, start_ml: float) -> list[Notice]:
    """Notices from temperature, level, free hydroxide and the clock."""
    found: list[Notice] = []
    hours = timeline.time_s / 3600.0
    warm = np.flatnonzero(timeline.temperature_degc > 55.0)
    if warm.size:
        peak = float(np.nanmax(timeline.temperature_degc))
        found.append(
            Notice(
                "temperature",
                float(hours[warm[0]]),
                float(hours[warm[-1]]),
                f"the bath reached {peak:.0f} °C",
                "too much current or voltage for this vessel, or too little liquid",
                "lower the current; above 60 °C switch off",
                peak > 60.0,
            )
        )
    levels = np.flatnonzero(np.isfinite(timeline.level_ml))
    if levels.size and timeline.level_ml[levels[-1]] < 0.87 * start_ml:
        last = levels[-1]
        found.append(
            Notice(
                "level",
                float(hours[last]),
                float(hours[last]),
                f"the level is {timeline.level_ml[last]:.0f} mL of {start_ml:.0f} mL",
                "evaporation; the open surface loses far more than electrolysis",
                f"top up {start_ml - timeline.level_ml[last]:.0f} mL of deionised water",
                bool(timeline.level_ml[last] < 0.7 * start_ml),
            )
        )
    free = np.flatnonzero(np.isfinite(timeline.free_hydroxide_mol_l))
    if free.size and timeline.free_hydroxide_mol_l[free[-1]] < 0.5:
        last = free[-1]
        found.append(
            Notice(
                "hydroxide",
                float(hours[last]),
                float(hours[last]),
                f"free hydroxide is down to {timeline.free_hydroxide_mol_l[last]:.2f} mol/L",
                "used by the tungsten and by carbon dioxide of the air",
                "lower the current, or add hydroxide solution slowly with the supply off",
            )
        )
    words = {
        "gap": ("nothing was read for a while", "the charge of this stretch is known only between bounds"),
        "restart": ("the logger was restarted", "the time that it stood still is unknown; its usual step was taken"),
        "set back": ("the clock was set back", "summer time or a corrected clock; the usual step was taken"),
        "set forward": ("the clock jumped an hour", "summer time, or an hour without readings: counted as a gap"),
    }
    for event in timeline.events[-20:]:
        seen, cause = words[event.kind]
        found.append(
            Notice(
                event.kind,
                (event.at_s - (event.length_s if event.kind in ("gap", "set forward") else 0.0)) / 3600.0,
                event.at_s / 3600.0,
                f"{seen} ({event.length_s / 3600:.2f} h)",
                cause,
                "weigh the rods if much of the charge is uncertain" if event.kind == "gap" else "nothing",
            )
        )
    return found
