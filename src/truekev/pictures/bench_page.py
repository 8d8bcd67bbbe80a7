"""The page that the bench's figures are drawn on: paper, ink, one accent; saved whole."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from truekev.errors import InputError
from truekev.files import write_whole

__all__ = ["ACCENT", "INK", "PALE", "PAPER", "new_page", "save_page"]

PAPER, INK, PALE, ACCENT = "#fbf8f1", "#23303a", "#9aa39a", "#a8442a"


def new_page(n_rows: int, *, height_cm: float, title: str) -> tuple[Any, list[Any]]:
    """A figure 18 cm wide with `n_rows` axes over one horizontal axis; returns figure and axes."""
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    figure = Figure(
        figsize=(18 / 2.54, height_cm / 2.54), facecolor=PAPER, layout=ConstrainedLayoutEngine(w_pad=0.12, h_pad=0.06)
    )
    axes = figure.subplots(n_rows, 1, sharex=True, squeeze=False)[:, 0].tolist()
    for axis in axes:
        axis.set_facecolor(PAPER)
        axis.grid(color=PALE, alpha=0.35, linewidth=0.6)
        axis.tick_params(colors=INK, labelsize=8)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            axis.spines[side].set_color(PALE)
    figure.suptitle(title, color=INK, fontsize=11, x=0.01, ha="left")
    return figure, axes


def save_page(figure: Any, path: str | Path) -> Path:
    """Save a figure as PNG, SVG or PDF by the ending of its name; whole or absent."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    ending = Path(path).suffix.lower().removeprefix(".")
    if ending not in ("png", "svg", "pdf"):
        raise InputError(f"{path}: figures are saved as .png, .svg or .pdf.")
    FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    figure.savefig(buffer, format=ending, dpi=160, facecolor=figure.get_facecolor())
    return write_whole(path, buffer.getvalue())
