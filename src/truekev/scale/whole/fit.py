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
from scipy.ndimage import maximum_filter1d
from scipy.optimize import nnls

from truekev.errors import FitError
from truekev.scale.light import Pulse
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import N_PULSE, N_SHAPE, Design, design_of, gradient_of
from truekev.scale.whole.parts import SMOOTH, ForwardParts

__all__ = ["DELTA", "FittedWhole", "ShapePrior", "Start", "WholeFit", "expected_covariance", "fit_whole", "model_error"]

Array = npt.NDArray[np.float64]

DELTA = 0.03
_LOW_KEV = 45.0  # absorption, X-rays, scatter and trigger make templates worse towards low energy
_MOST_ERROR = 0.5
_CORRELATED_FWHM = 2.0
_FWHM = 2.3548200450309493
_P0_KEV = 661.655
_LEAST_MODEL = 0.2  # counts in a bin: below it one count would weigh too much
_ROUNDS = 60
_SETTLED = 1e-4  # predicted fall of the cost that no longer matters
_BOUNDS = {1: (0.1, 1.9), 2: (-0.02, 0.10), N_PULSE + 1: (0.0, 0.4), N_PULSE + 2: (0.0, 0.7)}
_LOG_WIDTH = (float(np.log(0.03)), float(np.log(0.2)))
_OWN = 2  # ln g and background gain of each spectrum
_ROOM_GAIN_U = 0.01
_MOST_GAIN_STEP = 0.05
_USUAL_PILE_UP = 0.002  # of all counts: some microseconds at some hundred counts per second
_LEAST_SIZE = 1e-5
_USUAL_SMOOTH = 0.1  # of all counts, each smooth part


@dataclass(frozen=True, eq=False)
class ShapePrior:
    """Mean and precision of the shape (c0 [keV of light], kappa, s, psi, ln R, f0, f2); a large precision fixes."""

    mean: Array
    precision: Array


@dataclass(frozen=True, eq=False)
class Start:
    """Where a spectrum starts: its bins, its parts, ln g."""

    data: BinnedSpectrum
    parts: ForwardParts
    log_gain: float
    ties: tuple[tuple[int, int, float], ...] = ()


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
    sigma : ndarray, shape (n,)
        Standard deviation of the residuals, model error included.
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
    sigma: Array
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


def model_error(u: Array, width: Array, delta: float) -> tuple[Array, float]:
    """Standard deviation of the model's error at `u` (relative), and its length of correlation in u.

    The process is Ornstein and Uhlenbeck's: correlated over two peak widths, rough, so that it allows for a peak of a
    slightly wrong place or shape as well as for one of a wrong size.
    """
    fwhm_u = 0.5 * float(np.exp(width[0])) * np.sqrt(_P0_KEV)
    relative = np.minimum(delta * (1.0 + (_LOW_KEV / np.maximum(u, 1.0) ** 2) ** 4), _MOST_ERROR)
    return relative, _CORRELATED_FWHM * fwhm_u


def _variance(model: Array, data: BinnedSpectrum, design: Design, width: Array, delta: float) -> Array:
    u = np.maximum(0.5 * (design.edges_u[1:] + design.edges_u[:-1]), 1.0)
    relative, length = model_error(u, width, delta)
    # Not more than was counted: a model that is far too high must not excuse itself.
    amplitude = relative * np.minimum(model, maximum_filter1d(data.counts, 3) + 1.0)
    total = amplitude[:, None] * np.exp(-np.abs(u[:, None] - u[None, :]) / length) * amplitude[None, :]
    total[np.diag_indices_from(total)] += np.maximum(model, _LEAST_MODEL) + data.room_variance
    return np.asarray(total, dtype=np.float64)


def _rows(start: Start, strengths: Array | None) -> tuple[Array, Array]:
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
        for i in np.flatnonzero(parts.usual > 0):
            add({int(i): 1.0 / max(float(parts.totals[i] * parts.usual[i] * strongest), least)})
    return np.array(rows), np.array(targets)


@dataclass(frozen=True, eq=False)
class _Solved:
    design: Design
    strengths: Array
    model: Array
    white: Array
    residual: Array
    cost: float


def _solve(start: Start, design: Design, room_gain: float, factor: Array, rows: Array, targets: Array) -> _Solved:
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
    return _Solved(design, strengths, columns @ strengths, white, residual, float(residual @ residual))


def _clipped(theta: Array) -> Array:
    out = theta.copy()
    for index, (low, high) in _BOUNDS.items():
        out[index] = min(max(out[index], low), high)
    out[N_PULSE] = min(max(out[N_PULSE], _LOG_WIDTH[0]), _LOG_WIDTH[1])
    return out


