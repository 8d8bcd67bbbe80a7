"""Strengths of the parts for a scale that is given: what is known beforehand, least squares, likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import nnls

from truekev.errors import FitError
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import Design
from truekev.scale.whole.parts import SMOOTH, ForwardParts
from truekev.scale.whole.weights import LEAST_MODEL, Weights

__all__ = [
    "LEAST_EXPECTED",
    "LEAST_USUAL",
    "USUAL_PILE_UP",
    "USUAL_SMOOTH",
    "Solved",
    "Start",
    "deviance_of",
    "rows_of",
    "smoothed",
    "solve",
]

Array = npt.NDArray[np.float64]

LEAST_EXPECTED = 0.02  # of the model: an error does not turn counts negative
_LEAST_OWN = 0.05  # of all counts, what the background does not explain
USUAL_PILE_UP = 0.001  # of those counts: some microseconds at some hundred counts per second
_LEAST_SIZE = 1e-5
LEAST_USUAL = 0.003  # of those counts: what is hardly expected may be there all the same
_TELLING = 0.1  # of the largest part as the sample describes it
_SHARE_U, _LEAST_SHARE_U = 0.15, 0.01  # of a share, and of all: the source is put down a little differently
USUAL_SMOOTH = 0.03  # of those counts, each smooth part


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


def rows_of(start: Start, strengths: Array | None) -> tuple[Array, Array]:
    """Further equations of the strengths: what is known of them before the fit."""
    parts = start.parts
    k = len(parts.names)
    total, room = max(float(start.data.counts.sum()), 1.0), start.data.room
    own = max(total - (float(room.counted.sum()) if room else 0.0), _LEAST_OWN * total)
    rows, targets = [], []

    def add(weights: dict[int, float], target: float = 0.0) -> None:
        row = np.zeros(k + 2)
        row[list(weights)] = list(weights.values())
        rows.append(row)
        targets.append(target)

    if room is not None and room.precision > 0:
        add({k + 1: float(np.sqrt(room.precision))}, float(np.sqrt(room.precision)))
    add({k: 1.0 / (USUAL_PILE_UP * own)})
    for i in range(k):
        if parts.names[i].startswith(SMOOTH):
            add({i: 1.0 / (USUAL_SMOOTH * own)})
    if start.shares is not None:
        for i, share in enumerate(start.shares):
            # a_i - share_i * (sum of a) = 0
            size = own * float(np.hypot(_SHARE_U * share, _LEAST_SHARE_U))
            add({j: ((i == j) - share) / size for j in range(k + 1)})
    if strengths is not None:
        per_total = strengths[:k] / parts.totals
        # A part of which next to nothing comes through tells nothing of the source's rate.
        of_source = parts.totals[: parts.n_source]
        telling = of_source > _TELLING * of_source.max(initial=0.0)
        strongest = max(float(per_total[: parts.n_source][telling].max(initial=0.0)), 1e-300)
        # Never stiffer than a hundred-thousandth of all counts: an empty part needs no equation of its own.
        least = _LEAST_SIZE * total
        for one, other, u in start.ties:
            size = u * max(float(per_total[one]), float(per_total[other]), 1e-300)
            first, second = parts.totals[one] * size, parts.totals[other] * size
            if second > 0:
                add({one: 1.0 / max(first, least), other: -first / second / max(first, least)})
        for i in range(k):
            if parts.usual[i] > 0:
                size = float(parts.totals[i] * parts.usual[i] * strongest)
                add({i: 1.0 / max(size, LEAST_USUAL * own)})
    return np.array(rows), np.array(targets)


@dataclass(frozen=True, eq=False)
class Solved:
    """Strengths for one scale, the model they make, and the equations made white.

    `residual` are those of the bins, then of the further equations; `cost` is their sum of squares. `model` holds the
    background as it was counted, the columns of `white` what it expects.
    """

    design: Design
    strengths: Array
    model: Array
    white: Array
    residual: Array
    cost: float


def solve(start: Start, design: Design, room_gain: float, weights: Weights, rows: Array, targets: Array) -> Solved:
    """Strengths for given scale and weights."""
    columns, room = design.columns, start.data.room
    beyond = np.zeros(columns.shape[0])
    if room is not None:
        columns = columns.copy()
        columns[:, -1] = room.at(room_gain)
        beyond = room.beyond
    white = np.vstack([weights.white(columns), rows])
    target = np.concatenate([weights.white(start.data.counts + beyond), targets])
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
    return Solved(design, strengths, columns @ strengths - beyond, white, residual, float(residual @ residual))


def deviance_of(data: BinnedSpectrum, one: Solved, weights: Weights) -> float:
    """-2 ln L of one spectrum and of its equations of strengths, less a constant of the counts.

    The most likely error of the model, G V^-1 r with G = V - diag(mu), is put on top of the model; the rest is Poisson.
    """
    n = data.counts.size
    error, weighted = weights.likely_error(one.residual[:n])
    expected = np.maximum(one.model + error, LEAST_EXPECTED * np.maximum(one.model, LEAST_MODEL))
    ratio = np.where(data.counts > 0, np.maximum(data.counts, 1e-12) / expected, 1.0)
    poisson = 2.0 * float((expected - data.counts + data.counts * np.log(ratio)).sum())
    rows = float(one.residual[n:] @ one.residual[n:])
    return poisson + float(error @ weighted) + rows + weights.volume


def smoothed(counts: Array) -> Array:
    """First weights from neighbours, so that an empty bin does not weigh most."""
    return np.convolve(np.pad(np.maximum(counts, 1.0), 2, mode="edge"), np.full(5, 0.2), mode="valid")
