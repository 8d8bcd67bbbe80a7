"""What is known beside the counts of a spectrum, and how wrong its model may be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.scale.light import KNOTS_KEV

__all__ = [
    "BACK",
    "DEPTH",
    "FIRST_SMOOTH",
    "FORWARD",
    "GAIN",
    "LEVEL",
    "N_PLAIN",
    "N_SCALE",
    "ONCE",
    "PILE_UP",
    "SCALE",
    "SIDE",
    "TILT",
    "WIDTH",
    "Knowledge",
    "bells",
    "model_covariance",
]

Array = npt.NDArray[np.float64]

# Places of the shared parameters of a fit, after the strengths.
FORWARD, BACK, SIDE, ONCE, WIDTH, TILT, PILE_UP, LEVEL, GAIN, DEPTH = range(10)
N_PLAIN = 10
N_SCALE = 4 + KNOTS_KEV.size
SCALE = slice(N_PLAIN, N_PLAIN + N_SCALE)
FIRST_SMOOTH = N_PLAIN + N_SCALE
# Smooth parts: bells this many peak widths apart, each of half that standard deviation; wider where rooms do not bend.
_SMOOTH_FWHM, _WIDE_FWHM, _WIDE_FROM_U = 2.0, 4.0, 18.0


@dataclass(frozen=True)
class Knowledge:
    """What is known beside the counts, as standard uncertainties about the expected values.

    Parameters
    ----------
    model_error, bin_error, continuum_error, tail_error : float
        Relative error of the model, correlated over about two peak widths; one that every bin has for itself (shape of
        peaks, widths of channels); a further one of all that is not full-energy peaks, over about six widths; and one
        of the mean of what lies within a peak's width.
    u_gain, u_width, u_tilt : float
        Relative, of the gain against the scale's, of the peak width, and of its growth with ln of energy.
    forward, back, side, once, u_forward, u_back, u_side, u_once : float
        Scattering by surroundings, in units of their templates: forward, back out of something thick, from the side,
        and back just once.
    threshold_kev : float
        Over how many keV above the first counts the trigger may still cut.
    u_pile_up : float
        Share of pulses that are sums of two.
    u_depth : float
        Depth of matter about the activity, in steps of the templates' depths.
    u_level, u_background_gain : float
        Relative, of the background's level and of its gain against the spectrum's.
    """

    model_error: float = 0.04
    bin_error: float = 0.015
    continuum_error: float = 0.08
    tail_error: float = 0.06
    u_gain: float = 0.008
    u_width: float = 0.06
    u_tilt: float = 0.05
    forward: float = 0.5
    back: float = 1.0
    side: float = 0.0
    once: float = 0.0
    u_forward: float = 0.7
    u_back: float = 1.0
    u_side: float = 0.5
    u_once: float = 0.4
    threshold_kev: float = 8.0
    u_pile_up: float = 0.01
    u_depth: float = 1.5
    u_level: float = 0.03
    u_background_gain: float = 0.004


def model_covariance(own: Array, u: Array, fwhm_u: float, known: Knowledge) -> Array:
    """Covariance that the model's error brings to the counts of bins.

    Parameters
    ----------
    own : ndarray, shape (n,)
        Counts less background, smoothed: from the counts themselves, so that it stays put while a fit moves.
    u : ndarray, shape (n,)
        Middles of the bins on the axis u.
    fwhm_u : float
        Peak width there.
    known : Knowledge
        How wrong the model may be.
    """
    apart = np.abs(u[:, None] - u[None, :]) / fwhm_u
    # Peaks have tails: part of the error goes with what lies about a bin.
    tails = np.exp(-apart)
    about = tails / tails.sum(axis=1, keepdims=True) @ own
    wrong = np.hypot(known.model_error * own, known.tail_error * about)
    continuum = known.continuum_error * _without_peaks(own, u, fwhm_u)
    near = np.outer(wrong, wrong) * np.exp(-0.5 * apart**2)
    far = np.outer(continuum, continuum) * np.exp(-0.5 * (apart / 3.0) ** 2)
    return np.asarray(near + far + np.diag((known.bin_error * about) ** 2))


def bells(u: Array, fwhm_u: float) -> tuple[Array, Array]:
    """Centres and standard deviations of the smooth parts on the axis u."""
    at, centres, wide = float(u[0]), [], []
    while at < u[-1] + fwhm_u:
        step = (_SMOOTH_FWHM if at < _WIDE_FROM_U else _WIDE_FWHM) * fwhm_u
        centres.append(at)
        wide.append(0.5 * step)
        at += step
    return np.array(centres), np.array(wide)


def _without_peaks(counts: Array, u: Array, fwhm_u: float) -> Array:
    """Counts with everything as narrow as a peak cut off: the lower of a bin and the mean of its neighbours aside."""
    kept = counts.copy()
    for times in (1.6, 1.2, 0.8, 0.4):
        reach = times * fwhm_u
        sides = 0.5 * (np.interp(u - reach, u, kept) + np.interp(u + reach, u, kept))
        kept = np.minimum(kept, sides)
    return kept
