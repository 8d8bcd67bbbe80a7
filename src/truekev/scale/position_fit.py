"""The light model fitted to places of line groups: one shape, a gain for each spectrum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import FitError
from truekev.scale.light import KNOTS_KEV, LightCurve, Pulse, psi_prior_covariance

__all__ = ["MODEL_FLOOR", "Place", "ShapeFit", "fit_places", "shape_prior_precision"]

Array = npt.NDArray[np.float64]

_N_SHAPE = 3 + KNOTS_KEV.size  # c0, kappa, s, psi
_KAPPA = (1.0, 0.3)
_S_PER_MEV = (0.02, 0.03)
_ZERO_KEV = 12.0
MODEL_FLOOR = 0.0015  # of the pulse height: what no model of a peak's place is better than
_OUTLIER = 4.0


@dataclass(frozen=True)
class Place:
    """A line group found in spectrum number `spectrum` at a pulse coordinate."""

    spectrum: int
    energy_kev: float
    u_energy_kev: float
    channel: float
    u_channel: float


@dataclass(frozen=True)
class ShapeFit:
    """Result of `fit_places`.

    Parameters
    ----------
    pulses : tuple of Pulse
        ch(E) of each spectrum.
    covariances : tuple of ndarray, shape (12, 12)
        Of (c0, ln g, kappa, s, psi) of each spectrum; c0 in channels.
    used : tuple of bool
        Which places were kept.
    pulls : tuple of float
        (measured - fitted) / uncertainty of each place.
    chi2 : float
        Sum of squared pulls of the places used, and of the priors.
    """

    pulses: tuple[Pulse, ...]
    covariances: tuple[Array, ...]
    used: tuple[bool, ...]
    pulls: tuple[float, ...]
    chi2: float


def shape_prior_precision() -> Array:
    """Inverse prior covariance of (c0 [keV-equivalent], kappa, s, psi), shape (11, 11)."""
    precision = np.zeros((_N_SHAPE, _N_SHAPE))
    precision[0, 0] = 1.0 / _ZERO_KEV**2
    precision[1, 1] = 1.0 / _KAPPA[1] ** 2
    precision[2, 2] = 1.0 / _S_PER_MEV[1] ** 2
    precision[3:, 3:] = np.linalg.inv(psi_prior_covariance())
    return precision


def fit_places(
    curve: LightCurve,
    places: Sequence[Place],
    start: Sequence[Pulse],
    *,
    gain_spread: float | None = None,
) -> ShapeFit:
    """Maximum a posteriori of c0, kappa, s, psi (shared) and ln g of each spectrum.

    Parameters
    ----------
    curve
        The crystal's light curve.
    places
        Found groups of all spectra.
    start
        Starting ch(E) of each spectrum.
    gain_spread
        If given, the standard deviation by which ln g of one instrument's spectra differ.

    Raises
    ------
    FitError
        No place at all, or the fit does not settle.

    Notes
    -----
    c0 is shared in keV-equivalents, so that a change of gain leaves the zero where it is in keV of light.
    Places farther than four uncertainties from the fit are left out, the worst first, at most a quarter.
    """
    if not places:
        raise FitError("no line group was found; there is nothing to fit a scale to.")
    used = np.ones(len(places), dtype=bool)
    while True:
        pulses, covariance, pulls, chi2 = _fit(curve, places, used, start, gain_spread)
        worst = int(np.argmax(np.where(used, np.abs(pulls), 0.0)))
        if abs(pulls[worst]) <= _OUTLIER or used.sum() <= 0.75 * len(places) or used.sum() <= 3:
            break
        used[worst] = False
    return ShapeFit(
        tuple(pulses),
        tuple(_of_spectrum(covariance, j, pulses[j].gain) for j in range(len(pulses))),
        tuple(bool(u) for u in used),
        tuple(float(p) for p in pulls),
        chi2,
    )


def _of_spectrum(covariance: Array, index: int, gain: float) -> Array:
    """Covariance of (c0 [channels], ln g, kappa, s, psi) of one spectrum from that of all parameters."""
    pick = np.zeros((12, covariance.shape[0]))
    pick[0, 0] = gain * 1e-3  # c0 in keV-equivalent to channels
    pick[1, _N_SHAPE + index] = 1.0
    pick[2, 1] = 1.0
    pick[3, 2] = 1.0
    pick[4:, 3:_N_SHAPE] = np.eye(KNOTS_KEV.size)
    return np.asarray(pick @ covariance @ pick.T, dtype=np.float64)


def _pulse(curve: LightCurve, theta: Array, index: int) -> Pulse:
    gain = float(np.exp(theta[_N_SHAPE + index]))
    return Pulse(
        curve, float(theta[0]) * gain * 1e-3, gain, float(theta[1]), float(theta[2]), tuple(theta[3:_N_SHAPE].tolist())
    )


def _fit(
    curve: LightCurve,
    places: Sequence[Place],
    used: npt.NDArray[np.bool_],
    start: Sequence[Pulse],
    spread: float | None,
) -> tuple[list[Pulse], Array, Array, float]:
    n_spectra = len(start)
    size = _N_SHAPE + n_spectra
    prior_mean = np.zeros(size)
    prior_mean[1:3] = _KAPPA[0], _S_PER_MEV[0]
    precision = np.zeros((size, size))
    precision[:_N_SHAPE, :_N_SHAPE] = shape_prior_precision()
    if spread is not None and n_spectra > 1:
        centring = np.eye(n_spectra) - 1.0 / n_spectra
        precision[_N_SHAPE:, _N_SHAPE:] = centring / spread**2
    else:
        precision[_N_SHAPE:, _N_SHAPE:] = 1e-8 * np.eye(n_spectra)
    theta = prior_mean.copy()
    theta[0] = np.mean([p.c0 / (p.gain * 1e-3) for p in start])
    theta[_N_SHAPE:] = [np.log(p.gain) for p in start]
    prior_mean[_N_SHAPE:] = theta[_N_SHAPE:] if spread is None else theta[_N_SHAPE:].mean()
    spectrum = np.array([p.spectrum for p in places])
    energy = np.array([p.energy_kev for p in places])
    measured = np.array([p.channel for p in places])
    u_measured = np.array([p.u_channel for p in places])
    u_energy = np.array([p.u_energy_kev for p in places])
    for _ in range(60):
        pulses = [_pulse(curve, theta, j) for j in range(n_spectra)]
        design = np.zeros((len(places), size))
        residual = np.zeros(len(places))
        sigma = np.zeros(len(places))
        for j in range(n_spectra):
            mine = np.flatnonzero(spectrum == j)
            if not mine.size:
                continue
            jacobian = pulses[j].jacobian(energy[mine])
            to_channels = pulses[j].gain * 1e-3
            design[mine, 0] = jacobian[:, 0] * to_channels
            design[mine, 1:_N_SHAPE] = jacobian[:, 2:]
            design[mine, _N_SHAPE + j] = jacobian[:, 1] + theta[0] * to_channels
            expected = pulses[j].channel(energy[mine])
            residual[mine] = measured[mine] - expected
            slope = pulses[j].slope_per_kev(energy[mine])
            floor = MODEL_FLOOR * (expected - pulses[j].c0)
            sigma[mine] = np.sqrt(u_measured[mine] ** 2 + (u_energy[mine] * slope) ** 2 + floor**2)
        weighted = np.where(used[:, None], design / sigma[:, None], 0.0)
        information = weighted.T @ weighted + precision
        gradient = weighted.T @ (residual / sigma) - precision @ (theta - prior_mean)
        move = np.linalg.solve(information, gradient)
        move[2] = np.clip(theta[2] + move[2], -0.02, 0.10) - theta[2]
        theta = theta + move
        if not np.all(np.isfinite(theta)):
            raise FitError("the fit of the light model does not settle.")
        if np.sqrt(move @ information @ move) < 1e-3:
            break
    pulls = residual / sigma
    off = theta - prior_mean
    chi2 = float(np.sum(pulls[used] ** 2) + off @ precision @ off)
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    return [_pulse(curve, theta, j) for j in range(n_spectra)], covariance, pulls, chi2
