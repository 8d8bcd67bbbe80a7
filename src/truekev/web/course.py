"""Charts of a run: the planned course, and the readings over it."""

from __future__ import annotations

from datetime import datetime

from markupsafe import Markup

from truekev.bench.attendance import unattended_stretches
from truekev.bench.plan import MakePlan
from truekev.bench.settings import BatchSettings
from truekev.bench.timeline import Timeline
from truekev.web.chart import Row, chart_svg

__all__ = ["course_charts"]

_X = "hours from switch-on"


def course_charts(batch: BatchSettings, plan: MakePlan, timeline: Timeline | None = None) -> tuple[Markup, ...]:
    """Current, voltage, bath temperature and free hydroxide over time; hours with nobody there are shaded."""
    course = plan.course
    planned_h = course.time_s / 3600
    seen_h = None if timeline is None else timeline.time_s / 3600
    end = plan.finish
    if seen_h is not None and seen_h.size:
        end = max(end, _after(batch.start, float(seen_h[-1])))
    shaded = [
        tuple((moment - batch.start).total_seconds() / 3600 for moment in stretch)
        for stretch in unattended_stretches(batch.start, end, batch.attendance)
    ]
    charts = []
    for label, expected, name in (
        ("current, A", course.current_a, "current_a"),
        ("cell voltage, V", course.voltage_v, "voltage_v"),
        ("bath, °C", course.temperature_degc, "temperature_degc"),
        ("free hydroxide, mol/L", course.hydroxide_mol_l, "free_hydroxide_mol_l"),
    ):
        rows = [Row("planned", planned_h, expected)]
        if timeline is not None and seen_h is not None:
            rows.append(Row("read", seen_h, getattr(timeline, name), "read", points=True))
        charts.append(chart_svg(rows, x_label=_X, y_label=label, shaded=[(s[0], s[1]) for s in shaded]))
    return tuple(charts)


def _after(start: datetime, hours: float) -> datetime:
    from datetime import timedelta

    return start + timedelta(hours=hours)
