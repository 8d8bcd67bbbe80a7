"""Critical level and detection limit of counting after Currie (1968), in net counts: the simple case.

No calibration factor, no relative uncertainty, equal probabilities of both errors (alpha = beta).
"""

from __future__ import annotations

import math

from truekev.errors import OutOfRangeError
from truekev.samples.limits import quantile_of_error

__all__ = ["currie_critical_level", "currie_detection_limit"]


def currie_critical_level(n_background: float, *, well_known_blank: bool = False, alpha: float = 0.05) -> float:
    """Net counts above which a signal is taken for real, L_C.

    Parameters
    ----------
    n_background : float
        Background counts in the time of the gross count, 0 or more.
    well_known_blank : bool
        False: the blank is counted once, for the same time (paired observations). True: its mean is known.
    alpha : float
        Probability of a false positive.

    References
    ----------
    L. A. Currie, Anal. Chem. 40 (1968) 586. Checked by tests/published/test_currie_1968.py.
    """
    if not (math.isfinite(n_background) and n_background >= 0):
        raise OutOfRangeError(f"background counts {n_background}: 0 or more is needed.")
    return quantile_of_error("alpha", alpha) * math.sqrt(n_background * (1 if well_known_blank else 2))


def currie_detection_limit(n_background: float, *, well_known_blank: bool = False, alpha: float = 0.05) -> float:
    """Net counts that are recognised with probability 1 - alpha, L_D = k² + 2 L_C (2.71 + 4.65 √B for pairs at 5 %)."""
    k = quantile_of_error("alpha", alpha)
    return k**2 + 2 * currie_critical_level(n_background, well_known_blank=well_known_blank, alpha=alpha)
