"""Drift of the gain within a count, against time and temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

if TYPE_CHECKING:
    from truekev.job.align_slices import AlignReport

__all__ = ["picture_of_drift"]


def picture_of_drift(report: AlignReport) -> Figure:
    """Gain of every slice as points with bars, what the sum was made with as a line; temperature below where given."""
    slices = report.slices
    hours = np.array([one.hours for one in slices])
    warm = [(one.hours, one.temperature_degc) for one in slices if one.temperature_degc is not None]
    figure = new_figure(2 if warm else 1, heights=(2.0, 1.0) if warm else None, size=(9.5, 7.0 if warm else 5.0))
    axis = figure.axes[0]
    alone = [(one.hours, one.alone_percent) for one in slices if one.alone_percent is not None]
    axis.errorbar(
        [at for at, _ in alone],
        [value.value for _, value in alone],
        yerr=[value.u for _, value in alone],
        fmt="o",
        markersize=3,
        color=RUST,
        ecolor=PALE,
        label="each slice alone (k = 1)",
    )
    axis.plot(hours, [one.gain_percent.value for one in slices], color=SEA, linewidth=1.6, label="with its neighbours")
    axis.set_ylabel("gain over the mean [%]", color=INK)
    axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
    axis.legend(fontsize=9, loc="best", labelcolor=INK)
    title = f"{report.source}: drift {report.drift_percent}"
    if report.temperature is not None:
        title += f"; {report.temperature.percent_per_degc}"
    axis.set_title(title, loc="left", color=INK)
    if warm:
        below = figure.axes[1]
        below.plot([at for at, _ in warm], [degc for _, degc in warm], color=INK, linewidth=1.2)
        below.set_ylabel("temperature [°C]", color=INK)
        below.grid(color=PALE, alpha=0.5, linewidth=0.6)
    figure.axes[-1].set_xlabel("hours from the start", color=INK)
    return figure
