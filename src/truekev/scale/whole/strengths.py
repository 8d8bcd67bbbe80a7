"""Strengths of the parts for a scale that is given: weights, what is known beforehand, least squares, likelihood."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve_triangular
from scipy.ndimage import maximum_filter1d
from scipy.optimize import nnls

from truekev.errors import FitError
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import Design
from truekev.scale.whole.parts import SMOOTH, ForwardParts

__all__ = [
    "Solved",
    "Start",
    "Weights",
    "deviance_of",
    "model_error",
    "residual_covariance",
    "rows_of",
    "smoothed",
    "solve",
]

Array = npt.NDArray[np.float64]

_LOW_KEV = 45.0  # absorption, X-rays, scatter and trigger make templates worse towards low energy
_MOST_ERROR = 0.5
_CORRELATED_FWHM = 2.0
_P0_KEV = 661.655
_LEAST_MODEL = 0.2  # counts in a bin: below it one count would weigh too much
_LEAST_EXPECTED = 0.02  # of the model: an error does not turn counts negative
_USUAL_PILE_UP = 0.002  # of all counts: some microseconds at some hundred counts per second
_LEAST_SIZE = 1e-5
_SHARE_U, _LEAST_SHARE_U = 0.15, 0.01  # of a share, and of all: the source is put down a little differently
_USUAL_SMOOTH = 0.1  # of all counts, each smooth part


@dataclass(frozen=True, eq=False)
class Start:
    """Where a spectrum starts.

    Parameters
    ----------
    data, parts, log_gain
        Its bins, its parts, ln g.
    ties : tuple of (int, int, float)
        Two parts, and how well their ratio is known (relative).
    shares : ndarray or None, shape (k + 1,)
        Shares of the parts and of pile-up that an earlier count of the same source gave.
    """

    data: BinnedSpectrum
    parts: ForwardParts
    log_gain: float
    ties: tuple[tuple[int, int, float], ...] = ()
    shares: Array | None = None


def model_error(u: Array, width: Array, delta: float) -> tuple[Array, float]:
    """Standard deviation of the model's error at `u` (relative), and its length of correlation in u.

    The process is Ornstein and Uhlenbeck's: correlated over two peak widths, rough, so that it allows for a peak of a
    slightly wrong place or shape as well as for one of a wrong size.
    """
    fwhm_u = 0.5 * float(np.exp(width[0])) * np.sqrt(_P0_KEV)
    relative = np.minimum(delta * (1.0 + (_LOW_KEV / np.maximum(u, 1.0) ** 2) ** 4), _MOST_ERROR)
    return relative, _CORRELATED_FWHM * fwhm_u


def residual_covariance(model: Array, data: BinnedSpectrum, design: Design, width: Array, delta: float) -> Array:
    """V: noise of the counts and of the background, and the model's error, shape (n, n)."""
    u = np.maximum(0.5 * (design.edges_u[1:] + design.edges_u[:-1]), 1.0)
    relative, length = model_error(u, width, delta)
    # Not more than was counted: a model that is far too high must not excuse itself.
    amplitude = relative * np.minimum(model, maximum_filter1d(data.counts, 3) + 1.0)
    total = amplitude[:, None] * np.exp(-np.abs(u[:, None] - u[None, :]) / length) * amplitude[None, :]
    total[np.diag_indices_from(total)] += np.maximum(model, _LEAST_MODEL) + data.room_variance
    return np.asarray(total, dtype=np.float64)


