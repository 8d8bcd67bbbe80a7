"""Calibration by peaks: one or several spectra of unknown gain, one shape, a gain for each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.scale.crystal import Crystal
from truekev.scale.find_groups import FoundGroups, PeakWidth, find_groups
from truekev.scale.groups import GroupFit
from truekev.scale.light import Pulse
from truekev.scale.locate import LocatedSpectrum, locate
from truekev.scale.position_fit import Place, ShapeFit, fit_places
from truekev.scale.sample import Sample
from truekev.scale.search import MeasuredBackground

__all__ = ["CountedSpectrum", "FittedSpectrum", "PeakFit", "believed", "fit_peaks", "locate_together"]

Array = npt.NDArray[np.float64]
_LEAST_SIGNIFICANCE = 4.0
_WIDTHS_BELIEVED = (0.7, 1.4)
_AREA_BELIEVED = 3.0  # net area within this factor of what the whole shape expects
_ROUNDS = 3
_SAME_GAIN = 0.08  # full scales of one instrument's spectra lie within this of one another
_GAIN_SPREAD = 0.03  # of ln g between spectra of one instrument, where each has its own gain


@dataclass(frozen=True)
class CountedSpectrum:
    """Counts per channel, the measured background (or None), and the sample."""

    counts: Array
    background: MeasuredBackground | None
    sample: Sample


@dataclass(frozen=True)
class FittedSpectrum:
    """One spectrum of a fit: where it was located, its groups, and which of them the fit used."""

    located: LocatedSpectrum
    groups: FoundGroups
    kept: tuple[GroupFit, ...]
    used: tuple[bool, ...]
    pulls: tuple[float, ...]
    width: PeakWidth


@dataclass(frozen=True)
class PeakFit:
    """Shape and gains fitted to the groups of all spectra, with what each spectrum gave."""

    shape: ShapeFit
    spectra: tuple[FittedSpectrum, ...]


def believed(fit: GroupFit) -> bool:
    """Whether a group stands out and looks as it should: a wrong width means that something else is there."""
    low, high = _WIDTHS_BELIEVED
    return (
        fit.significance >= _LEAST_SIGNIFICANCE
        and low < fit.width_factor < high
        and fit.area > fit.group.area / _AREA_BELIEVED
        and fit.area < fit.group.area * _AREA_BELIEVED
    )


def locate_together(spectra: Sequence[CountedSpectrum], crystal: Crystal) -> list[LocatedSpectrum]:
    """Locate every spectrum; the one that locks best tells the others where to look.

    Spectra of one instrument have nearly the same gain, so a spectrum of a single line need not be locked by itself:
    beside the one that leads, other gains are no longer candidates.
    """
    located = [locate(s.counts, s.background, s.sample, crystal) for s in spectra]
    if len(spectra) == 1:
        return located
    anchor = max(range(len(spectra)), key=lambda j: located[j].margin)
    full_scale = spectra[anchor].counts.size / located[anchor].candidates[0].gain
    span = (full_scale * (1.0 - _SAME_GAIN), full_scale * (1.0 + _SAME_GAIN))
    for j, counted in enumerate(spectra):
        if j != anchor:
            near = locate(counted.counts, counted.background, counted.sample, crystal, span)
            located[j] = replace(near, candidates=near.candidates[:1])
    return located


def fit_peaks(spectra: Sequence[CountedSpectrum], crystal: Crystal) -> PeakFit | None:
    """Locate every spectrum, fit its line groups, and fit the light model to their places.

    Rounds of group fits and shape fits follow one another, because a better scale puts better windows.
    None where no line group can be found.
    """
    located = locate_together(spectra, crystal)
    pulses: list[Pulse] = [one.pulse for one in located]
    widths = [PeakWidth(one.width, 0.0) for one in located]
    for _ in range(_ROUNDS):
        found = [
            find_groups(s.counts, s.background, one, pulse, width, s.sample, crystal)
            for s, one, pulse, width in zip(spectra, located, pulses, widths, strict=True)
        ]
        kept = [tuple(f for f in groups.fits if believed(f)) for groups in found]
        places = [
            Place(j, f.group.centroid_kev, f.group.u_centroid_kev, f.channel, f.u_channel)
            for j, fits in enumerate(kept)
            for f in fits
        ]
        if not places:
            return None
        shape = fit_places(crystal.curve, places, pulses, gain_spread=_GAIN_SPREAD if len(spectra) > 1 else None)
        pulses = list(shape.pulses)
        widths = [width.updated(fits) for width, fits in zip(widths, kept, strict=True)]
    results = []
    start = 0
    for one, groups, fits, width in zip(located, found, kept, widths, strict=True):
        part = slice(start, start + len(fits))
        results.append(FittedSpectrum(one, groups, fits, shape.used[part], shape.pulls[part], width))
        start += len(fits)
    return PeakFit(shape, tuple(results))
