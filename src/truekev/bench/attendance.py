"""When somebody is there: moments for topping up, and the unattended stretches between."""

from __future__ import annotations

from datetime import datetime, timedelta

from truekev.bench.settings import AttendanceSettings

__all__ = ["attended_moments_s", "unattended_stretches"]

_HORIZON_DAYS = 30


def attended_moments_s(start: datetime, attendance: AttendanceSettings) -> tuple[float, ...]:
    """Seconds from `start` at which water is topped up: first and last thing of each attended day, and every few
    hours between.
    """
    moments: list[float] = []
    for day in range(_HORIZON_DAYS + 1):
        date = (start + timedelta(days=day)).date()
        opens = datetime.combine(date, attendance.from_time, tzinfo=start.tzinfo)
        closes = datetime.combine(date, attendance.to_time, tzinfo=start.tzinfo)
        moment = opens
        while moment < closes:
            moments.append((moment - start).total_seconds())
            moment += timedelta(hours=attendance.top_up_every_h)
        moments.append((closes - start).total_seconds())
    visits: list[float] = []
    for moment_s in sorted(m for m in moments if m >= 3600.0):
        if visits and moment_s - visits[-1] < 1800.0:
            visits[-1] = moment_s  # two moments within half an hour are one visit, at the later
        else:
            visits.append(moment_s)
    return tuple(visits)


def unattended_stretches(
    start: datetime, finish: datetime, attendance: AttendanceSettings
) -> tuple[tuple[datetime, datetime], ...]:
    """Stretches between `start` and `finish` in which nobody is there."""
    stretches: list[tuple[datetime, datetime]] = []
    day = (start - timedelta(days=1)).date()
    while True:
        closes = datetime.combine(day, attendance.to_time, tzinfo=start.tzinfo)
        opens = datetime.combine(day + timedelta(days=1), attendance.from_time, tzinfo=start.tzinfo)
        if closes >= finish:
            return tuple(stretches)
        begin, end = max(closes, start), min(opens, finish)
        if begin < end:
            stretches.append((begin, end))
        day += timedelta(days=1)
