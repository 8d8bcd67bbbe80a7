"""The planned course of a run: current and voltage, temperature, level, composition, over clock hours."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

if TYPE_CHECKING:
    from truekev.job.plan_make import MakeReport

__all__ = ["picture_of_course", "mark_unattended"]


def mark_unattended(axes: list[Any], stretches: tuple[tuple[datetime, datetime], ...], start: datetime) -> None:
    """Shade the hours in which nobody is there; label the first."""
    for i, (begin, end) in enumerate(stretches):
        a, b = ((moment - start).total_seconds() / 3600 for moment in (begin, end))
        for axis in axes:
            axis.axvspan(a, b, color=PALE, alpha=0.18, linewidth=0)
        if i == 0:
            axes[0].text(
                0.5 * (a + b),
                1.01,
                "unattended",
                transform=axes[0].get_xaxis_transform(),
                fontsize=9,
                color=INK,
                ha="center",
            )


def picture_of_course(report: MakeReport) -> Figure:
    """The time course of a plan: current and voltage, temperature, level, composition."""
    from truekev.bench.attendance import unattended_stretches

    course, plan, batch = report.plan.course, report.plan, report.batch
    hours = course.time_s / 3600
    figure = new_figure(4, size=(9.5, 11.5))
    axes = figure.axes
    figure.suptitle(f"{batch.name}: planned run, from {batch.start:%a %d %b %Y %H:%M}", x=0.01, ha="left", fontsize=12)
    electric, bath, level, mix = axes
    electric.plot(hours, course.current_a, color=INK, label="current [A]")
    electric.plot(hours, course.voltage_v, color=RUST, linestyle="--", label="voltage [V]")
    electric.axhline(batch.supply.voltage_cap_v, color=RUST, linewidth=0.7, linestyle=":")
    electric.text(0.2, batch.supply.voltage_cap_v, " voltage cap", fontsize=9, color=RUST, va="bottom")
    electric.set_ylim(0, 1.15 * batch.supply.voltage_cap_v)
    electric.set_ylabel("A, V", color=INK, fontsize=10)
    rise = course.temperature_degc - batch.room.temperature_degc
    relative = plan.temperature_degc.u / max(abs(plan.temperature_degc.value - batch.room.temperature_degc), 1.0)
    low, high = (course.temperature_degc + sign * np.abs(rise) * relative for sign in (-1, 1))
    bath.fill_between(hours, low, high, color=RUST, alpha=0.15, linewidth=0, label="± standard uncertainty")
    bath.plot(hours, course.temperature_degc, color=RUST, label="bath [°C]")
    bath.axhline(60, color=INK, linewidth=0.7, linestyle=":")
    bath.text(0.2, 60, " 60 °C: cut-out", fontsize=9, color=INK, va="bottom")
    bath.set_ylim(min(batch.room.temperature_degc, float(course.temperature_degc.min())) - 2, 66)
    bath.set_ylabel("°C", color=INK, fontsize=10)
    relative_level = 100 * course.volume_l / course.volume_l[0]
    level.plot(hours, relative_level, color=INK, label="level [% of the start]")
    for top_up in plan.top_ups:
        at = top_up.time_s / 3600
        level.annotate(
            f"+{top_up.water_g:.0f} mL",
            (at, 100 * top_up.level_before),
            fontsize=9,
            color=INK,
            ha="center",
            va="top",
            xytext=(0, -4),
            textcoords="offset points",
        )
    level.set_ylim(float(relative_level.min()) - 6, float(relative_level.max()) + 3)
    level.set_ylabel("%", color=INK, fontsize=10)
    mix.plot(hours, course.hydroxide_mol_l, color=INK, label="free hydroxide [mol/L]")
    mix.plot(hours, course.tungstate_mol_l, color=RUST, linestyle="--", label="tungstate [mol/L]")
    mix.plot(hours, course.limit_ratio, color=SEA, linestyle="-.", label="current over limiting current")
    mix.set_ylim(bottom=0)
    mix.set_ylabel("mol/L, ratio", color=INK, fontsize=10)
    mix.set_xlabel(f"hours from switch-on; ends {plan.finish:%a %d %b %H:%M}: {plan.end.value}", color=INK, fontsize=10)
    mix.set_xlim(0, float(hours[-1]) * 1.01 + 1e-3)
    for axis in axes:
        axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
        axis.legend(fontsize=9, frameon=False, loc="best", labelcolor=INK)
    mark_unattended(axes, unattended_stretches(batch.start, plan.finish, batch.attendance), batch.start)
    return figure
