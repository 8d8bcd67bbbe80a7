"""Drift of the gain within a long count: one expected spectrum for all slices, a gain for each.

Every slice holds the same spectrum up to gain and time, so the likelihood of all slices is climbed by turns: the model
of the aligned sum gives the expected spectrum, then each slice takes the gain at which its counts are most likely
(Poisson, total free).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from truekev.spectra.rebin import rebin_counts

__all__ = ["AlignedSum", "ExpectedShape", "SliceGains", "aligned_sum", "gains_of_slices", "settled_walk"]

Array = npt.NDArray[np.float64]

_SPAN, _STEP = float(np.log(1.4)), 0.01  # gains tried, from 1/1.4 to 1.4 times the reference
_ROUNDS = 30
_STRAY = 1e-3
_SHAPE_ERROR = 0.03  # of the expected spectrum, relative
_MOST_U = 0.05  # a slice that knows its gain no better tells nothing


class ExpectedShape:
    """The spectrum that all slices share, as counts below a pulse coordinate at the reference gain."""

    def __init__(self, counts: Array) -> None:
        """From expected counts per channel, shape (n,); they are taken to fall on above the last channel."""
        known = np.maximum(np.asarray(counts, dtype=np.float64), 0.0)
        n, tenth = known.size, max(known.size // 10, 1)
        high, low = float(known[-tenth:].mean()), float(known[-2 * tenth : -tenth].mean())
        fall = float(np.clip(np.log(max(low, 1e-9) / max(high, 1e-9)) / tenth, 0.5 / n, 30.0 / n))
        beyond = high * np.exp(-fall * (np.arange(int(n * (np.exp(_SPAN) - 0.9))) + 0.5 * tenth))
        everything = np.concatenate((known, beyond))
        edges = np.arange(-1, everything.size + 1, dtype=np.float64) - 0.5
        below = np.concatenate(([0.0, 0.0], np.cumsum(everything)))
        self._below = PchipInterpolator(edges, below, extrapolate=False)
        self._density = self._below.derivative()
        self._ends = (float(edges[0]), float(edges[-1]))

    def shares(self, edges: Array, log_ratio: Array) -> tuple[Array, Array]:
        """Share of the counts in every bin at gains exp(`log_ratio`), and its derivative by ln of the gain.

        Shapes: edges (m + 1,) in the slice's own pulse coordinate, log_ratio (s,), results (s, m).
        """
        at = np.clip(edges[None, :] * np.exp(-log_ratio)[:, None], *self._ends)
        inside = np.diff(self._below(at), axis=1)
        moves = -np.diff(self._density(at) * at, axis=1)
        total = np.maximum(inside.sum(axis=1, keepdims=True), 1e-300)
        # A thousandth of stray counts, so that no single count can decide.
        share = (1.0 - _STRAY) * np.maximum(inside / total, 0.0) + _STRAY / inside.shape[1]
        moves = (1.0 - _STRAY) * moves
        return share, (moves - inside / total * moves.sum(axis=1, keepdims=True)) / total


@dataclass(frozen=True, eq=False)
class SliceGains:
    """ln of each slice's gain over the reference, from that slice alone.

    Parameters
    ----------
    log_ratio, u_log_ratio : ndarray, shape (s,)
        NaN where a slice does not tell its gain.
    chi2_per_dof : ndarray, shape (s,)
        How well the shared spectrum describes each slice.
    """

    log_ratio: Array
    u_log_ratio: Array
    chi2_per_dof: Array


def gains_of_slices(binned: Array, edges: Array, expected: ExpectedShape) -> SliceGains:
    """The most likely gain of every slice.

    Parameters
    ----------
    binned : ndarray, shape (s, m)
        Counts of the slices in bins.
    edges : ndarray, shape (m + 1,)
        Bin edges in the pulse coordinate.
    expected
        The shared spectrum.
    """
    grid = np.arange(-_SPAN, _SPAN + _STEP / 2, _STEP)
    log_share = np.log(expected.shares(edges, grid)[0])
    best = grid[np.argmax(binned @ log_share.T, axis=1)]
    total = binned.sum(axis=1)
    information = np.zeros(best.size)
    for _ in range(_ROUNDS):
        share, slope = expected.shares(edges, best)
        score = (binned * slope / share).sum(axis=1)
        information = total * (slope**2 / share).sum(axis=1)
        move = np.clip(score / np.maximum(information, 1e-9), -_STEP, _STEP)
        best = best + move
        if np.all(np.abs(move) * np.sqrt(information) < 1e-3):
            break
    share, _ = expected.shares(edges, best)
    mean = total[:, None] * share
    # Bins that hold few counts are told together, so that chi-square means what it should.
    chi2 = np.array([_chi2_per_dof(c, m) for c, m in zip(binned, mean, strict=True)])
    with np.errstate(divide="ignore"):
        u = 1.0 / np.sqrt(information)
    known = (total > 0) & (u < _MOST_U) & (np.abs(best) < _SPAN)
    return SliceGains(np.where(known, best, np.nan), np.where(known, u, np.nan), chi2)


def _chi2_per_dof(counts: Array, mean: Array) -> float:
    group = np.floor(np.cumsum(mean) / 10.0).astype(int)
    group = np.minimum(group, max(int(group[-1]) - 1, 0))
    c, m = np.bincount(group, counts), np.bincount(group, mean)
    held = m > 0
    c, m = c[held], m[held]
    return float(((c - m) ** 2 / (m + (_SHAPE_ERROR * m) ** 2)).sum() / max(c.size - 2, 1))


def settled_walk(values: Array, u: Array, time_s: Array) -> tuple[Array, Array]:
    """Gains told by their neighbours too: a random walk whose pace is the most likely one.

    Parameters
    ----------
    values, u : ndarray, shape (s,)
        What each slice says by itself, NaN where it says nothing.
    time_s : ndarray, shape (s,)
        Middle of each slice, rising.

    Returns
    -------
    ndarray, shape (s,) and ndarray, shape (s,)
        Smoothed values and their standard uncertainty.

    Notes
    -----
    Kalman filter and Rauch-Tung-Striebel smoother of one state. A sudden step makes the walk fast, and then neighbours
    tell little: nothing is smoothed away that the slices themselves show.
    """
    steps = np.diff(time_s)
    known = np.isfinite(values)
    spread = float(np.nanstd(values)) + float(np.nanmin(u))
    usual = spread**2 / max(float(time_s[-1] - time_s[0]), 1.0)
    # From still to a walk that runs through its whole spread within a step.
    paces = usual * np.geomspace(1e-3, 4.0 * values.size, 40)
    likely = [_filtered(values, u, steps, known, pace)[0] for pace in paces]
    _, mean, variance = _filtered(values, u, steps, known, float(paces[int(np.argmax(likely))]))
    pace = float(paces[int(np.argmax(likely))])
    for j in range(values.size - 2, -1, -1):
        ahead = variance[j] + pace * steps[j]
        gain = variance[j] / ahead
        mean[j] += gain * (mean[j + 1] - mean[j])
        variance[j] += gain**2 * (variance[j + 1] - ahead)
    return mean, np.sqrt(variance)


def _filtered(
    values: Array, u: Array, steps: Array, known: npt.NDArray[np.bool_], pace: float
) -> tuple[float, Array, Array]:
    mean, variance = np.empty(values.size), np.empty(values.size)
    at, wide, log_likelihood = 0.0, 1.0, 0.0
    for j in range(values.size):
        if j:
            wide += pace * steps[j - 1]
        if known[j]:
            total = wide + u[j] ** 2
            off = values[j] - at
            log_likelihood -= 0.5 * (np.log(total) + off * off / total)
            at += wide / total * off
            wide *= u[j] ** 2 / total
        mean[j], variance[j] = at, wide
    return float(log_likelihood), mean, variance


@dataclass(frozen=True, eq=False)
class AlignedSum:
    """Slices added on the reference gain.

    Parameters
    ----------
    counts, variance : ndarray, shape (n,)
    above : float
        Counts that fall above the last channel. counts.sum() + above is what the slices hold.
    complete_to : int
        Last channel that every slice reaches.
    """

    counts: Array
    variance: Array
    above: float
    complete_to: int


def aligned_sum(slices: Array, log_ratio: Array) -> AlignedSum:
    """Add slices, shape (s, n), each on its own gain; counts are shared by overlap and none is lost.

    What falls below the first channel stays in the first.
    """
    n = slices.shape[1]
    edges = np.arange(n + 1, dtype=np.float64) - 0.5
    counts, variance, above = np.zeros(n), np.zeros(n), 0.0
    for one, move in zip(slices, log_ratio, strict=True):
        shared = rebin_counts(one, edges * np.exp(-move), edges)
        counts += shared.counts
        variance += shared.variance
        counts[0] += shared.below
        variance[0] += shared.below
        above += shared.above
    reach = (n - 0.5) * float(np.exp(-max(float(np.max(log_ratio)), 0.0)))
    return AlignedSum(counts, variance, above, int(np.floor(reach - 0.5)))
