"""How the members of a source grow and decay over the years."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from matplotlib.figure import Figure

from truekev.nuclides.history import History, moment
from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure

__all__ = ["picture_of_source"]

_SHOWN = ("Th-232", "Ra-228", "Th-228", "Ra-224", "Pb-212", "U-238", "Ra-226", "Pb-210", "K-40", "Am-241")
_LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))


def picture_of_source(history: History, on: date, *, years: float = 40.0) -> Figure:
    """Activities over `years` from the last day of the history, on a clock that starts at a day; `on` is marked."""
    start = history.last_date
    days = np.concatenate([[0.0], np.geomspace(0.25, 365.25 * years, 80)])
    rows = [history.plain_activities_bq(moment(start) + timedelta(days=float(d))) for d in days]
    figure = new_figure(1, size=(9.5, 4.6))
    axis = figure.axes[0]
    shown = [name for name in _SHOWN if name in rows[0]][:5] or list(rows[0])[:5]
    for name, line, colour in zip(shown, _LINES, (INK, RUST, SEA, INK, RUST), strict=False):
        values = [row[name] for row in rows]
        axis.plot(np.maximum(days, 0.2), values, linestyle=line, color=colour, label=name)
    age = (on - moment(start).date()).days
    if age > 0:
        axis.axvline(age, color=PALE, linewidth=2)
        axis.text(age, 1.0, f" {on}", fontsize=9, color=INK, va="top", transform=axis.get_xaxis_transform())
    axis.set_xscale("log")
    axis.set_xlim(0.2, days[-1])
    axis.set_xticks([1, 7, 30, 365.25, 3652.5], ["1 day", "1 week", "1 month", "1 year", "10 years"])
    axis.minorticks_off()
    low = min(row[name] for row in rows for name in shown)
    high = max(row[name] for row in rows for name in shown)
    axis.set_ylim(max(low - 0.12 * (high - low), 0.0), high + 0.12 * (high - low) + 1e-9)
    axis.set_ylabel("activity, Bq")
    axis.set_xlabel(f"after {start}")
    axis.legend(loc="best", fontsize=9)
    return figure
