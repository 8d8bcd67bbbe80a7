"""What would have been seen: decision threshold and detection limit of a candidate that is not in the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import RefusedError
from truekev.samples.limits import decision_threshold, detection_limit
from truekev.samples.spectrum_fit import SpectrumFit

__all__ = ["NotRecognised", "not_recognised"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class NotRecognised:
    """A candidate that was not recognised.

    Parameters
    ----------
    name, unit : str
    decision_threshold, detection_limit : float or None
        By ISO 11929-1 with 5 % errors each, as if it alone had been looked for, given everything that was recognised;
        None where the count says nothing about it.
    """

    name: str
    unit: str
    decision_threshold: float | None
    detection_limit: float | None


def not_recognised(name: str, unit: str, fit: SpectrumFit, column: Array, relative_u: float) -> NotRecognised:
    """Limits of a candidate beside a fit.

    Parameters
    ----------
    name, unit
        Of the candidate.
    fit
        What was recognised.
    column : ndarray, shape (n,)
        Counts per unit strength.
    relative_u
        Of the efficiency.
    """
    along = fit.projected @ column
    spread = float(column @ along)
    if not spread > 1e-6 * float(column @ fit.weight @ column):
        return NotRecognised(name, unit, None, None)
    own = float((along / spread) ** 2 @ np.maximum(column, 0.0))

    def u_of_true(true: float) -> float:
        return float(np.sqrt(1.0 / spread + own * true + (relative_u * true) ** 2))

    threshold = decision_threshold(u_of_true)
    try:
        return NotRecognised(name, unit, threshold, detection_limit(u_of_true))
    except RefusedError:
        return NotRecognised(name, unit, threshold, None)
