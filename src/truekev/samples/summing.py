"""What full-energy peaks lose because a second photon of the same decay reaches the crystal too."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from truekev.nuclides.cascades import cascade_pairs
from truekev.nuclides.lines import photon_lines
from truekev.scale.templates import LineSet

__all__ = ["summing_loss"]

Array = npt.NDArray[np.float64]


def summing_loss(lines: LineSet, areas: Array, hit: Callable[[float], float]) -> float:
    """Share of the full-energy counts of some lines that true coincidences take, the mean over the lines by area.

    A peak loses the share of its photons whose partner leaves anything in the crystal (a peak loses the factor
    1 - total efficiency: Kafala 1995, J. Radioanal. Nucl. Chem. 191, 105). What sums bring into peaks is not taken off,
    and X-rays and angles between photons are left out, so that it is rather too large than too small.

    Parameters
    ----------
    lines
        With the nuclide that makes each.
    areas : ndarray, shape (n,)
        Their full-energy counts.
    hit
        Share of the photons of an energy [keV] that leave anything in the crystal.
    """
    lost = 0.0
    for energy, maker, area in zip(lines.energy_kev, lines.makers, areas, strict=True):
        lost += area * min(_loss(maker, float(energy), hit), 1.0)
    return float(lost / max(float(areas.sum()), 1e-300))


def _loss(nuclide: str, energy_kev: float, hit: Callable[[float], float]) -> float:
    per_decay = {line.energy_kev: line.intensity for line in photon_lines(nuclide)}
    lost = 0.0
    for pair in cascade_pairs(nuclide):
        if pair.first_kev == energy_kev:
            lost += pair.share * hit(pair.second_kev)
        elif pair.second_kev == energy_kev:
            lost += pair.share * per_decay[pair.first_kev] / per_decay[energy_kev] * hit(pair.first_kev)
    return lost
