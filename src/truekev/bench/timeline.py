"""One true time axis out of clocks that jump: gaps, logger restarts, clock changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.bench.readings import Readings

__all__ = ["ClockEvent", "Timeline", "join_timelines", "timeline_of"]

Floats = npt.NDArray[np.float64]

_GAP_FACTOR = 10.0
_SHORTEST_GAP_S = 900.0
_UNKNOWN = ("gap", "set forward")


@dataclass(frozen=True)
class ClockEvent:
    """Something odd in the clock: "gap", "restart", "set back", "set forward"; when [s of the axis], how long [s]."""

    kind: str
    at_s: float
    length_s: float


@dataclass(frozen=True)
class Timeline:
    """Readings on one axis that never runs back.

    `time_s` counts from the batch's start; `gap_before` marks readings before which nothing is known for a while.
    """

    time_s: Floats
    current_a: Floats
    voltage_v: Floats
    temperature_degc: Floats
    free_hydroxide_mol_l: Floats
    mass_g: Floats
    level_ml: Floats
    gap_before: npt.NDArray[np.bool_]
    events: tuple[ClockEvent, ...]


def timeline_of(readings: Readings, start_clock_s: float) -> Timeline:
    """Readings of one file on the axis of the run.

    Parameters
    ----------
    readings : Readings
        As read from the file, in its order.
    start_clock_s : float
        The clock at the start of the batch, seconds since 1970 without time zone. A logger that counts from its
        own start is taken to have been started with the batch.

    Notes
    -----
    Where the clock runs back, the true step is taken as the usual one of the file: a logger that begins again near
    zero was restarted, another clock was set. A step of an hour, to a few seconds, among steady readings is called
    a clock set
    forward, but its time counts as unknown all the same.
    """
    clock = readings.clock_s
    steps = np.diff(clock)
    forward = steps[steps > 0]
    usual = float(np.median(forward)) if forward.size else 60.0
    limit = max(_GAP_FACTOR * usual, _SHORTEST_GAP_S)
    back = steps < 0
    gap = steps > limit
    true = np.where(back, min(usual, 3600.0), steps)
    origin = 0.0 if readings.elapsed else start_clock_s
    time = np.concatenate([[0.0], np.cumsum(true)]) + (clock[0] - origin)
    events = []
    for i in np.flatnonzero(back):
        restarted = readings.elapsed and clock[i + 1] <= clock[0] + 2 * usual
        events.append(ClockEvent("restart" if restarted else "set back", float(time[i + 1]), float(-steps[i])))
    for i in np.flatnonzero(gap):
        hour = abs(steps[i] - usual - 3600.0) < max(5.0, 0.1 * usual) and usual < 360.0
        events.append(ClockEvent("set forward" if hour else "gap", float(time[i + 1]), float(steps[i])))
    return Timeline(
        time,
        readings.current_a,
        readings.voltage_v,
        readings.temperature_degc,
        readings.free_hydroxide_mol_l,
        readings.mass_g,
        readings.level_ml,
        np.concatenate([[False], gap]),
        tuple(sorted(events, key=lambda e: e.at_s)),
    )


def join_timelines(one: Timeline, other: Timeline) -> Timeline:
    """Notes and a logger's file on one axis.

    Parameters
    ----------
    one : Timeline
        The notes.
    other : Timeline
        The logger's file.

    Notes
    -----
    A note inside a gap of the logger closes nothing: both stretches beside it stay unknown. Notes that lie far apart
    leave no gap where the logger ran in between.
    """
    order = np.argsort(np.concatenate([one.time_s, other.time_s]), kind="stable")

    def merged(name: str) -> Floats:
        return np.asarray(np.concatenate([getattr(one, name), getattr(other, name)])[order])

    time = merged("time_s")
    steps = np.diff(time, prepend=time[0])
    gap = np.concatenate([one.gap_before, other.gap_before])[order] & (steps > _SHORTEST_GAP_S)
    for event in other.events:
        if event.kind in _UNKNOWN:
            gap |= (time > event.at_s - event.length_s) & (time <= event.at_s)
    events = [e for e in one.events if e.kind not in _UNKNOWN or _still_open(e, other.time_s)]
    return Timeline(
        time,
        merged("current_a"),
        merged("voltage_v"),
        merged("temperature_degc"),
        merged("free_hydroxide_mol_l"),
        merged("mass_g"),
        merged("level_ml"),
        np.asarray(gap, dtype=np.bool_),
        tuple(sorted((*events, *other.events), key=lambda e: e.at_s)),
    )


def _still_open(event: ClockEvent, times_s: Floats) -> bool:
    """Whether none of the times lies inside a gap."""
    return not bool(((times_s > event.at_s - event.length_s) & (times_s < event.at_s)).any())
