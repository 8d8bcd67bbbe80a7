"""Smearing on the axis of u, straight to bin edges: cumulative counts of every part, and derivatives of their sum.

The width law in pulse height p [keV-equivalent] is

    FWHM^2 = R^2 p0 p [f0 p0 / p + (1 - f0 - f2) + f2 p / p0] + 5.545 kappa^2 var(D),   p0 = 661.655 keV,

R the FWHM over the energy at p0 (without what the variance of D brings), f0 and f2 the shares of noise and of what
grows with the pulse there.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.special import ndtr

from truekev.scale.templates import nominal_between

__all__ = ["WIDTHS", "laid_out", "sigma_u", "smeared", "smeared_sum"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

WIDTHS = 3  # ln R, f0, f2
_P0_KEV = 661.655
_FWHM2 = 5.545177444479562
_REACH = 4.0
_LEAST_P_KEV = 12.0


def sigma_u(u: Array, var_d_kev2: Array, width: Array, kappa: float) -> tuple[Array, Array]:
    """Standard deviation in u at `u`, shape (n,), and derivatives of its square by (ln R, f0, f2), shape (3, n)."""
    p = np.maximum(u * u, _LEAST_P_KEV)
    ratio = _P0_KEV / p
    r2 = math.exp(2.0 * width[0]) * _P0_KEV / (4.0 * _FWHM2)
    law = r2 * (width[1] * ratio + 1.0 - width[1] - width[2] + width[2] / ratio)
    derivatives = np.stack([2.0 * law, r2 * (ratio - 1.0), r2 * (1.0 / ratio - 1.0)])
    square = law + kappa**2 * var_d_kev2 / (4.0 * p)
    return np.sqrt(np.maximum(square, 1e-4)), derivatives


_TABLE_REACH, _PER_UNIT = 6.0, 256.0
_TABLE: Array = ndtr(np.arange(-_TABLE_REACH, _TABLE_REACH + 1.5 / _PER_UNIT, 1.0 / _PER_UNIT))


@njit(cache=True)
def _below(z: float) -> float:  # pragma: no cover - compiled
    """The normal distribution function from a table, right to 5e-7."""
    if z <= -_TABLE_REACH:
        return 0.0
    if z >= _TABLE_REACH:
        return 1.0
    place = (z + _TABLE_REACH) * _PER_UNIT
    low = int(place)
    return float(_TABLE[low] + (place - low) * (_TABLE[low + 1] - _TABLE[low]))


@njit(cache=True)
def _sigma(u: Array, var_d_kev2: Array, width: Array, kappa: float) -> Array:  # pragma: no cover - compiled
    """The first of what `sigma_u` gives."""
    r2 = math.exp(2.0 * width[0]) * _P0_KEV / (4.0 * _FWHM2)
    sigma = np.empty(u.size)
    for i in range(u.size):
        p = max(u[i] * u[i], _LEAST_P_KEV)
        ratio = _P0_KEV / p
        law = r2 * (width[1] * ratio + 1.0 - width[1] - width[2] + width[2] / ratio)
        sigma[i] = math.sqrt(max(law + kappa * kappa * var_d_kev2[i] / (4.0 * p), 1e-4))
    return sigma


@njit(cache=True)
def _window(u: float, step: float, sigma: Array, m: int) -> tuple[int, int]:  # pragma: no cover - compiled
    """Cells that a peak's width blurs across an edge; sigma varies slowly, so the reach is taken at the edge."""
    here = min(max(int(u / step), 0), m - 1)
    reach = 1.1 * _REACH * sigma[here] + step
    return min(max(int((u - reach) / step), 0), m), min(max(int((u + reach) / step) + 1, 0), m)


