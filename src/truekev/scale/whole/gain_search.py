"""Gains at which a spectrum could lie when the shape of its scale is known: the start of a re-lock."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.find_groups import warped
from truekev.scale.locate import LocatedSpectrum, templates_between, templates_of
from truekev.scale.search import Candidate, prepare, scan

__all__ = ["GainCandidates", "gains_by_shape"]

Array = npt.NDArray[np.float64]

_SPAN = float(np.log(1.7))  # gains from 1/1.7 to 1.7 times the old one are tried
_STEP = 0.02  # a quarter of a peak's width
_APART = 0.05
_MOST = 3
_BEHIND = 60.0  # chi-square behind the best: no rival any more


@dataclass(frozen=True, eq=False)
class GainCandidates:
    """Ratios of the gain to the old one at which the spectrum is explained best, the best first, and the search's data.

    Parameters
    ----------
    ratios : tuple of float
    located : LocatedSpectrum
        At the best of them.
    """

    ratios: tuple[float, ...]
    located: LocatedSpectrum

    @property
    def cost(self) -> float:
        """Chi-square of the search at the best ratio."""
        return self.located.candidates[0].chi2


def gains_by_shape(
    counted: CountedSpectrum, old: EnergyScale, crystal: Crystal, lowest_kev: float = 0.0
) -> GainCandidates:
    """Scan the gain over a wide range, the shape held, the zero in keV of light too.

    Channels below `lowest_kev` on the old scale are left out.
    """
    templates = templates_of(counted.sample, crystal)
    first = max(int(np.ceil(float(old.pulse.channel(lowest_kev)))), 0) if lowest_kev > 0.0 else 0
    data = prepare(np.where(np.arange(counted.counts.size) < first, 0.0, counted.counts), counted.background)
    fixed = templates_between(templates, old.fwhm_662)
    pulse = old.pulse
    # A gain r times as large puts an edge where the old gain puts edge / r.
    table = np.linspace(0.0, float(data.edges[-1]) * float(np.exp(_SPAN)) + 1.0, 3000)
    nominal = warped(pulse, table)

    def at(log_ratio: float) -> tuple[float, Array, Array]:
        edges = np.interp(data.edges * np.exp(-log_ratio), table, nominal)
        value, strengths = scan(data, fixed, np.array([[1.0, 0.0, 0.0]]), edges)
        return float(value[0]), strengths[0], edges

    grid = np.arange(-_SPAN, _SPAN + _STEP / 2, _STEP)
    values = np.array([at(x)[0] for x in grid])
    lower = np.r_[True, values[1:] < values[:-1]] & np.r_[values[:-1] <= values[1:], True]
    minima = sorted(np.flatnonzero(lower), key=lambda i: values[i])
    found: list[tuple[float, float]] = []
    for i in minima[: 2 * _MOST]:
        fine = grid[i] + np.linspace(-_STEP, _STEP, 9)
        costs = [at(x)[0] for x in fine]
        found.append((min(costs), float(fine[int(np.argmin(costs))])))
    found.sort()
    kept: list[float] = []
    for cost, x in found:
        if cost < found[0][0] + _BEHIND and all(abs(x - other) > _APART for other in kept) and len(kept) < _MOST:
            kept.append(x)
    lowest, strengths, edges = at(kept[0])
    ratio = float(np.exp(kept[0]))
    located = LocatedSpectrum(
        replace(pulse, gain=pulse.gain * ratio, c0=pulse.c0 * ratio),
        old.fwhm_662,
        (Candidate(1.0, 0.0, old.fwhm_662, lowest, strengths),),
        replace(data, edges=edges),
        templates,
    )
    return GainCandidates(tuple(float(np.exp(x)) for x in kept), located)