def rows_of(start: Start, strengths: Array | None) -> tuple[Array, Array]:
    """Further equations of the strengths: what is known of them before the fit."""
    parts = start.parts
    k = len(parts.names)
    total = max(float(start.data.counts.sum()), 1.0)
    rows, targets = [], []

    def add(weights: dict[int, float], target: float = 0.0) -> None:
        row = np.zeros(k + 2)
        row[list(weights)] = list(weights.values())
        rows.append(row)
        targets.append(target)

    if start.data.room_precision > 0:
        add({k + 1: float(np.sqrt(start.data.room_precision))}, float(np.sqrt(start.data.room_precision)))
    add({k: 1.0 / (_USUAL_PILE_UP * total)})
    for i in range(k):
        if parts.names[i].startswith(SMOOTH):
            add({i: 1.0 / (_USUAL_SMOOTH * total)})
    if start.shares is not None:
        own = max(total - float(start.data.room.sum()), 1.0)
        for i, share in enumerate(start.shares):
            # a_i - share_i * (sum of a) = 0
            size = own * float(np.hypot(_SHARE_U * share, _LEAST_SHARE_U))
            add({j: ((i == j) - share) / size for j in range(k + 1)})
    if strengths is not None:
        per_total = strengths[:k] / parts.totals
        strongest = max(float(per_total[: parts.n_source].max(initial=0.0)), 1e-300)
        # Never stiffer than a hundred-thousandth of all counts: an empty part needs no equation of its own.
        least = _LEAST_SIZE * total
        for one, other, u in start.ties:
            size = u * max(float(per_total[one]), float(per_total[other]), 1e-300)
            first, second = parts.totals[one] * size, parts.totals[other] * size
            if second > 0:
                add({one: 1.0 / max(first, least), other: -first / second / max(first, least)})
        for i in range(k):
            if parts.usual[i] > 0:
                add({i: 1.0 / max(float(parts.totals[i] * parts.usual[i] * strongest), least)})
    return np.array(rows), np.array(targets)


@dataclass(frozen=True, eq=False)
class Solved:
    """Strengths for one scale, the model they make, and the equations made white.

    `residual` are those of the bins, then of the further equations; `cost` is their sum of squares.
    """

    design: Design
    strengths: Array
    model: Array
    white: Array
    residual: Array
    cost: float


def solve(start: Start, design: Design, room_gain: float, factor: Array, rows: Array, targets: Array) -> Solved:
    """Strengths for given scale and weights."""
    columns = design.columns
    if start.data.has_room:
        columns = columns.copy()
        columns[:, -1] = np.maximum(start.data.room + room_gain * start.data.room_slope, 0.0)
    white = np.vstack([solve_triangular(factor, columns, lower=True, check_finite=False), rows])
    target = np.concatenate([solve_triangular(factor, start.data.counts, lower=True, check_finite=False), targets])
    size = np.sqrt((white**2).sum(axis=0))
    if not np.all(np.isfinite(size)):
        raise FitError("the fit of the whole spectrum does not settle.")
    alive = size > 0
    strengths = np.zeros(columns.shape[1])
    try:
        found, _ = nnls(white[:, alive] / size[alive], target, maxiter=20 * int(alive.sum()))
    except RuntimeError as error:
        raise FitError("the strengths of the parts do not settle.") from error
    strengths[alive] = found / size[alive]
    residual = target - white @ strengths
    return Solved(design, strengths, columns @ strengths, white, residual, float(residual @ residual))


@dataclass(frozen=True, eq=False)
class Weights:
    """V of one spectrum's residuals: its lower Cholesky factor, and the model that it was made with."""

    factor: Array
    weighing: Array

    @cached_property
    def own(self) -> Array:
        """The part of V's diagonal that is counting noise."""
        return np.maximum(self.weighing, _LEAST_MODEL)

    @cached_property
    def covariance(self) -> Array:
        """V."""
        return np.asarray(self.factor @ self.factor.T)

    @cached_property
    def volume(self) -> float:
        """Logarithm of det V less that of the counting noise."""
        return 2.0 * float(np.log(np.diag(self.factor)).sum()) - float(np.log(self.own).sum())


def deviance_of(data: BinnedSpectrum, one: Solved, weights: Weights) -> float:
    """-2 ln L of one spectrum and of its equations of strengths, less a constant of the counts.

    The most likely error of the model, G V^-1 r with G = V - diag(mu), is put on top of the model; the rest is Poisson.
    """
    n = data.counts.size
    weighted = solve_triangular(weights.factor, one.residual[:n], lower=True, trans=1, check_finite=False)
    error = weights.covariance @ weighted - weights.own * weighted
    expected = np.maximum(one.model + error, _LEAST_EXPECTED * np.maximum(one.model, _LEAST_MODEL))
    ratio = np.where(data.counts > 0, np.maximum(data.counts, 1e-12) / expected, 1.0)
    poisson = 2.0 * float((expected - data.counts + data.counts * np.log(ratio)).sum())
    rows = float(one.residual[n:] @ one.residual[n:])
    return poisson + float(error @ weighted) + rows + weights.volume


def smoothed(counts: Array) -> Array:
    """First weights from neighbours, so that an empty bin does not weigh most."""
    return np.convolve(np.pad(np.maximum(counts, 1.0), 2, mode="edge"), np.full(5, 0.2), mode="valid")