def _deviance(data: BinnedSpectrum, one: _Solved, factor: Array) -> float:
    """-2 ln L of one spectrum and of its equations of strengths, less a constant of the counts.

    The most likely error of the model, G V^-1 r with G = V - diag(mu), is put on top of the model; the rest is Poisson.
    """
    n = data.counts.size
    weighted = solve_triangular(factor, one.residual[:n], lower=True, trans=1, check_finite=False)
    spread = factor @ factor.T
    own = np.maximum(one.model, _LEAST_MODEL)
    own = np.minimum(own, np.diag(spread))
    error = spread @ weighted - own * weighted
    expected = np.maximum(one.model + error, 0.02 * own)
    ratio = np.where(data.counts > 0, np.maximum(data.counts, 1e-12) / expected, 1.0)
    poisson = 2.0 * float((expected - data.counts + data.counts * np.log(ratio)).sum())
    rows = float(one.residual[n:] @ one.residual[n:])
    volume = 2.0 * float(np.log(np.diag(factor)).sum()) - float(np.log(own).sum())
    return poisson + float(error @ weighted) + rows + volume


class _Problem:
    """All spectra with the parameters they share."""

    def __init__(self, starts: Sequence[Start], prior: ShapePrior, delta: float, gain_spread: float | None) -> None:
        self.starts = starts
        self.delta = delta
        self.size = N_SHAPE + _OWN * len(starts)
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

    def solve(self, theta: Array, factors: Sequence[Array], rows: Sequence[tuple[Array, Array]]) -> list[_Solved]:
        found = []
        for j, start in enumerate(self.starts):
            log_gain, room_gain = self.own(theta, j)
            design = design_of(start.data, start.parts, theta[:N_SHAPE], log_gain)
            found.append(_solve(start, design, room_gain, factors[j], *rows[j]))
        return found

    def factor(self, theta: Array, j: int, model: Array, design: Design) -> tuple[Array, Array]:
        total = _variance(model, self.starts[j].data, design, theta[N_PULSE:N_SHAPE], self.delta)
        return np.asarray(cholesky(total, lower=True, check_finite=False)), np.sqrt(np.diag(total))

    def equations(self, theta: Array, solved: Sequence[_Solved], factors: Sequence[Array]) -> tuple[Array, Array]:
        """Information and gradient of the stepped parameters, strengths projected out."""
        information = self.precision.copy()
        gradient = -self.precision @ np.where(self.held, 0.0, theta - self.mean)
        for j, (start, one) in enumerate(zip(self.starts, solved, strict=True)):
            slopes = gradient_of(one.design, start.data, start.parts, one.strengths)
            white = solve_triangular(factors[j], slopes, lower=True, check_finite=False)
            white = np.vstack([white, np.zeros((one.white.shape[0] - white.shape[0], white.shape[1]))])
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
    theta : ndarray, shape (16,)
        True shape, ln g, background gain.
    strengths : ndarray, shape (k + 2,)
        True strengths of the parts, pile-up and the background (about 1).
    """
    problem = _Problem([start], prior, delta, None)
    design = design_of(start.data, start.parts, theta[:N_SHAPE], float(theta[N_SHAPE]))
    model = design.columns @ strengths
    factor, _ = problem.factor(theta, 0, model, design)
    rows, targets = _rows(start, strengths)
    white = np.vstack([solve_triangular(factor, design.columns, lower=True), rows])
    one = _Solved(design, np.maximum(strengths, 1e-9), model, white, np.zeros(white.shape[0]), 0.0)
    information, _ = problem.equations(theta, [one], [factor])
    return _inverse(information, problem.held)


def _inverse(information: Array, held: npt.NDArray[np.bool_]) -> Array:
    free = ~held
    covariance = np.zeros_like(information)
    scale = np.sqrt(np.diag(information)[free])
    inverse = np.linalg.inv(information[np.ix_(free, free)] / np.outer(scale, scale) + 1e-12 * np.eye(scale.size))
    covariance[np.ix_(free, free)] = inverse / np.outer(scale, scale)
    return covariance


def smoothed(counts: Array) -> Array:
    """First weights from neighbours, so that an empty bin does not weigh most."""
    return np.convolve(np.pad(np.maximum(counts, 1.0), 2, mode="edge"), np.full(5, 0.2), mode="valid")


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
        weights = [problem.factor(theta, j, models[j], designs[j]) for j in range(len(starts))]
        factors = [w[0] for w in weights]
        rows = [_rows(s, a) for s, a in zip(starts, strengths, strict=True)]
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
    factors = [problem.factor(theta, j, models[j], designs[j])[0] for j in range(len(starts))]
    solved = problem.solve(theta, factors, [_rows(s, one.strengths) for s, one in zip(starts, solved, strict=True)])
    deviance = problem.prior_cost(theta) + sum(
        _deviance(start.data, one, factor) for start, one, factor in zip(starts, solved, factors, strict=True)
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
                weights[j][1],
                one.residual[:n],
                factors[j],
                starts[j].data.edges,
            )
        )
    return WholeFit(theta[:N_SHAPE].copy(), covariance, tuple(fitted), float(cost), float(deviance), rounds, settled)
