"""Fit of a whole spectrum, everything that is not known left free within what is known of it.

The strengths are not constrained, so that their estimates are unbiased (ISO 11929); scale, widths, scattering, pile-up,
background level and gain are held by what is known of them. The equations solved are those of the Poisson likelihood
(weights 1/mean), the covariance widened by the background's noise and by a smooth relative error of the model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.samples.candidates import ROOM
from truekev.samples.knowledge import (
    BACK,
    DEPTH,
    FIRST_SMOOTH,
    FORWARD,
    LEVEL,
    ONCE,
    PILE_UP,
    SCALE,
    SIDE,
    TILT,
    WIDTH,
)
from truekev.samples.spectrum_model import SpectrumModel
from truekev.scale.light import KNOTS_KEV

__all__ = ["SpectrumFit", "covariance_at", "fit_spectrum"]

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

_ROUNDS, _SETTLED, _HALVINGS = 25, 0.03, 4
_MOST_SCATTER = 8.0
_OFF_KNOT = 1e-5
_MOST_HELD = 15
_LARGEST_SCALE_STEP = (0.5, 0.01, 0.3, 0.02, *(0.02,) * KNOTS_KEV.size)


@dataclass(frozen=True, eq=False)
class SpectrumFit:
    """A fit.

    Parameters
    ----------
    names : tuple of str
        Components that were fitted.
    strengths, covariance : ndarray
        Of the components: strengths, and their covariance with everything free.
    u_seen : ndarray
        Uncertainty of the strengths with the depth of matter held: how well they are seen, whatever the amount.
    values, u_counting : ndarray
        All parameters: strengths, then the shared ones; and what counting alone leaves open of each.
    mean, sample : ndarray, shape (n,)
        Expected counts of the bins, and the part of them that is not measured background.
    residual, weight, projected : ndarray
        Counts less mean; inverse covariance of the counts; the same with all fitted directions taken out.
    chi2, misfit : float
        Chi-square, the pulls of the shared parameters included; the same with ln of the determinant of the covariance,
        which is -2 ln L but for a constant.
    """

    names: tuple[str, ...]
    strengths: Array
    covariance: Array
    u_seen: Array
    values: Array
    u_counting: Array
    mean: Array
    sample: Array
    residual: Array
    weight: Array
    projected: Array
    chi2: float
    misfit: float

    def u(self, name: str) -> float:
        """Standard uncertainty of a strength."""
        i = self.names.index(name)
        return float(np.sqrt(max(self.covariance[i, i], 0.0)))

    @property
    def shared(self) -> Array:
        """The parameters that all components share, as `knowledge` places them."""
        return self.values[len(self.names) :]

    @property
    def pile_up(self) -> float:
        """Share of pulses that are sums of two."""
        return float(self.shared[PILE_UP])

    def deviations(self, name: str) -> float:
        """A strength over its uncertainty with the depth held: how clearly it is seen."""
        return self.of(name) / max(float(self.u_seen[self.names.index(name)]), 1e-300)

    def scores(self, columns: Array) -> Array:
        """Standard deviations by which further columns (k, n) would come out above zero, given the fit."""
        along = columns @ self.weight @ self.residual
        spread = np.einsum("ki,ij,kj->k", columns, self.projected, columns)
        usable = spread > 1e-5 * np.einsum("ki,ij,kj->k", columns, self.weight, columns)
        return np.asarray(np.where(usable, along / np.sqrt(np.where(usable, spread, 1.0)), 0.0))

    def of(self, name: str) -> float:
        """A strength."""
        return float(self.strengths[self.names.index(name)])


class _Fitter:
    """One fit of some components of a model."""

    def __init__(self, model: SpectrumModel, names: Sequence[str]) -> None:
        self.model = model
        self.indices = [model.templates.names.index(name) for name in names]
        self.k = k = len(names)
        self.centre = np.concatenate((np.zeros(k), model.expected))
        self.precision = np.zeros((self.centre.size,) * 2)
        self.precision[k:, k:] = model.precision
        self.low, self.high = np.full(self.centre.size, -np.inf), np.full(self.centre.size, np.inf)
        scatter = [k + FORWARD, k + BACK, k + SIDE, k + ONCE]
        self.low[[*scatter, k + PILE_UP, k + DEPTH]] = 0.0
        self.high[scatter] = _MOST_SCATTER
        # The room's parts and the smooth ones are no results: they only have to be possible.
        self.low[k + FIRST_SMOOTH :] = 0.0
        self.low[[i for i, name in enumerate(names) if name in ROOM]] = 0.0
        self.high[k + DEPTH] = model.templates.n_depths - 1.0
        self.most = np.full(self.centre.size, np.inf)
        self.most[[*scatter, k + WIDTH, k + TILT, k + DEPTH]] = 1.0, 1.0, 1.0, 1.0, 0.1, 0.05, 0.7
        scale = slice(k + SCALE.start, k + SCALE.stop)
        self.most[scale] = _LARGEST_SCALE_STEP
        # Nothing of a sample in the fit, nothing to move the scale by; and never far beyond what is known of it.
        reach = model.reach if any(name not in ROOM for name in names) else np.zeros(model.reach.size)
        self.low[scale], self.high[scale] = -reach, reach

    def misfit(self, state: tuple[Array, Array, Array], values: Array) -> float:
        level = float(values[self.k + LEVEL])
        return self.model.misfit(state[0], state[1], level, values - self.centre, self.precision)

    def started(self) -> Array:
        """Strengths and levels for each depth, all else as expected; the depth that explains most.

        With no strength right, the other parameters would be moved to make up for it.
        """
        k = self.k
        linear = np.ones(self.centre.size, dtype=np.bool_)
        linear[k : k + FIRST_SMOOTH] = False
        linear[[k + PILE_UP, k + LEVEL]] = True
        best, least = self.centre, np.inf
        for depth in range(self.model.templates.n_depths if k else 1):
            tried = self.centre.copy()
            tried[k + DEPTH] = float(depth)
            for weight in (self.model.weight(self.model.smoothed), None):
                tried = tried + self.step(tried, self.model.design(self.indices, tried), linear, weight)[0]
            misfit = self.misfit(self.model.design(self.indices, tried), tried)
            if misfit < least:
                best, least = tried, misfit
        return best

    def step(
        self,
        values: Array,
        state: tuple[Array, Array, Array],
        first: Flags | None = None,
        weight: Array | None = None,
    ) -> tuple[Array, Array, Flags]:
        """Newton step within the bounds, standard uncertainties of what moves, and which parameters move.

        A parameter that would leave its bounds is held at them and the others are solved for anew.
        """
        mean, sample, design = state
        weight = self.model.weight(sample, float(values[self.k + LEVEL])) if weight is None else weight
        information = design.T @ weight @ design + self.precision
        pull = design.T @ weight @ (self.model.data.counts - mean) - self.precision @ (values - self.centre)
        step = np.zeros(values.size)
        free = np.ones(values.size, dtype=np.bool_) if first is None else first.copy()
        # Between two depths the templates are straight lines: a step ends where they meet the next.
        low, high = self.low.copy(), self.high.copy()
        place = self.k + DEPTH
        low[place] = max(low[place], np.floor(values[place]))
        high[place] = min(high[place], np.floor(values[place]) + 1.0)
        inverse = np.eye(values.size)
        for _ in range(_MOST_HELD):
            at = np.flatnonzero(free)
            inner = _inverse(information[np.ix_(at, at)])
            inverse[np.ix_(at, at)] = inner
            step[at] = inner @ (pull[at] - information[np.ix_(at, ~free)] @ step[~free])
            out = free & ((values + step < low) | (values + step > high))
            if not out.any():
                break
            step[out] = np.clip(values + step, low, high)[out] - values[out]
            free &= ~out
        spread = np.where(free, np.sqrt(np.maximum(np.diag(inverse), 0.0)), np.inf)
        return np.clip(step, -self.most, self.most), spread, free

    def off_knot(
        self, values: Array, state: tuple[Array, Array, Array]
    ) -> tuple[Array, tuple[Array, Array, Array], Flags]:
        """At a depth where two stretches of templates meet: a little into the one that explains more, or held there."""
        free = np.ones(values.size, dtype=np.bool_)
        place = self.k + DEPTH
        if self.model.templates.n_depths == 1 or abs(values[place] - round(float(values[place]))) > 0.5 * _OFF_KNOT:
            return values, state, free
        for side in (1.0, -1.0):
            moved = values.copy()
            moved[place] = round(float(values[place])) + side * _OFF_KNOT
            if self.low[place] <= moved[place] <= self.high[place]:
                there = self.model.design(self.indices, moved)
                if side * self.slope(moved, there, place) > 0:
                    return moved, there, free
        free[place] = False
        return values, state, free

    def slope(self, values: Array, state: tuple[Array, Array, Array], place: int) -> float:
        mean, sample, design = state
        weight = self.model.weight(sample, float(values[self.k + LEVEL]))
        held = self.precision[place] @ (values - self.centre)
        return float(design[:, place] @ weight @ (self.model.data.counts - mean) - held)

    def solved(self) -> tuple[Array, tuple[Array, Array, Array], Flags]:
        values = self.started()
        state = self.model.design(self.indices, values)
        before = self.misfit(state, values)
        free = np.ones(values.size, dtype=np.bool_)
        for _ in range(_ROUNDS):
            values, state, first = self.off_knot(values, state)
            step, spread, free = self.step(values, state, first)
            for _ in range(_HALVINGS):
                following = self.model.design(self.indices, values + step)
                now = self.misfit(following, values + step)
                if now < before + 1e-6 * abs(before):
                    break
                step = 0.4 * step
            values, before, state = values + step, now, following
            if np.all(np.abs(step) <= _SETTLED * spread):
                break
        return values, state, free


def fit_spectrum(model: SpectrumModel, names: Sequence[str]) -> SpectrumFit:
    """Fit some of the components; all others are taken to be absent."""
    fitter = _Fitter(model, names)
    values, (mean, sample, design), free = fitter.solved()
    k = fitter.k
    level = float(values[k + LEVEL])
    weight = model.weight(sample, level)
    design = design[:, free]
    weighted = weight @ design
    inverse = _inverse(design.T @ weighted + fitter.precision[np.ix_(free, free)])
    spread = inverse @ weighted.T
    u_counting = np.zeros(values.size)
    u_counting[free] = np.sqrt(np.einsum("in,n,in->i", spread, model.noise(sample, level), spread))
    covariance = np.zeros((k, k))
    own = np.flatnonzero(free[:k])
    covariance[np.ix_(own, own)] = inverse[: own.size, : own.size]
    u_seen = np.zeros(k)
    held = np.flatnonzero(np.flatnonzero(free) == k + DEPTH)
    # Holding a parameter takes out of a covariance what runs along it.
    along = inverse[:, held]
    given = inverse - along @ np.linalg.pinv(inverse[np.ix_(held, held)]) @ along.T
    u_seen[own] = np.sqrt(np.maximum(np.diag(given)[: own.size], 0.0))
    residual = model.data.counts - mean
    off = values - fitter.centre
    chi2 = float(residual @ weight @ residual + off @ fitter.precision @ off)
    return SpectrumFit(
        tuple(names),
        values[:k],
        covariance,
        u_seen,
        values,
        u_counting,
        mean,
        sample,
        residual,
        weight,
        weight - weighted @ inverse @ weighted.T,
        chi2,
        chi2 - float(np.linalg.slogdet(weight)[1]),
    )


def covariance_at(model: SpectrumModel, fit: SpectrumFit, strengths: Array) -> Array:
    """Covariance of the strengths that the same count would have, were these the true ones."""
    fitter = _Fitter(model, fit.names)
    values = np.concatenate((strengths, fit.shared))
    _, sample, design = model.design(fitter.indices, values)
    weight = model.weight(sample, float(values[fitter.k + LEVEL]))
    information = design.T @ weight @ design + fitter.precision
    return _inverse(information)[: fitter.k, : fitter.k]


def _inverse(matrix: Array) -> Array:
    """Inverse of a covariance or information whose parameters have very different sizes."""
    scaled = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-30))
    both = np.outer(scaled, scaled)
    return np.asarray(np.linalg.pinv(matrix * both, rcond=1e-13, hermitian=True) * both)
