"""All spectra of a fit with the parameters they share: shape, and gain and background gain of each."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.scale.whole.model import N_PULSE, N_SHAPE, Design, design_of, gradient_of
from truekev.scale.whole.strengths import Solved, Start, solve
from truekev.scale.whole.weights import Weights, weights_of

__all__ = ["OWN", "ROOM_GAIN_U", "Problem", "ShapePrior", "clipped", "inverse"]

Array = npt.NDArray[np.float64]

OWN = 2  # ln g and background gain of each spectrum
_BOUNDS = {1: (0.1, 1.9), 2: (-0.02, 0.10), N_PULSE + 1: (0.0, 0.4), N_PULSE + 2: (0.0, 0.7)}
_LOG_WIDTH = (float(np.log(0.03)), float(np.log(0.2)))
ROOM_GAIN_U = 0.015  # inside an epoch of the open spectra gains agree to 0.8 %, between epochs to 2.6 %


@dataclass(frozen=True, eq=False)
class ShapePrior:
    """Mean and precision of the shape (c0 [keV of light], kappa, s, psi, ln R, f0, f2); a large precision fixes."""

    mean: Array
    precision: Array


def clipped(theta: Array) -> Array:
    """The parameters within their bounds."""
    out = theta.copy()
    for index, (low, high) in _BOUNDS.items():
        out[index] = min(max(out[index], low), high)
    out[N_PULSE] = min(max(out[N_PULSE], _LOG_WIDTH[0]), _LOG_WIDTH[1])
    return out


class Problem:
    """All spectra of a fit: priors, strengths, weights, and the equations of the stepped parameters."""

    def __init__(self, starts: Sequence[Start], prior: ShapePrior, delta: float, gain_spread: float | None) -> None:
        self.starts = starts
        self.delta = delta
        self.size = N_SHAPE + OWN * len(starts)
        self.size_of_one = N_SHAPE + OWN
        self.mean = np.zeros(self.size)
        self.mean[:N_SHAPE] = prior.mean
        self.precision = np.zeros((self.size, self.size))
        self.precision[:N_SHAPE, :N_SHAPE] = prior.precision
        gains = np.arange(N_SHAPE, self.size, OWN)
        self.mean[gains] = [s.log_gain for s in starts]
        if gain_spread is not None and len(starts) > 1:
            centring = np.eye(len(starts)) - 1.0 / len(starts)
            self.precision[np.ix_(gains, gains)] = centring / gain_spread**2
            self.mean[gains] = self.mean[gains].mean()
        for j in range(len(starts)):
            self.precision[gains[j] + 1, gains[j] + 1] = 1.0 / ROOM_GAIN_U**2
            self.precision[gains[j], gains[j]] += 1e-6
        self.held = np.diag(self.precision) > 1e14

    def own(self, theta: Array, j: int) -> tuple[float, float]:
        """Gain (ln g) of one spectrum, and ln of the factor on its background's gain."""
        at = N_SHAPE + OWN * j
        return float(theta[at]), float(theta[at + 1])

    def told_by(self, theta: Array, solved: Sequence[Solved], weights: Sequence[Weights]) -> Problem:
        """The same with the backgrounds at their gains in `theta`, and expected as the residuals tell."""
        starts = []
        for j, (start, one) in enumerate(zip(self.starts, solved, strict=True)):
            room = start.data.room
            if room is not None:
                weighted = weights[j].white_transposed(one.residual[: start.data.counts.size])
                room = room.told_by(self.own(theta, j)[1], float(one.strengths[-1]), weighted)
            starts.append(replace(start, data=replace(start.data, room=room)))
        told = copy(self)
        told.starts = starts
        return told

    def prior_cost(self, theta: Array) -> float:
        """-2 ln of the prior, less a constant."""
        off = np.where(self.held, 0.0, theta - self.mean)
        return float(off @ self.precision @ off)

    def solve(self, theta: Array, weights: Sequence[Weights], rows: Sequence[tuple[Array, Array]]) -> list[Solved]:
        """Strengths of every spectrum."""
        found = []
        for j, start in enumerate(self.starts):
            log_gain, room_gain = self.own(theta, j)
            design = design_of(start.data, start.parts, theta[:N_SHAPE], log_gain)
            found.append(solve(start, design, room_gain, weights[j], *rows[j]))
        return found

    def weights(self, theta: Array, j: int, model: Array, design: Design) -> Weights:
        """V of one spectrum."""
        return weights_of(model, self.starts[j].data, design, theta[N_PULSE:N_SHAPE], self.delta)

    def equations(self, theta: Array, solved: Sequence[Solved], weights: Sequence[Weights]) -> tuple[Array, Array]:
        """Information and gradient of the stepped parameters, strengths projected out."""
        information = self.precision.copy()
        gradient = -self.precision @ np.where(self.held, 0.0, theta - self.mean)
        for j, (start, one) in enumerate(zip(self.starts, solved, strict=True)):
            slopes = gradient_of(one.design, start.data, start.parts, one.strengths, self.own(theta, j)[1])
            white = weights[j].white(slopes)
            more = one.white.shape[0] - start.data.counts.size
            white = np.vstack([white, np.zeros((more, self.size_of_one))])
            alive = one.strengths > 0
            basis, _ = np.linalg.qr(one.white[:, alive] / np.sqrt((one.white[:, alive] ** 2).sum(axis=0)))
            white = white - basis @ (basis.T @ white)
            at = np.r_[0:N_SHAPE, N_SHAPE + OWN * j : N_SHAPE + OWN * (j + 1)]
            information[np.ix_(at, at)] += white.T @ white
            gradient[at] += white.T @ one.residual
        return information, gradient


def inverse(information: Array, held: npt.NDArray[np.bool_]) -> Array:
    """Covariance from an information matrix; zero for what is held."""
    free = ~held
    covariance = np.zeros_like(information)
    scale = np.sqrt(np.diag(information)[free])
    inverse = np.linalg.inv(information[np.ix_(free, free)] / np.outer(scale, scale) + 1e-12 * np.eye(scale.size))
    covariance[np.ix_(free, free)] = inverse / np.outer(scale, scale)
    return covariance
