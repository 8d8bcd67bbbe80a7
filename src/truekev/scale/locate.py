"""Gain and zero of a spectrum whose gain nobody knows: search, then refinement of the best few."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from truekev.scale.crystal import Crystal
from truekev.scale.light import Pulse
from truekev.scale.sample import Sample, joined
from truekev.scale.search import FULL_SCALE_KEV, Candidate, MeasuredBackground, SearchData, prepare, scan, search
from truekev.scale.templates import NOMINAL_S, LineSet, TemplateSet, build_templates, scattered

__all__ = ["Evidence", "LocatedSpectrum", "evidence", "locate", "templates_between", "templates_of"]

Array = npt.NDArray[np.float64]
_FORWARD = "scattered forward"
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

    @property
    def margin(self) -> float:
        """Chi-square by which the next different gain is worse; infinite if there is none."""
        return self.candidates[1].chi2 - self.candidates[0].chi2 if len(self.candidates) > 1 else float("inf")


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
        others = [
            scattered(everything, "scattered back", 110.0, 180.0),
            scattered(everything, _FORWARD, 8.0, 60.0),
            *sample.room,
        ]
        if sample.room:
            others.append(scattered(joined("room", sample.room), "room scattered back", 110.0, 180.0))
        built = build_templates(sample.components, others, crystal.response, crystal.curve, _WIDTHS)
        _TEMPLATE_CACHE[key] = (sample, crystal, built)
    return _TEMPLATE_CACHE[key][2]


def templates_between(templates: TemplateSet, width: float) -> TemplateSet:
    """Templates for one peak width, by linear interpolation between those of `templates`."""
    position = float(np.interp(width, templates.widths, np.arange(templates.widths.size)))
    low = min(int(position), templates.widths.size - 2)
    share = position - low
    mixed = (1.0 - share) * templates.by_place[low] + share * templates.by_place[low + 1]
    return replace(templates, widths=np.array([width]), cumulative=mixed.T[None])


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


def locate(
    counts: Array,
    background: MeasuredBackground | None,
    sample: Sample,
    crystal: Crystal,
    full_scale_kev: tuple[float, float] = FULL_SCALE_KEV,
) -> LocatedSpectrum:
    """Find gain and zero of a spectrum whose gain nobody knows, full scale within a range."""
    templates = templates_of(sample, crystal)
    data = prepare(counts, background)
    coarse = search(data, templates, full_scale_kev=full_scale_kev)
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
    ratios = [(one.c0 + one.gain * p) / max(other.c0 + other.gain * p, 1e-9) for p in (240.0, 911.0)]
    return max(abs(float(np.log(max(ratio, 1e-9)))) for ratio in ratios)


@dataclass(frozen=True)
class Evidence:
    """How much the declared source explains at the best hypothesis.

    Parameters
    ----------
    chi2_without : float
        With scatter, room, smooth parts and the lines below the lowest split, but not the source.
    chi2_with : float
        With the source's components added, each in the ratio of its own lines.
    n_bins : int
        Bins compared.
    n_source_bins : int
        Bins that hold 95 % of the source's own counts.
    purity : float
        Share of the source's counts (its lines above the lowest split) in all that is not measured background.
    """

    chi2_without: float
    chi2_with: float
    n_bins: int
    n_source_bins: int
    purity: float

    @property
    def gained(self) -> float:
        """Fall of chi-square that the source brings."""
        return self.chi2_without - self.chi2_with

    @property
    def ratio(self) -> float:
        """`gained` per bin of the source, over what stays unexplained per bin (at least one)."""
        return self.gained / (max(self.chi2_with / self.n_bins, 1.0) * self.n_source_bins)


def evidence(located: LocatedSpectrum, sample: Sample) -> Evidence:
    """Compare the best hypothesis with and without the source, its lines in their proper ratios.

    The search lets parts of a component float, and adds lines scattered forward; a spectrum of something
    else can be imitated that way, so neither is allowed here.
    """
    best = located.candidates[0]
    kept = templates_between(located.templates, located.width)
    stack = kept.cumulative[0]
    others = [i for i in range(kept.n_source, stack.shape[0]) if kept.names[i] != _FORWARD]
    loose = [i for i, whole in enumerate(sample.wholes) if whole < 0] + others
    whole_rows = {}
    for whole in sorted({w for w in sample.wholes if w >= 0}):
        parts = [i for i, w in enumerate(sample.wholes) if w == whole]
        whole_rows[whole] = kept.totals[parts] @ stack[parts]
    for first, second, most in sample.fed:
        whole_rows[first] = most * whole_rows[first] + whole_rows[second]
    tied = [row / row[-1] for row in whole_rows.values()]
    outcomes = []
    for rows in (stack[loose], np.vstack([*tied, stack[loose]])):
        reduced = replace(kept, cumulative=np.ascontiguousarray(rows[None]))
        outcomes.append(scan(located.data, reduced, np.array([[best.gain, best.c0, 0.0]])))
    (without, _), (with_source, strengths) = outcomes
    of_source = float(strengths[0, : len(tied)].sum())
    everything = max(float(strengths[0, :-1].sum()), 1e-9)
    pulses = np.sqrt(np.maximum((located.data.edges - best.c0) / best.gain, 0.0))
    own = np.sum(
        [amount * np.diff(np.interp(pulses, kept.u, row)) for amount, row in zip(strengths[0], tied, strict=False)],
        axis=0,
    )
    falling = np.cumsum(np.sort(own)[::-1])
    n_source = int(np.searchsorted(falling, 0.95 * falling[-1])) + 1
    return Evidence(
        float(without[0]), float(with_source[0]), located.data.counts.size, n_source, of_source / everything
    )
