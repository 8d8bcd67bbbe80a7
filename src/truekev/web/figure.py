"""The figure of a spectrum as the page's script takes it: plain numbers, short enough for a phone."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from truekev.job.spectrum_figure import SpectrumFigure

__all__ = ["figure_document"]

# Finer than any screen: above it channels are drawn together, and the figure says so.
MOST_BINS = 8192


def figure_document(figure: SpectrumFigure) -> dict[str, Any]:
    """Edges, counts, model and components, rounded for drawing."""
    step = max(1, -(-figure.counts.size // MOST_BINS))
    n = figure.counts.size // step
    model = None if figure.model is None else _short(_sums(figure.model, n, step))
    return {
        "in_kev": figure.in_kev,
        "channels_together": step,
        "edges": _short(figure.edges[: n * step + 1 : step], 7),
        "u": _short(figure.u_edges[: n * step + 1 : step], 3),
        "counts": _short(_sums(figure.counts, n, step), 10),
        "model": model,
        "components": [{"name": name, "counts": _short(_sums(row, n, step), 4)} for name, row in figure.components[:6]],
        "groups": [[round(energy, 2), name, used] for energy, name, used in figure.groups],
    }


def _sums(row: npt.NDArray[np.float64], n: int, step: int) -> npt.NDArray[np.float64]:
    return np.asarray(row[: n * step].reshape(n, step).sum(axis=1))


def _short(row: npt.NDArray[np.float64], digits: int = 5) -> list[float | int]:
    return [int(v) if float(v).is_integer() else float(f"{v:.{digits}g}") for v in row]
