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
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import FitError
from truekev.scale.light import Pulse
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import N_SHAPE, Design, design_of
from truekev.scale.whole.problem import OWN, Problem, ShapePrior, clipped, inverse
from truekev.scale.whole.strengths import Solved, Start, deviance_of, rows_of, smoothed
from truekev.scale.whole.weights import Weights

__all__ = ["DELTA", "FittedWhole", "WholeFit", "assembled", "expected_covariance", "fit_whole"]

Array = npt.NDArray[np.float64]

DELTA = 0.03
_ROUNDS = 40
_DAMPED = 8
_SETTLED = 1e-4  # predicted fall of the cost that no longer matters
_MOST_GAIN_STEP = 0.05


@dataclass(frozen=True, eq=False)
class FittedWhole:
    """One spectrum of a fit.

    Parameters
    ----------
    pulse : Pulse
    log_gain, room_gain : float
        ln of channels per MeV of light, and of the factor that brings the background to the spectrum's gain.
    design : Design
    strengths : ndarray, shape (k + 2,)
        Counts in each part, pile-up, and the background's strength.
    model : ndarray, shape (n,)
    residual : ndarray, shape (n,)
        Residuals made white: independent, of variance one where the model holds.
    weights : Weights
        V of the residuals.
    data : BinnedSpectrum
        Its bins, with the background as the fit has it.
    """

    pulse: Pulse
    log_gain: float
    room_gain: float
    design: Design
    strengths: Array
    model: Array
    residual: Array
    weights: Weights
    data: BinnedSpectrum

    @property
    def edges(self) -> Array:
        """Edges of the bins in the pulse coordinate, shape (n + 1,)."""
        return self.data.edges


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
    room = start.data.room
    if room is not None:
        start = replace(start, data=replace(start.data, room=room.moved(float(theta[N_SHAPE + 1]))))
    problem = Problem([start], prior, delta, None)
    design = design_of(start.data, start.parts, theta[:N_SHAPE], float(theta[N_SHAPE]))
    model = design.columns @ strengths
    weights = problem.weights(theta, 0, model, design)
    rows, _ = rows_of(start, strengths)
    white = np.vstack([weights.white(design.columns), rows])
    one = Solved(design, np.maximum(strengths, 1e-9), model, white, np.zeros(white.shape[0]), 0.0)
    information, _ = problem.equations(theta, [one], [weights])
    return inverse(information, problem.held)


def _step(information: Array, gradient: Array, held: npt.NDArray[np.bool_], damping: float) -> Array:
    free = ~held
    scale = np.sqrt(np.diag(information)[free])
    scaled = information[np.ix_(free, free)] / np.outer(scale, scale)
    scaled = scaled + (damping + 1e-12) * np.eye(scale.size)
    move = np.zeros(held.size)
    move[free] = np.linalg.solve(scaled, gradient[free] / scale) / scale
    # The model is linear over a part of a peak's width only.
    move[N_SHAPE::OWN] = np.clip(move[N_SHAPE::OWN], -_MOST_GAIN_STEP, _MOST_GAIN_STEP)
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
    problem = Problem(starts, prior, delta, gain_spread)
    theta = np.concatenate([shape, *([s.log_gain, 0.0] for s in starts)])
    theta = clipped(theta)
    models = [smoothed(s.data.counts) for s in starts]
    designs = [design_of(s.data, s.parts, theta[:N_SHAPE], s.log_gain) for s in starts]
    strengths: list[Array | None] = [None] * len(starts)
    damping, settled, rounds = 0.0, False, 0
    for rounds in range(1, most_rounds + 1):
        weights = [problem.weights(theta, j, models[j], designs[j]) for j in range(len(starts))]
        rows = [rows_of(s, a) for s, a in zip(starts, strengths, strict=True)]
        solved = problem.solve(theta, weights, rows)
        cost = sum(s.cost for s in solved) + problem.prior_cost(theta)
        information, gradient = problem.equations(theta, solved, weights)
        moved = False
        for _ in range(12):
            move = _step(information, gradient, problem.held, damping)
            trial = clipped(theta + move)
            fall = float((trial - theta) @ gradient)
            if abs(fall) < _SETTLED and rounds > 2:
                settled = True
                break
            try:
                tried = problem.solve(trial, weights, rows)
            except FitError:
                damping = max(4.0 * damping, 0.01)
                continue
            new_cost = sum(s.cost for s in tried) + problem.prior_cost(trial)
            if np.isfinite(new_cost) and new_cost < cost:
                theta, solved, moved = trial, tried, True
                damping = 0.0 if damping < 0.02 else damping / 5.0
                break
            damping = max(5.0 * damping, 0.01)
        if settled or not moved:
            break
        problem = problem.told_by(theta, solved, weights)
        reached = [np.maximum(s.model, 0.0) for s in solved]
        # Weights that make the fit go to and fro are followed by halves.
        models = reached if rounds < _DAMPED else [0.5 * (a + b) for a, b in zip(models, reached, strict=True)]
        designs = [s.design for s in solved]
        strengths = [s.strengths for s in solved]
    if not np.all(np.isfinite(theta)):
        raise FitError("the fit of the whole spectrum does not settle.")
    covariance = inverse(information, problem.held)
    return assembled(problem, theta, covariance, solved, weights, rounds=rounds, settled=settled)


def assembled(
    problem: Problem,
    theta: Array,
    covariance: Array,
    solved: Sequence[Solved],
    weights: Sequence[Weights],
    *,
    rounds: int,
    settled: bool,
) -> WholeFit:
    """The fit at given parameters: once more with the weights of the model that was reached.

    Parameters
    ----------
    problem
        The spectra with their priors.
    theta, covariance
        Shape, and ln g and background gain of each spectrum; their covariance.
    solved, weights
        Strengths and model of each spectrum, and the weights they were solved with.
    rounds, settled
        As in `WholeFit`.
    """
    problem = problem.told_by(theta, solved, weights)
    weights = [problem.weights(theta, j, np.maximum(one.model, 0.0), one.design) for j, one in enumerate(solved)]
    rows = [rows_of(s, one.strengths) for s, one in zip(problem.starts, solved, strict=True)]
    last = problem.solve(theta, weights, rows)
    prior_cost = problem.prior_cost(theta)
    deviance = prior_cost + sum(
        deviance_of(start.data, one, w) for start, one, w in zip(problem.starts, last, weights, strict=True)
    )
    fitted = []
    for j, (start, one) in enumerate(zip(problem.starts, last, strict=True)):
        log_gain, room_gain = problem.own(theta, j)
        fitted.append(
            FittedWhole(
                one.design.pulse,
                log_gain,
                room_gain,
                one.design,
                one.strengths,
                one.model,
                one.residual[: start.data.counts.size],
                weights[j],
                start.data,
            )
        )
    cost = prior_cost + sum(one.cost for one in last)
    return WholeFit(theta[:N_SHAPE].copy(), covariance, tuple(fitted), cost, deviance, rounds, settled)
