"""A small chart as SVG that a phone can show: lines, points, shaded stretches; the style sheet gives the colours."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from markupsafe import Markup, escape

__all__ = ["Row", "chart_svg"]

Array = npt.NDArray[np.float64]
_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 640.0, 62.0, 12.0, 26.0, 40.0
_MOST_POINTS = 600


@dataclass(frozen=True)
class Row:
    """What is drawn: a line or points; `style` is the word by which the style sheet knows it; no name, no key."""

    name: str
    x: Array
    y: Array
    style: str = "planned"
    points: bool = False


def chart_svg(
    rows: Sequence[Row],
    *,
    x_label: str,
    y_label: str,
    shaded: Iterable[tuple[float, float]] = (),
    height: float = 230.0,
) -> Markup:
    """The chart, with its name for who cannot see it; empty rows are left out."""
    kept = [row for row in (_finite(row) for row in rows) if row.x.size]
    if not kept:
        return Markup()
    x0, x1 = _span([row.x for row in kept], 0.0)
    y0, y1 = _span([row.y for row in kept], 0.08)
    right, bottom = _WIDTH - _RIGHT, height - _BOTTOM

    def px(x: float) -> float:
        return _LEFT + (x - x0) / (x1 - x0) * (right - _LEFT)

    def py(y: float) -> float:
        return bottom - (y - y0) / (y1 - y0) * (bottom - _TOP)

    names = "; ".join(row.name for row in kept if row.name)
    parts = [
        f'<svg class="chart" viewBox="0 0 {_WIDTH:g} {height:g}" role="img" '
        f'aria-label="{escape(y_label)} against {escape(x_label)}: {escape(names)}">'
    ]
    for begin, end in shaded:
        a, b = (min(max(px(t), _LEFT), right) for t in (begin, end))
        if b > a:
            parts.append(
                f'<rect class="shaded" x="{a:.1f}" y="{_TOP}" width="{b - a:.1f}" height="{bottom - _TOP:.1f}"/>'
            )
    for tick in _ticks(y0, y1, 5):
        parts.append(f'<line class="rule" x1="{_LEFT}" x2="{right}" y1="{py(tick):.1f}" y2="{py(tick):.1f}"/>')
        parts.append(f'<text class="tick" x="{_LEFT - 6}" y="{py(tick) + 5:.1f}" text-anchor="end">{tick:g}</text>')
    for tick in _ticks(x0, x1, 7):
        parts.append(
            f'<text class="tick" x="{px(tick):.1f}" y="{bottom + 17:.1f}" text-anchor="middle">{tick:g}</text>'
        )
    for row in kept:
        step = max(1, -(-row.x.size // _MOST_POINTS))
        places = [(px(x), py(y)) for x, y in zip(row.x[::step], row.y[::step], strict=True)]
        if row.points:
            dots = "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.4"/>' for x, y in places)
            parts.append(f'<g class="{row.style}">{dots}</g>')
        else:
            line = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
            parts.append(f'<polyline class="{row.style}" points="{line}"/>')
    parts.append(f'<text class="name" x="4" y="15">{escape(y_label)}</text>')
    parts.append(f'<text class="name" x="{right}" y="{height - 5:.0f}" text-anchor="end">{escape(x_label)}</text>')
    at = right
    for row in (row for row in reversed(kept) if row.name):
        if row.points:
            parts.append(f'<g class="{row.style}"><circle cx="{at - 4:.0f}" cy="11" r="3.4"/></g>')
        else:
            parts.append(f'<polyline class="{row.style}" points="{at - 34:.0f},11 {at:.0f},11"/>')
        at -= 13 if row.points else 40
        parts.append(f'<text class="name" x="{at:.0f}" y="15" text-anchor="end">{escape(row.name)}</text>')
        at -= 9.0 * len(row.name) + 12
    return Markup("".join(parts) + "</svg>")


def _finite(row: Row) -> Row:
    known = np.isfinite(row.x) & np.isfinite(row.y)
    return Row(row.name, row.x[known], row.y[known], row.style, row.points)


def _span(values: Sequence[Array], margin: float) -> tuple[float, float]:
    low, high = min(float(v.min()) for v in values), max(float(v.max()) for v in values)
    room = margin * (high - low) or 0.02 * abs(high) or 1.0
    return (low - (room if margin else 0.0), high + (room if margin or high == low else 0.0))


def _ticks(low: float, high: float, about: int) -> list[float]:
    rough = (high - low) / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1.0, 2.0, 2.5, 5.0, 10.0) if power * m >= rough)
    first = math.ceil(low / step)
    return [round(i * step, 12) for i in range(first, math.floor(high / step) + 1)]
