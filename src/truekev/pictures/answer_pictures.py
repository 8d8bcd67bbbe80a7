"""Pictures of answers about samples: activities beside their limits, and ages that agree with a ratio."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure
from truekev.samples.thorium_states import AGES_YEARS, member_index, refined_states

__all__ = ["picture_of_ages", "picture_of_limits"]


def picture_of_limits(assayed: Sequence[Mapping[str, Any]]) -> Figure:
    """Best estimate and coverage interval of each nuclide, over its decision threshold; the axis is compressed.

    `assayed` as an answer of the book holds them (`job.book_assay`).
    """
    figure = new_figure(1, size=(9.5, 1.5 + 0.62 * len(assayed)))
    axis = figure.axes[0]
    largest = 2.5
    for row, one in enumerate(assayed):
        unit = one["decision_threshold"]
        low, high = (value / unit for value in one["symmetric_limits"])
        best = one["best_estimate"]["value"] / unit
        label = bool(row == 0)
        axis.plot([low, high], [row, row], color=SEA, linewidth=5, solid_capstyle="butt", alpha=0.45,
                  label=f"{100 * one['coverage']:g} % interval, symmetric" if label else None)  # fmt: skip
        axis.plot([best], [row], "o", color=SEA, markersize=8, label="best estimate" if label else None)
        axis.plot([one["estimate"]["value"] / unit], [row], "x", color=INK, markersize=7,
                  label="estimate of the fit" if label else None)  # fmt: skip
        largest = max(largest, high, best)
        if one["detection_limit"] is not None:
            at = one["detection_limit"] / unit
            axis.plot([at, at], [row - 0.32, row + 0.32], color=INK, linestyle="--", linewidth=1.6,
                      label="detection limit" if label else None)  # fmt: skip
            largest = max(largest, at)
    axis.axvline(1.0, color=RUST, linewidth=1.6, label="decision threshold")
    axis.axvline(0.0, color=PALE, linewidth=1.0)
    lowest = min(0.0, *(one["estimate"]["value"] / one["decision_threshold"] for one in assayed))
    axis.set_xscale("function", functions=(_rooted, _squared))
    axis.set_xlim(min(1.2 * lowest, -0.15), 1.15 * largest)
    axis.set_xticks([at for at in (-4, -1, 0, 1, 2, 4, 10, 30, 100, 300, 1e3, 1e4) if 1.2 * lowest <= at < largest])
    axis.xaxis.set_major_formatter(lambda at, _: f"{at:g}")
    axis.set_yticks(range(len(assayed)), [one["name"] for one in assayed])
    axis.set_ylim(len(assayed) - 0.4, -0.6)
    axis.set_xlabel("activity over its decision threshold (compressed)")
    figure.legend(loc="outside upper left", ncols=3, fontsize=9)
    return figure


def _rooted(x: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    return np.asarray(np.sign(x) * np.sqrt(np.abs(x)))


def _squared(x: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    return np.asarray(np.sign(x) * np.square(x))


def picture_of_ages(ratio: float, u: float, ages: Sequence[Mapping[str, Any]]) -> Figure:
    """Ra-228 over Th-228 after a refining, the ratio that was measured, and the ages that agree.

    `ages` as an answer of the book holds them (`job.book_own_source`).
    """
    figure = new_figure(1, size=(9.5, 4.4))
    axis = figure.axes[0]
    states = refined_states()
    curve = states[:, member_index("Ra-228")] / states[:, member_index("Th-228")]
    axis.plot(AGES_YEARS, curve, color=INK, linewidth=1.4, label="thorium refined once")
    axis.axhspan(ratio - 2 * u, ratio + 2 * u, color=SEA, alpha=0.18, label="measured, within 2 u")
    axis.axhline(ratio, color=SEA, linewidth=1.2)
    for i, one in enumerate(ages):
        low = AGES_YEARS[0] if one["low_years"] is None else one["low_years"]
        high = AGES_YEARS[-1] if one["high_years"] is None else one["high_years"]
        at = np.geomspace(low, high, 60)
        axis.plot(at, np.interp(at, AGES_YEARS, curve), color=RUST, linewidth=4.5, solid_capstyle="butt",
                  label="ages that agree" if i == 0 else None)  # fmt: skip
    axis.set_xscale("log")
    axis.set_xlim(0.05, AGES_YEARS[-1])
    axis.set_xticks([0.1, 0.3, 1, 3, 10, 30, 100], ["0.1", "0.3", "1", "3", "10", "30", "100"])
    axis.minorticks_off()
    axis.set_xlabel("years since refining")
    axis.set_ylabel("Ra-228 over Th-228")
    axis.legend(loc="lower right", fontsize=9)
    return figure
