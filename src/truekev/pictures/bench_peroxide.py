"""The adiabatic peak of a dose of peroxide against its volume."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from truekev.pictures.bench_page import ACCENT, INK, PALE, new_page, save_page

if TYPE_CHECKING:
    from truekev.job.clean import CleanReport

__all__ = ["draw_peroxide"]


def draw_peroxide(report: CleanReport, path: str | Path) -> Path:
    """Draw the peak without cooling against volume, for no tungsten, the tungsten given, and unlimited tungsten."""
    from truekev.bench.cleanup import MAX_ADIABATIC_DEGC, Dose, dose_heat

    plan, heel_ml, given_g = report.plan, report.heel_ml, report.tungsten_left_g
    start = plan.heat.start_degc
    volumes = np.linspace(0.5, max(2.0 * plan.asked.volume_ml, 30.0), 160)
    figure, (axis,) = new_page(
        1,
        height_cm=11,
        title=f"{report.batch}: peak if all the peroxide reacts and nothing cools, {plan.asked.percent:g} %",
    )
    cases = [("no tungsten", 0.0, INK, "--"), ("unlimited tungsten", None, ACCENT, "-")]
    if given_g is not None and given_g > 0:
        cases.insert(1, (f"{given_g:g} g tungsten", given_g, ACCENT, "-."))
    for words, tungsten, color, style in cases:
        peaks = [dose_heat(Dose(float(v), plan.asked.percent), heel_ml, tungsten, start).peak_degc for v in volumes]
        axis.plot(volumes, np.minimum(peaks, 104.0), style, color=color, label=words)
    axis.axhline(MAX_ADIABATIC_DEGC, color=INK, linewidth=0.8, linestyle=":")
    axis.text(volumes[0], MAX_ADIABATIC_DEGC + 1, "the rule: 60 °C", fontsize=8, color=INK)
    axis.axhline(100.0, color=PALE, linewidth=0.8)
    axis.text(volumes[0], 100.7, "boils and throws", fontsize=8, color=INK)
    axis.plot([plan.asked.volume_ml], [plan.heat.peak_degc], "o", color=ACCENT)
    axis.annotate(
        "this dose",
        (plan.asked.volume_ml, plan.heat.peak_degc),
        fontsize=8,
        color=ACCENT,
        xytext=(6, -12),
        textcoords="offset points",
    )
    axis.set_ylim(start - 2, 108)
    axis.set_xlim(0, float(volumes[-1]))
    axis.set_xlabel(f"dose [mL] on a heel of {heel_ml:g} mL at {start:g} °C", color=INK, fontsize=9)
    axis.set_ylabel("°C", color=INK, fontsize=9)
    axis.legend(fontsize=8, frameon=False, loc="lower right", labelcolor=INK)
    return save_page(figure, path)
