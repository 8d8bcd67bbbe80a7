"""Settling times by grain size and liquid."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

if TYPE_CHECKING:
    from truekev.job.recover import RecoverReport

__all__ = ["picture_of_settling"]


def picture_of_settling(report: RecoverReport) -> Figure:
    """Hours against grain size, both logarithmic, one line per liquid; the usual grains are shaded."""
    figure = new_figure(size=(9.5, 5.6))
    (axis,) = figure.axes
    figure.suptitle(f"{report.batch}: how long the oxide takes to settle", x=0.01, ha="left", fontsize=12)
    axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
    liquids = list(dict.fromkeys(row.liquid for row in report.settling))
    for liquid, color, style in zip(liquids, (RUST, INK, SEA), ("-", "--", ":"), strict=False):
        rows = [row for row in report.settling if row.liquid == liquid]
        axis.plot([r.grain_um for r in rows], [r.hours for r in rows], style, color=color, marker="o", markersize=3)
        axis.annotate(
            liquid,
            (rows[0].grain_um, rows[0].hours),
            fontsize=9,
            color=color,
            xytext=(6, 4),
            textcoords="offset points",
        )
    axis.axvspan(1.5, 4.0, color=PALE, alpha=0.2, linewidth=0)
    axis.text(
        2.45,
        0.97,
        "grains of electrodes",
        transform=axis.get_xaxis_transform(),
        fontsize=9,
        color=INK,
        ha="center",
        va="top",
    )
    for hours, words in ((1.0, "one hour"), (24.0, "one day")):
        axis.axhline(hours, color=PALE, linewidth=0.8, linestyle=":")
        axis.text(4.45, hours, words, fontsize=9, color=INK, va="bottom", ha="right")
    axis.set_xscale("log")
    axis.set_yscale("log")
    axis.set_xlim(0.45, 4.5)
    ticks = [0.5, 1, 1.5, 2, 3, 4]
    axis.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axis.minorticks_off()
    axis.set_yticks([0.1, 1, 10, 100], ["0.1", "1", "10", "100"])
    axis.set_xlabel("grain [µm]", color=INK, fontsize=9)
    axis.set_ylabel("hours for the height of the liquid", color=INK, fontsize=9)
    return figure
