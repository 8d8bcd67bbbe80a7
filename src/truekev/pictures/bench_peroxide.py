"""The adiabatic peak of a dose of peroxide against its volume."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, new_figure

if TYPE_CHECKING:
    from truekev.job.clean import CleanReport

__all__ = ["picture_of_peroxide"]


def picture_of_peroxide(report: CleanReport) -> Figure:
    """The peak without cooling against volume, for no tungsten, the tungsten given, and unlimited tungsten."""
    from truekev.bench.cleanup import MAX_ADIABATIC_DEGC, Dose, dose_heat

    plan, heel_ml, given_g = report.plan, report.heel_ml, report.tungsten_left_g
    start = plan.heat.start_degc
    volumes = np.linspace(0.5, max(2.0 * plan.asked.volume_ml, 30.0), 160)
    figure = new_figure(size=(9.5, 5.6))
    (axis,) = figure.axes
    figure.suptitle(
        f"{report.batch}: peak if all the peroxide reacts and nothing cools, {plan.asked.percent:g} %",
        x=0.01,
        ha="left",
        fontsize=12,
    )
    axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
    cases = [("no tungsten", 0.0, INK, "--"), ("unlimited tungsten", None, RUST, "-")]
    if given_g is not None and given_g > 0:
        cases.insert(1, (f"{given_g:g} g tungsten", given_g, RUST, "-."))
    for words, tungsten, color, style in cases:
        peaks = [dose_heat(Dose(float(v), plan.asked.percent), heel_ml, tungsten, start).peak_degc for v in volumes]
        shown = [peak if peak < 104.0 else math.nan for peak in peaks]
        axis.plot(volumes, shown, style, color=color, label=words)
    axis.axhline(MAX_ADIABATIC_DEGC, color=INK, linewidth=0.8, linestyle=":")
    axis.text(0.995 * volumes[-1], MAX_ADIABATIC_DEGC + 0.7, "the rule: 60 °C", fontsize=9, color=INK, ha="right")
    axis.axhline(100.0, color=PALE, linewidth=0.8)
    axis.text(0.005 * volumes[-1], 100.7, "boils and throws", fontsize=9, color=INK, ha="left")
    axis.plot([plan.asked.volume_ml], [plan.heat.peak_degc], "o", color=RUST)
    axis.annotate(
        "this dose",
        (plan.asked.volume_ml, plan.heat.peak_degc),
        fontsize=9,
        color=RUST,
        xytext=(8, -8),
        ha="left",
        textcoords="offset points",
    )
    axis.set_ylim(start - 2, 108)
    axis.set_xlim(0, float(volumes[-1]))
    axis.set_xlabel(f"dose [mL] on a heel of {heel_ml:g} mL at {start:g} °C", color=INK, fontsize=9)
    axis.set_ylabel("°C", color=INK, fontsize=9)
    axis.legend(fontsize=9, frameon=False, loc="lower right", labelcolor=INK)
    return figure
