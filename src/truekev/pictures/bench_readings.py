"""Readings of a run over its plan."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from truekev.pictures.bench_course import mark_unattended
from truekev.pictures.bench_page import ACCENT, INK, PALE, new_page, save_page

if TYPE_CHECKING:
    from truekev.job.run_today import FollowReport

__all__ = ["draw_readings"]

_MOST_POINTS = 4000


def _thinned(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> tuple[Any, Any]:
    known = np.isfinite(y)
    x, y = x[known], y[known]
    step = max(x.size // _MOST_POINTS, 1)
    return x[::step], y[::step]


def draw_readings(report: FollowReport, path: str | Path) -> Path:
    """Draw readings as points over the plan as a thin line; notices are marked where they begin."""
    from truekev.bench.attendance import unattended_stretches

    timeline, plan, batch, standing = report.timeline, report.plan, report.batch, report.standing
    hours, planned = timeline.time_s / 3600, plan.course.time_s / 3600
    figure, axes = new_page(
        3, height_cm=18, title=f"{batch.name}: readings to {standing.last_reading:%a %d %b %Y %H:%M}, over the plan"
    )
    rows = (
        ("current [A]", timeline.current_a, plan.course.current_a),
        ("voltage [V]", timeline.voltage_v, plan.course.voltage_v),
        ("bath [°C]", timeline.temperature_degc, plan.course.temperature_degc),
    )
    for axis, (label, seen, expected) in zip(axes, rows, strict=True):
        x, y = _thinned(hours, seen)
        dense = len(x) > 200
        axis.plot(planned, expected, color=PALE, linewidth=1.4, label="plan")
        axis.plot(
            x,
            y,
            color=ACCENT,
            linestyle="none",
            marker="." if dense else "o",
            markersize=1.5 if dense else 4,
            label="read",
        )
        axis.set_ylabel(label, color=INK, fontsize=9)
        axis.legend(fontsize=7, frameon=False, loc="best", labelcolor=INK, markerscale=4 if dense else 1)
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
            fontsize=7,
            color=INK,
            va="top",
        )
    axes[-1].set_xlabel(
        f"hours from switch-on; {standing.tungsten_gone_g} of tungsten gone "
        f"({100 * standing.fraction_gone.value:.0f} %)",
        color=INK,
        fontsize=9,
    )
    last = max(plan.finish, standing.last_reading)
    mark_unattended(axes, unattended_stretches(batch.start, last, batch.attendance), batch.start)
    return save_page(figure, path)
