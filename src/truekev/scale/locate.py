"""Gain and zero of a spectrum whose gain nobody knows: search, then refinement of the best few."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from truekev.scale.crystal import Crystal
from truekev.scale.light import Pulse
from truekev.scale.sample import Sample
from truekev.scale.search import Candidate, SearchData, prepare, scan, search
from truekev.scale.templates import NOMINAL_S, LineSet, TemplateSet, backscattered, build_templates

__all__ = ["LocatedSpectrum", "locate", "templates_between", "templates_of", "without_source"]

Array = npt.NDArray[np.float64]
_WIDTHS = (0.05, 0.065, 0.085, 0.11, 0.14)


@dataclass(frozen=True)
class LocatedSpectrum:
    """A spectrum with its gain found.

    Parameters
    ----------
    pulse : Pulse
        Nominal ch(E) of the best hypothesis.
    width : float
        FWHM/E at 661.655 keV.
    candidates : tuple of Candidate
        Refined hypotheses, best first.
    data : SearchData
        The merged counts that were searched.
    templates : TemplateSet
        The templates used.
    """

    pulse: Pulse
    width: float
    candidates: tuple[Candidate, ...]
    data: SearchData
    templates: TemplateSet


_TEMPLATE_CACHE: dict[tuple[int, int], tuple[Sample, Crystal, TemplateSet]] = {}


def templates_of(sample: Sample, crystal: Crystal) -> TemplateSet:
    """The templates of a sample in a crystal, kept for the next spectrum of the same pair."""
    key = (id(sample), id(crystal))
    if key not in _TEMPLATE_CACHE:
        everything = LineSet(
            "all",
            np.concatenate([c.energy_kev for c in sample.components]),
            np.concatenate([c.rate for c in sample.components]),
        )
        others = [backscattered(everything), *sample.room]
        built = build_templates(sample.components, others, crystal.response, crystal.curve, _WIDTHS)
        _TEMPLATE_CACHE[key] = (sample, crystal, built)
    return _TEMPLATE_CACHE[key][2]


def templates_between(templates: TemplateSet, width: float) -> TemplateSet:
    """Templates for one peak width, by linear interpolation between those of `templates`."""
    position = float(np.interp(width, templates.widths, np.arange(templates.widths.size)))
    low = min(int(position), templates.widths.size - 2)
    share = position - low
    mixed = (1.0 - share) * templates.cumulative[low] + share * templates.cumulative[low + 1]
    return replace(templates, widths=np.array([width]), cumulative=mixed[None])


def _refine(data: SearchData, templates: TemplateSet, candidate: Candidate) -> Candidate:
    """Improve gain, zero and width of a candidate continuously."""

    def unpack(x: Array) -> tuple[float, float, float]:
        gain = candidate.gain * float(np.exp(0.02 * x[0]))
        zero_kev = float(np.clip(-candidate.c0 / candidate.gain + 8.0 * x[1], -25.0, 25.0))
        return gain, -zero_kev * gain, float(np.clip(candidate.width * np.exp(0.15 * x[2]), 0.045, 0.15))

    def cost(x: Array) -> float:
        gain, c0, width = unpack(x)
        chi2, _ = scan(data, templates_between(templates, width), np.array([[gain, c0, 0.0]]))
        return float(chi2[0]) + (c0 / gain / 12.0) ** 2

    simplex = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    found = minimize(
        cost,
        np.zeros(3),
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxfev": 120, "xatol": 0.02, "fatol": 0.1},
    )
    gain, c0, width = unpack(found.x)
    _, strengths = scan(data, templates_between(templates, width), np.array([[gain, c0, 0.0]]))
    return Candidate(gain, c0, width, float(found.fun), strengths[0])


def locate(counts: Array, background: Array | None, sample: Sample, crystal: Crystal) -> LocatedSpectrum:
    """Find gain and zero of a spectrum whose gain nobody knows."""
    templates = templates_of(sample, crystal)
    data = prepare(counts, background)
    coarse = search(data, templates)
    refined = sorted((_refine(data, templates, c) for c in coarse[:6]), key=lambda c: c.chi2)
    different: list[Candidate] = []
    for candidate in refined:
        if all(_apart(candidate, other) > 0.04 for other in different):
            different.append(candidate)
    best = different[0]
    pulse = Pulse(crystal.curve, best.c0, best.gain * 1e3, 1.0, NOMINAL_S)
    return LocatedSpectrum(pulse, best.width, tuple(different), data, templates)


def _apart(one: Candidate, other: Candidate) -> float:
    """Largest relative difference of two candidates' scales, seen at light of 239 and 911 keV."""
    return max(
        abs(np.log((one.c0 + one.gain * light) / max(other.c0 + other.gain * light, 1e-9))) for light in (240.0, 911.0)
    )


def without_source(located: LocatedSpectrum) -> float:
    """Chi-square of the best hypothesis with the source's own components left out."""
    best = located.candidates[0]
    kept = templates_between(located.templates, located.width)
    rest = replace(kept, cumulative=np.ascontiguousarray(kept.cumulative[:, kept.n_source :]), n_source=0)
    chi2, _ = scan(located.data, rest, np.array([[best.gain, best.c0, 0.0]]))
    return float(chi2[0] + (best.c0 / best.gain / 12.0) ** 2)
