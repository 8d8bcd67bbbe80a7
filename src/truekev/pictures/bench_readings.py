"""Readings of a run over its plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from truekev.pictures.bench_course import mark_unattended
from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

if TYPE_CHECKING:
    from truekev.job.run_today import FollowReport

__all__ = ["picture_of_readings"]

_MOST_POINTS = 4000


def _thinned(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> tuple[Any, Any]:
    known = np.isfinite(y)
    x, y = x[known], y[known]
    step = max(x.size // _MOST_POINTS, 1)
    return x[::step], y[::step]


def picture_of_readings(report: FollowReport) -> Figure:
    """Readings as points over the plan as a thin line; notices are marked where they begin."""
    from truekev.bench.attendance import unattended_stretches

    timeline, plan, batch, standing = report.timeline, report.plan, report.batch, report.standing
    hours, planned = timeline.time_s / 3600, plan.course.time_s / 3600
    figure = new_figure(3, size=(9.5, 9.5))
    axes = figure.axes
    figure.suptitle(
        f"{batch.name}: readings to {standing.last_reading:%a %d %b %Y %H:%M}, over the plan",
        x=0.01,
        ha="left",
        fontsize=12,
    )
    rows = (
        ("current [A]", timeline.current_a, plan.course.current_a),
        ("voltage [V]", timeline.voltage_v, plan.course.voltage_v),
        ("bath [°C]", timeline.temperature_degc, plan.course.temperature_degc),
    )
    for axis, (label, seen, expected) in zip(axes, rows, strict=True):
        x, y = _thinned(hours, seen)
        dense = len(x) > 200
        axis.plot(planned, expected, color=SEA, linewidth=1.4, label="plan")
        axis.plot(
            x,
            y,
            color=RUST,
            linestyle="none",
            marker="." if dense else "o",
            markersize=1.5 if dense else 4,
            label="read",
        )
        axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
        axis.set_ylabel(label, color=INK, fontsize=10)
        axis.legend(fontsize=9, frameon=False, loc="best", labelcolor=INK, markerscale=4 if dense else 1)
    end = max(float(planned[-1]), float(hours[-1]))
    axes[-1].set_xlim(min(0.0, float(hours[0])), 1.01 * end + 1e-3)
    for i, notice in enumerate(standing.notices[:8]):
        for axis in axes:
            axis.axvline(notice.from_h, color=INK, linewidth=0.6, linestyle=":")
        axes[0].text(
            notice.from_h,
            1.0 - 0.08 * (i % 4),
            f" {notice.kind}",
            transform=axes[0].get_xaxis_transform(),
            fontsize=9,
            color=INK,
            va="top",
        )
    axes[-1].set_xlabel(
        f"hours from switch-on; {standing.tungsten_gone_g} of tungsten gone "
        f"({100 * standing.fraction_gone.value:.0f} %)",
        color=INK,
        fontsize=10,
    )
    last = max(plan.finish, standing.last_reading)
    mark_unattended(axes, unattended_stretches(batch.start, last, batch.attendance), batch.start)
    return figure
