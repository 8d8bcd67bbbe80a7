"""Picture of a forecast: the predicted spectra side by side, with their parts and the time each needs."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from truekev.job.worth_it import WorthIt
from truekev.job.worth_it_words import duration_in_words
from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

__all__ = ["picture_of_forecast"]

_STYLES = {
    "full energy and escape": (SEA, "-"),
    "scattered on the way": (RUST, "--"),
    "made on the way": (RUST, ":"),
    "betas": (INK, "-."),
    "room": (PALE, "-"),
}
_MOST = 5
_TICKS = (30, 60, 120, 240, 500, 1000, 2000, 2600)


def picture_of_forecast(report: WorthIt) -> Figure:
    """Counts per keV and hour of each choice, one below the other, on one scale.

    The vertical axis is compressed as the square root, so that equal height is equal significance; the horizontal one
    is logarithmic.
    """
    choices = report.choices[:_MOST]
    figure = new_figure(len(choices), None, (10.0, 1.2 + 2.6 * len(choices)))
    for axis, choice in zip(figure.axes, choices, strict=True):
        curve = choice.curve
        axis.plot(curve.energy_kev, 3600 * curve.total, color=INK, linewidth=1.6, label="all")
        for words, values in curve.parts.items():
            colour, style = _STYLES[words]
            axis.plot(curve.energy_kev, 3600 * values, color=colour, linestyle=style, linewidth=1.2, label=words)
        axis.set_yscale("function", functions=(lambda y: np.sqrt(np.maximum(y, 0.0)), lambda y: y**2))
        axis.set_ylim(0.0, 1.1 * 3600 * float(curve.total[curve.energy_kev > 25.0].max()))
        axis.set_xscale("log")
        axis.set_xlim(25.0, 2900.0)
        axis.set_xticks(_TICKS, [str(tick) for tick in _TICKS])
        axis.set_xticks([], minor=True)
        whole = duration_in_words(choice.forecast.whole_s)
        axis.set_title(f"{choice.name} ({choice.kind}): {whole}", loc="left")
        for energy in (one.energy_kev for one in choice.forecast.reach.values()):
            axis.axvline(energy, color=PALE, linewidth=0.8, linestyle=":")
    figure.axes[0].legend(loc="upper right", fontsize=9, ncols=2)
    figure.axes[-1].set_xlabel("energy, keV")
    figure.supylabel("counts per keV and hour, root axis")
    return figure
