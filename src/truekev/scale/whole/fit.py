"""The whole-spectrum fit: one forward model, all counts, one shape for all spectra of an instrument.

Counts in the bins of each spectrum are Poisson; the model is wrong by a further factor exp(delta), a Gaussian process
correlated over two peak widths. To first order that is a covariance of the residuals,

    V = diag(mu + noise of the background) + (d mu) K (d mu)^T,

and with V from the last iterate scoring solves the likelihood's own equations (for d = 0 exactly those of Poisson
counts). Strengths of parts are not negative and are solved inside every step; what is stepped is the shape and each
spectrum's gain (variable projection: Golub and Pereyra 1973, Kaufman 1975).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cholesky, solve_triangular

from truekev.errors import FitError
from truekev.scale.light import Pulse
from truekev.scale.whole.model import N_PULSE, N_SHAPE, Design, design_of, gradient_of
from truekev.scale.whole.strengths import (
    Solved,
    Start,
    deviance_of,
    residual_covariance,
    rows_of,
    smoothed,
    solve,
)

__all__ = ["DELTA", "FittedWhole", "ShapePrior", "WholeFit", "expected_covariance", "fit_whole"]

Array = npt.NDArray[np.float64]

DELTA = 0.03
_ROUNDS = 60
_SETTLED = 1e-4  # predicted fall of the cost that no longer matters
_BOUNDS = {1: (0.1, 1.9), 2: (-0.02, 0.10), N_PULSE + 1: (0.0, 0.4), N_PULSE + 2: (0.0, 0.7)}
_LOG_WIDTH = (float(np.log(0.03)), float(np.log(0.2)))
_OWN = 2  # ln g and background gain of each spectrum
_ROOM_GAIN_U = 0.01
_MOST_GAIN_STEP = 0.05


@dataclass(frozen=True, eq=False)
class ShapePrior:
    """Mean and precision of the shape (c0 [keV of light], kappa, s, psi, ln R, f0, f2); a large precision fixes."""

    mean: Array
    precision: Array


@dataclass(frozen=True, eq=False)
class FittedWhole:
    """One spectrum of a fit.

    Parameters
    ----------
    pulse : Pulse
    log_gain, room_gain : float
        ln of channels per MeV of light; background gain over the spectrum's, less one.
    design : Design
    strengths : ndarray, shape (k + 2,)
        Counts in each part, pile-up, and the background's strength.
    model : ndarray, shape (n,)
    residual : ndarray, shape (n,)
        Residuals made white: independent, of variance one where the model holds.
    factor : ndarray, shape (n, n)
        Lower Cholesky factor of V.
    edges : ndarray, shape (n + 1,)
        Bin edges in the pulse coordinate.
    """

    pulse: Pulse
    log_gain: float
    room_gain: float
    design: Design
    strengths: Array
    model: Array
    residual: Array
    factor: Array
    edges: Array


@dataclass(frozen=True, eq=False)
class WholeFit:
    """Result of `fit_whole`.

    Parameters
    ----------
    shape : ndarray, shape (14,)
    covariance : ndarray, shape (14 + 2 s, 14 + 2 s)
        Of the shape, and (ln g, background gain) of each of the s spectra.
    spectra : tuple of FittedWhole
    cost : float
        Chi-square of the white residuals and of the priors.
    deviance : float
        -2 ln of the likelihood of all counts, the model's error integrated out (Laplace), and of the priors: what
        different fits of the same bins are compared by.
    rounds : int
    settled : bool
    """

    shape: Array
    covariance: Array
    spectra: tuple[FittedWhole, ...]
    cost: float
    deviance: float
    rounds: int
    settled: bool


def _clipped(theta: Array) -> Array:
    out = theta.copy()
    for index, (low, high) in _BOUNDS.items():
        out[index] = min(max(out[index], low), high)
    out[N_PULSE] = min(max(out[N_PULSE], _LOG_WIDTH[0]), _LOG_WIDTH[1])
    return out


class _Problem:
    """All spectra with the parameters they share."""

    def __init__(self, starts: Sequence[Start], prior: ShapePrior, delta: float, gain_spread: float | None) -> None:
        self.starts = starts
        self.delta = delta
        self.size = N_SHAPE + _OWN * len(starts)
        self.size_of_one = N_SHAPE + _OWN
        self.mean = np.zeros(self.size)
        self.mean[:N_SHAPE] = prior.mean
        self.precision = np.zeros((self.size, self.size))
        self.precision[:N_SHAPE, :N_SHAPE] = prior.precision
        gains = np.arange(N_SHAPE, self.size, _OWN)
        self.mean[gains] = [s.log_gain for s in starts]
        if gain_spread is not None and len(starts) > 1:
            centring = np.eye(len(starts)) - 1.0 / len(starts)
            self.precision[np.ix_(gains, gains)] = centring / gain_spread**2
            self.mean[gains] = self.mean[gains].mean()
        for j in range(len(starts)):
            self.precision[gains[j] + 1, gains[j] + 1] = 1.0 / _ROOM_GAIN_U**2
            self.precision[gains[j], gains[j]] += 1e-6
        self.held = np.diag(self.precision) > 1e14

    def own(self, theta: Array, j: int) -> tuple[float, float]:
        at = N_SHAPE + _OWN * j
        return float(theta[at]), float(theta[at + 1])

    def prior_cost(self, theta: Array) -> float:
        off = np.where(self.held, 0.0, theta - self.mean)
        return float(off @ self.precision @ off)

    def solve(self, theta: Array, factors: Sequence[Array], rows: Sequence[tuple[Array, Array]]) -> list[Solved]:
        found = []
        for j, start in enumerate(self.starts):
            log_gain, room_gain = self.own(theta, j)
            design = design_of(start.data, start.parts, theta[:N_SHAPE], log_gain)
            found.append(solve(start, design, room_gain, factors[j], *rows[j]))
        return found

    def factor(self, theta: Array, j: int, model: Array, design: Design) -> Array:
        """Lower Cholesky factor of V."""
        total = residual_covariance(model, self.starts[j].data, design, theta[N_PULSE:N_SHAPE], self.delta)
        return np.asarray(cholesky(total, lower=True, check_finite=False))

    def equations(self, theta: Array, solved: Sequence[Solved], factors: Sequence[Array]) -> tuple[Array, Array]:
        """Information and gradient of the stepped parameters, strengths projected out."""
        information = self.precision.copy()
        gradient = -self.precision @ np.where(self.held, 0.0, theta - self.mean)
        for j, (start, one) in enumerate(zip(self.starts, solved, strict=True)):
            slopes = gradient_of(one.design, start.data, start.parts, one.strengths)
            white = solve_triangular(factors[j], slopes, lower=True, check_finite=False)
            more = one.white.shape[0] - start.data.counts.size
            white = np.vstack([white, np.zeros((more, self.size_of_one))])
            alive = one.strengths > 0
            basis, _ = np.linalg.qr(one.white[:, alive] / np.sqrt((one.white[:, alive] ** 2).sum(axis=0)))
            white = white - basis @ (basis.T @ white)
            at = np.r_[0:N_SHAPE, N_SHAPE + _OWN * j : N_SHAPE + _OWN * (j + 1)]
            information[np.ix_(at, at)] += white.T @ white
            gradient[at] += white.T @ one.residual
        return information, gradient


def expected_covariance(
    start: Start, prior: ShapePrior, theta: Array, strengths: Array, *, delta: float = DELTA
) -> Array:
    """Covariance that a fit can reach at a truth: inverse of the information with all strengths free, and the priors.

    Parameters
    ----------
    start
        Bins and parts; its counts stand for what is expected.
    prior
        Of the shape.
    theta : ndarray, shape (16,)
        True shape, ln g, background gain.
    strengths : ndarray, shape (k + 2,)
        True strengths of the parts, pile-up and the background (about 1).
    delta
        Relative model error.
    """
    problem = _Problem([start], prior, delta, None)
    design = design_of(start.data, start.parts, theta[:N_SHAPE], float(theta[N_SHAPE]))
    model = design.columns @ strengths
    factor = problem.factor(theta, 0, model, design)
    rows, _ = rows_of(start, strengths)
    white = np.vstack([solve_triangular(factor, design.columns, lower=True), rows])
    one = Solved(design, np.maximum(strengths, 1e-9), model, white, np.zeros(white.shape[0]), 0.0)
    information, _ = problem.equations(theta, [one], [factor])
    return _inverse(information, problem.held)


def _inverse(information: Array, held: npt.NDArray[np.bool_]) -> Array:
    free = ~held
    covariance = np.zeros_like(information)
    scale = np.sqrt(np.diag(information)[free])
    inverse = np.linalg.inv(information[np.ix_(free, free)] / np.outer(scale, scale) + 1e-12 * np.eye(scale.size))
    covariance[np.ix_(free, free)] = inverse / np.outer(scale, scale)
    return covariance


def _step(information: Array, gradient: Array, held: npt.NDArray[np.bool_], damping: float) -> Array:
    free = ~held
    scale = np.sqrt(np.diag(information)[free])
    scaled = information[np.ix_(free, free)] / np.outer(scale, scale)
    scaled = scaled + (damping + 1e-12) * np.eye(scale.size)
    move = np.zeros(held.size)
    move[free] = np.linalg.solve(scaled, gradient[free] / scale) / scale
    # The model is linear over a part of a peak's width only.
    move[N_SHAPE::_OWN] = np.clip(move[N_SHAPE::_OWN], -_MOST_GAIN_STEP, _MOST_GAIN_STEP)
    return move


def fit_whole(
    starts: Sequence[Start],
    prior: ShapePrior,
    shape: Array,
    *,
    delta: float = DELTA,
    gain_spread: float | None = None,
    most_rounds: int = _ROUNDS,
) -> WholeFit:
    """Fit all spectra at once.

    Parameters
    ----------
    starts
        Spectra of one instrument.
    prior
        Of the shape.
    shape : ndarray, shape (14,)
        Where the shape starts.
    delta
        Relative model error.
    gain_spread
        Standard deviation of ln g between the spectra; None leaves each free.
    most_rounds
        The fit ends there, settled or not.

    Raises
    ------
    FitError
        It does not settle.
    """
    problem = _Problem(starts, prior, delta, gain_spread)
    theta = np.concatenate([shape, *([s.log_gain, 0.0] for s in starts)])
    theta = _clipped(theta)
    models = [smoothed(s.data.counts) for s in starts]
    designs = [design_of(s.data, s.parts, theta[:N_SHAPE], s.log_gain) for s in starts]
    strengths: list[Array | None] = [None] * len(starts)
    damping, settled, rounds = 0.0, False, 0
    for rounds in range(1, most_rounds + 1):
        factors = [problem.factor(theta, j, models[j], designs[j]) for j in range(len(starts))]
        rows = [rows_of(s, a) for s, a in zip(starts, strengths, strict=True)]
        solved = problem.solve(theta, factors, rows)
        cost = sum(s.cost for s in solved) + problem.prior_cost(theta)
        information, gradient = problem.equations(theta, solved, factors)
        moved = False
        for _ in range(12):
            move = _step(information, gradient, problem.held, damping)
            trial = _clipped(theta + move)
            fall = float((trial - theta) @ gradient)
            if abs(fall) < _SETTLED and rounds > 2:
                settled = True
                break
            try:
                tried = problem.solve(trial, factors, rows)
            except FitError:
                damping = max(4.0 * damping, 0.01)
                continue
            new_cost = sum(s.cost for s in tried) + problem.prior_cost(trial)
            if np.isfinite(new_cost) and new_cost < cost:
                theta, solved, moved = trial, tried, True
                damping = 0.0 if damping < 0.02 else damping / 5.0
                break
            damping = max(5.0 * damping, 0.01)
        models = [np.maximum(s.model, 0.0) for s in solved]
        designs = [s.design for s in solved]
        strengths = [s.strengths for s in solved]
        if settled or not moved:
            break
    if not np.all(np.isfinite(theta)):
        raise FitError("the fit of the whole spectrum does not settle.")
    covariance = _inverse(information, problem.held)
    # Once more with the weights of the model that was reached, where a fit was stopped on its way.
    factors = [problem.factor(theta, j, models[j], designs[j]) for j in range(len(starts))]
    solved = problem.solve(theta, factors, [rows_of(s, one.strengths) for s, one in zip(starts, solved, strict=True)])
    deviance = problem.prior_cost(theta) + sum(
        deviance_of(start.data, one, factor, model)
        for start, one, factor, model in zip(starts, solved, factors, models, strict=True)
    )
    fitted = []
    for j, one in enumerate(solved):
        log_gain, room_gain = problem.own(theta, j)
        n = starts[j].data.counts.size
        fitted.append(
            FittedWhole(
                one.design.pulse,
                log_gain,
                room_gain,
                one.design,
                one.strengths,
                one.model,
                one.residual[:n],
                factors[j],
                starts[j].data.edges,
            )
        )
    return WholeFit(theta[:N_SHAPE].copy(), covariance, tuple(fitted), float(cost), float(deviance), rounds, settled)
