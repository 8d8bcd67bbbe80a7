"""Profile-likelihood interval of the energy that a fitted scale reads at a channel.

The covariance of a fit holds where the likelihood is a parabola. Here the energy at one channel is stepped, everything
else is fitted anew by iminuit (MIGRAD: James and Roos 1975), and the interval ends where -2 ln L has risen by 1 (68 %)
or 3.84 (95 %). The likelihood is the fit's own: model error integrated out, strengths solved inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from iminuit import Minuit

from truekev.errors import FitError
from truekev.scale.whole.fit import WholeFit
from truekev.scale.whole.fit_start import pulse_jacobian
from truekev.scale.whole.likelihood import NearLikelihood, parameters_of
from truekev.scale.whole.model import N_SHAPE, pulse_of
from truekev.scale.whole.problem import ShapePrior, clipped
from truekev.scale.whole.strengths import Start

__all__ = ["ProfileInterval", "profile_interval"]

Array = npt.NDArray[np.float64]

_K95 = 1.959963984540054
_MOST_CALLS = 2000
_MOST_SECANTS = 12
_CLOSE = 0.02  # of the root of the rise
_LEAST_SLOPE = 0.1
_FAR = 1e6  # where the strengths do not settle


@dataclass(frozen=True)
class ProfileInterval:
    """Intervals of the energy read where the fit puts a line.

    Parameters
    ----------
    energy_kev : float
        The line; the scale reads this at `channel`.
    channel : float
    u_kev : float
        Standard uncertainty from the covariance, for comparison.
    low_kev, high_kev : float
        68 % interval by profile.
    low95_kev, high95_kev : float
        95 % interval by profile.
    """

    energy_kev: float
    channel: float
    u_kev: float
    low_kev: float
    high_kev: float
    low95_kev: float
    high95_kev: float


class _Profiled:
    """-2 ln L by the energy at a channel [in u of the covariance] and all else, made independent of it."""

    def __init__(
        self,
        fit: WholeFit,
        starts: Sequence[Start],
        prior: ShapePrior,
        gain_spread: float | None,
        index: int,
        energy_kev: float,
    ) -> None:
        self.near = NearLikelihood(fit, starts, prior, gain_spread)
        self.gain_at = N_SHAPE + 2 * index
        self.theta = parameters_of(fit)
        pulse = fit.spectra[index].pulse
        self.curve = pulse.curve
        self.energy_kev = energy_kev
        self.channel = float(pulse.channel(energy_kev))
        slope = float(pulse.slope_per_kev(energy_kev))
        # Energy at the channel by the parameters: ch(E) is to stay, so E moves against it.
        by_theta = pulse.jacobian(energy_kev)[0] @ pulse_jacobian(self.theta.size, pulse, index) / -slope
        covariance = fit.covariance
        self.u_kev = float(np.sqrt(by_theta @ covariance @ by_theta))
        self.free = np.flatnonzero(~self.near.problem.held & (np.arange(self.theta.size) != self.gain_at))
        along = covariance @ by_theta
        self.slope = along[self.free] / self.u_kev
        left = covariance - np.outer(along, along) / self.u_kev**2
        values, vectors = np.linalg.eigh(left[np.ix_(self.free, self.free)])
        self.spread = vectors * np.sqrt(np.maximum(values, 0.0))

    def theta_of(self, values: Array) -> Array:
        """All parameters: the gain is what puts the energy on its channel."""
        theta = self.theta.copy()
        theta[self.free] += self.slope * values[0] + self.spread @ values[1:]
        theta = clipped(theta)
        unit = float(pulse_of(self.curve, theta[:N_SHAPE], 0.0).channel(self.energy_of(values[0])))
        theta[self.gain_at] = np.log(self.channel / unit) if unit > 0 else self.theta[self.gain_at]
        return theta

    def energy_of(self, steps: float) -> float:
        """Energy [keV] so many u away."""
        return float(max(self.energy_kev + steps * self.u_kev, 1.0))

    def __call__(self, values: Array) -> float:
        asked = np.asarray(values, dtype=np.float64)
        if not np.all(np.isfinite(asked)):  # the minimiser's own arithmetic, far out
            return _FAR
        try:
            found = self.near.deviance(self.theta_of(asked))
        except FitError:
            return _FAR
        return found if np.isfinite(found) else _FAR


def profile_interval(
    fit: WholeFit,
    starts: Sequence[Start],
    prior: ShapePrior,
    energy_kev: float,
    *,
    index: int = 0,
    gain_spread: float | None = None,
) -> ProfileInterval:
    """Interval of one spectrum's scale at one energy; takes some seconds.

    Parameters
    ----------
    fit, starts, prior, gain_spread
        As `fit_whole` gave and had them.
    energy_kev
        A line, looked at where the fit puts it.
    index
        Which spectrum.

    Raises
    ------
    FitError
        The likelihood does not rise on both sides as it should.
    """
    profiled = _Profiled(fit, starts, prior, gain_spread, index, energy_kev)
    minuit = Minuit(profiled, np.zeros(1 + profiled.free.size))
    minuit.errordef = Minuit.LEAST_SQUARES
    minuit.errors = 1.0
    minuit.strategy = 0
    minuit.tol = 1.0
    minuit.migrad(ncall=_MOST_CALLS)
    best, lowest = np.array(minuit.values), float(minuit.fval)
    minuit.fixed["x0"] = True

    def end(side: float, steps: float) -> float:
        """Energy [keV] on one side where -2 ln L has risen by steps²: secants of its root, which is nearly straight."""
        at, root = float(best[0]), 0.0
        tried = at + side * steps
        for _ in range(_MOST_SECANTS):
            minuit.values = [tried, *best[1:]]
            minuit.migrad(ncall=_MOST_CALLS)
            risen = float(np.sqrt(max(minuit.fval - lowest, 0.0)))
            if abs(risen - steps) < _CLOSE * steps:
                return profiled.energy_of(tried)
            slope = max((risen - root) / (side * (tried - at)), _LEAST_SLOPE)
            at, root = tried, risen
            tried = tried + side * float(np.clip((steps - risen) / slope, -steps, steps))
        raise FitError(f"the likelihood has no clear interval at {energy_kev:.0f} keV.")

    ends = [end(side, steps) for steps in (1.0, _K95) for side in (-1.0, 1.0)]
    return ProfileInterval(energy_kev, profiled.channel, profiled.u_kev, *ends)
