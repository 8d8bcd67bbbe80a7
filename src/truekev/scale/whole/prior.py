"""What is known of a scale and of a sample's parts before anything is counted."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from truekev.scale.light import psi_prior_covariance
from truekev.scale.sample import Sample
from truekev.scale.whole.model import N_PULSE, N_SHAPE
from truekev.scale.whole.parts import pieces_of
from truekev.scale.whole.problem import ShapePrior

__all__ = ["GAIN_SPREAD", "HELD", "PRIOR_MEAN", "PRIOR_U", "TIE_U", "held_shape", "shape_prior", "ties_of"]

Array = npt.NDArray[np.float64]

# c0 [keV of light], kappa, s [1/MeV]; ln R (nearly free: 4 to 16 %), f0, f2. Psi has `psi_prior_covariance`.
PRIOR_MEAN = {0: 0.0, 1: 1.0, 2: 0.02, N_PULSE: float(np.log(0.085)), N_PULSE + 1: 0.03, N_PULSE + 2: 0.2}
PRIOR_U = {0: 12.0, 1: 0.3, 2: 0.02, N_PULSE: 0.5, N_PULSE + 1: 0.03, N_PULSE + 2: 0.2}
TIE_U = 0.15  # self-absorption, windows and efficiency, between the ranges that a component was cut into
GAIN_SPREAD = 0.03  # of ln g between the spectra of one instrument
HELD = 1e16  # a precision that means: not stepped


def shape_prior() -> ShapePrior:
    """Prior of the shape; the electron response is the published one, psi this crystal's departure from it."""
    mean = np.zeros(N_SHAPE)
    precision = np.zeros((N_SHAPE, N_SHAPE))
    for index, value in PRIOR_MEAN.items():
        mean[index] = value
        precision[index, index] = 1.0 / PRIOR_U[index] ** 2
    precision[3:N_PULSE, 3:N_PULSE] = np.linalg.inv(psi_prior_covariance())
    return ShapePrior(mean, precision)


def held_shape(shape: Array, *, width_u: float) -> ShapePrior:
    """A shape that is held, but for the width, known to `width_u` (relative)."""
    precision = np.diag(np.full(N_SHAPE, HELD))
    precision[N_PULSE, N_PULSE] = 1.0 / width_u**2
    return ShapePrior(shape, precision)


def ties_of(sample: Sample) -> tuple[tuple[int, int, float], ...]:
    """Parts cut from one component, numbered as `parts_of` numbers them, and how well their ratio is known."""
    wholes = [
        whole for component, whole in zip(sample.components, sample.wholes, strict=True) for _ in pieces_of(component)
    ]
    ties = []
    for whole in sorted({w for w in wholes if w >= 0}):
        first, *others = (i for i, w in enumerate(wholes) if w == whole)
        ties += [(first, other, TIE_U) for other in others]
    return tuple(ties)