@njit(cache=True)
def smeared(
    edges_u: Array,
    cells_u: Array,
    step: float,
    sigma: Array,
    continuum: Array,
    line_u: Array,
    line_sigma: Array,
    line_area: Array,
    line_part: Integers,
) -> Array:  # pragma: no cover - compiled
    """Counts of every part below each edge, shape (edges, k); `continuum` comes as (m, k)."""
    m, k = continuum.shape
    out = np.zeros((edges_u.size, k))
    below = np.zeros((m + 1, k))
    for j in range(m):
        for part in range(k):
            below[j + 1, part] = below[j, part] + continuum[j, part]
    for e in range(edges_u.size):
        u = edges_u[e]
        first, last = _window(u, step, sigma, m)
        row = out[e]
        for part in range(k):
            row[part] = below[first, part]
        for j in range(first, last):
            share = _below((u - cells_u[j]) / sigma[j])
            cells = continuum[j]
            for part in range(k):
                row[part] += cells[part] * share
    whole = np.zeros((edges_u.size + 1, k))  # lines that lie below an edge with all their counts
    for n in range(line_u.size):
        reach = _REACH * line_sigma[n]
        first = np.searchsorted(edges_u, line_u[n] - reach)
        last = np.searchsorted(edges_u, line_u[n] + reach)
        for e in range(first, last):
            out[e, line_part[n]] += line_area[n] * _below((edges_u[e] - line_u[n]) / line_sigma[n])
        whole[last, line_part[n]] += line_area[n]
    for part in range(k):
        running = 0.0
        for e in range(edges_u.size):
            running += whole[e, part]
            out[e, part] += running
    return out


@njit(cache=True)
def smeared_sum(
    edges_u: Array,
    cells_u: Array,
    step: float,
    sigma: Array,
    by_width: Array,
    cells: Array,
    line_u: Array,
    line_sigma: Array,
    line_by_width: Array,
    line_area: Array,
) -> tuple[Array, Array]:  # pragma: no cover - compiled
    """Of one summed continuum and its lines: density at each edge, and derivatives of the counts below it by width."""
    m = cells.size
    n_widths = by_width.shape[0]
    density = np.zeros(edges_u.size)
    widths = np.zeros((n_widths, edges_u.size))
    for e in range(edges_u.size):
        u = edges_u[e]
        first, last = _window(u, step, sigma, m)
        for j in range(first, last):
            if cells[j] == 0.0:
                continue
            z = (u - cells_u[j]) / sigma[j]
            height = cells[j] * math.exp(-0.5 * z * z) * 0.3989422804014327
            density[e] += height / sigma[j]
            for w in range(n_widths):
                widths[w, e] -= 0.5 * height * z * by_width[w, j] / (sigma[j] * sigma[j])
    for n in range(line_u.size):
        reach = _REACH * line_sigma[n]
        first = np.searchsorted(edges_u, line_u[n] - reach)
        last = np.searchsorted(edges_u, line_u[n] + reach)
        for e in range(first, last):
            z = (edges_u[e] - line_u[n]) / line_sigma[n]
            height = line_area[n] * math.exp(-0.5 * z * z) * 0.3989422804014327
            density[e] += height / line_sigma[n]
            for w in range(n_widths):
                widths[w, e] -= 0.5 * height * z * line_by_width[w, n] / (line_sigma[n] * line_sigma[n])
    return density, widths


@njit(cache=True)
def laid_out(
    edges: Array,
    channels: Array,
    nominal: Array,
    c0: float,
    cells_u: Array,
    step: float,
    var_d_kev2: Array,
    width: Array,
    kappa: float,
    low: Array,
    high: Array,
    share: float,
    line_u: Array,
    line_var_d_kev2: Array,
    line_area: Array,
    line_part: Integers,
    more: Array,
) -> tuple[Array, Array, Array, Array]:  # pragma: no cover - compiled
    """Counts of every part in every bin, shape (n, k + 2), edges in u, and sigma of cells and lines.

    `edges` and ch(E) at the nodes (`channels`, of the nominal pulse heights `nominal`) are in channels; the continuum
    is mixed of `low` and `high` (by `share`); `more`, shape (n, 2), are the columns of pile-up and background.
    """
    edges_u = np.sqrt(np.maximum(nominal_between(edges, channels, nominal, c0), 0.0))
    sigma = _sigma(cells_u, var_d_kev2, width, kappa)
    line_sigma = _sigma(line_u, line_var_d_kev2, width, kappa)
    m, k = low.shape
    continuum = np.empty((m, k))
    for j in range(m):
        for part in range(k):
            continuum[j, part] = (1.0 - share) * low[j, part] + share * high[j, part]
    below = smeared(edges_u, cells_u, step, sigma, continuum, line_u, line_sigma, line_area, line_part)
    n = edges.size - 1
    columns = np.empty((n, k + 2))
    for e in range(n):
        for part in range(k):
            columns[e, part] = max(below[e + 1, part] - below[e, part], 0.0)
        columns[e, k] = max(more[e, 0], 0.0)
        columns[e, k + 1] = max(more[e, 1], 0.0)
    return columns, edges_u, sigma, line_sigma
