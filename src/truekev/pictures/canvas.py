"""One look for all figures: paper-like, own palette, readable at arm's length."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
import matplotlib.pyplot as plt
from matplotlib.figure import Figure

from truekev.files import write_whole

matplotlib.use("Agg")

__all__ = ["INK", "PALE", "RUST", "SEA", "new_figure", "png_of", "save"]

INK = "#22303c"
RUST = "#a8452c"
SEA = "#2b6f77"
PALE = "#b9c4c9"
_PAPER = "#fbfaf6"

_STYLE = {
    "figure.facecolor": _PAPER,
    "axes.facecolor": _PAPER,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "font.size": 11,
    "axes.titlesize": 12,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
}


def new_figure(
    rows: int = 1, heights: tuple[float, ...] | None = None, size: tuple[float, float] = (9.5, 6.0)
) -> Figure:
    """A figure with `rows` axes below one another that share their horizontal axis."""
    with plt.style.context(_STYLE):
        figure, _ = plt.subplots(
            rows,
            1,
            sharex=True,
            squeeze=False,
            figsize=size,
            gridspec_kw={"height_ratios": heights or (1.0,) * rows},
            layout="constrained",
        )
    return figure


def png_of(figure: Figure) -> bytes:
    """The figure as the bytes of a PNG; closes it."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=130)
    plt.close(figure)
    return buffer.getvalue()


def save(figure: Figure, path: str | Path) -> Path:
    """Write the figure as PNG, whole or not at all, and close it."""
    return write_whole(path, png_of(figure))
