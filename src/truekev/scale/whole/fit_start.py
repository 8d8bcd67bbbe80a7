"""From a counted spectrum and a scale that is about right to what the fit starts from, and from the fit to a scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.light import KNOTS_KEV, Pulse
from truekev.scale.sample import Sample
from truekev.scale.whole.bins import merged
from truekev.scale.whole.fit import WholeFit
from truekev.scale.whole.model import N_PULSE, N_SHAPE
from truekev.scale.whole.parts import ForwardParts, parts_of
from truekev.scale.whole.prior import PRIOR_MEAN, ties_of
from truekev.scale.whole.strengths import Start
from truekev.transport.stand import Scatter

__all__ = [
    "covariance_of_pulse",
    "fwhm_at_662",
    "kept_parts",
    "pulse_covariance",
    "pulse_jacobian",
    "shape_from",
    "start_of",
]

Array = npt.NDArray[np.float64]

_KEPT: dict[tuple[int, int, int, bool], tuple[Sample, Crystal, Sequence[Scatter], ForwardParts]] = {}
_P0_KEV = 661.655
_FWHM2 = 5.545177444479562
_MOST_KEPT = 64


def kept_parts(sample: Sample, crystal: Crystal, scatter: Sequence[Scatter], *, with_room: bool) -> ForwardParts:
    """The parts of a sample, kept for the next spectrum of the same kind."""
    key = (id(sample), id(crystal), id(scatter), with_room)
    if key not in _KEPT:
        if len(_KEPT) >= _MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = (sample, crystal, scatter, parts_of(sample, crystal, scatter, with_room=with_room))
    return _KEPT[key][3]


def start_of(
    counted: CountedSpectrum, crystal: Crystal, scatter: Sequence[Scatter], pulse: Pulse, width: float
) -> Start:
    """Bins and parts of a spectrum for a ch(E) that is right to some per cent."""
    data = merged(counted.counts, counted.background, pulse, width)
    parts = kept_parts(counted.sample, crystal, scatter, with_room=counted.background is None)
    return Start(data, parts, float(np.log(pulse.gain)), ties_of(counted.sample))


def shape_from(pulse: Pulse, width: float) -> Array:
    """The shape of a ch(E) and a width, shares of the width law as they usually are."""
    shape = np.zeros(N_SHAPE)
    for index, value in PRIOR_MEAN.items():
        shape[index] = value
    shape[:N_PULSE] = (pulse.c0 / pulse.gain * 1e3, pulse.kappa, pulse.s_per_mev, *pulse.psi)
    shape[N_PULSE] = np.log(width)
    return shape


def covariance_of_pulse(fit: WholeFit, index: int) -> Array:
    """Covariance of (c0 [channels], ln g, kappa, s, psi) of one spectrum, shape (12, 12)."""
    return pulse_covariance(fit.covariance, fit.spectra[index].pulse, index)


def pulse_covariance(covariance: Array, pulse: Pulse, index: int) -> Array:
    """The same from the covariance of all stepped parameters."""
    pick = pulse_jacobian(covariance.shape[0], pulse, index)
    return np.asarray(pick @ covariance @ pick.T, dtype=np.float64)


def pulse_jacobian(size: int, pulse: Pulse, index: int) -> Array:
    """Derivatives of (c0 [channels], ln g, kappa, s, psi) of one spectrum by all stepped parameters, (12, size)."""
    gain_at = N_SHAPE + 2 * index
    pick = np.zeros((12, size))
    pick[0, 0] = pulse.gain * 1e-3
    pick[0, gain_at] = pulse.c0
    pick[1, gain_at] = 1.0
    pick[2, 1] = 1.0
    pick[3, 2] = 1.0
    pick[4:, 3:N_PULSE] = np.eye(KNOTS_KEV.size)
    return pick


def fwhm_at_662(shape: Array, var_d_kev2: float) -> float:
    """FWHM over the energy at 661.655 keV, with what the variance of D brings."""
    own = float(np.exp(shape[N_PULSE]))
    return float(np.sqrt(own**2 + _FWHM2 * float(shape[1]) ** 2 * var_d_kev2 / _P0_KEV**2))
