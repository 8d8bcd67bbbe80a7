"""What is in a sample: candidates admitted one by one, each tested given the others, and what speaks for and against.

Four answers, in the words of ISO 11929: recognised; one of several; not recognised, with a limit; unknown at about some
energy. A candidate is recognised when its strength exceeds a threshold so high that, over all candidates together,
spectra without it pass it rarely (docs/validation/identify_backgrounds.md), and no other candidate in its place
explains the counts about as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.samples.candidates import NATURAL, ROOM, candidate, lines_of
from truekev.samples.line_evidence import LineEvidence, line_evidence
from truekev.samples.spectrum_fit import SpectrumFit, fit_spectrum
from truekev.samples.spectrum_model import SpectrumModel

__all__ = ["Identified", "Recognised", "UnknownPeak", "identify_spectrum"]

Array = npt.NDArray[np.float64]

# Standard deviations at which a candidate is tried, and below which it is dropped again; lower for the natural series,
# which are looked for beforehand.
ADMITTED, ADMITTED_NATURAL = 5.0, 4.0
KEPT, KEPT_NATURAL = 4.5, 3.7
ROOM_KEPT = 3.0
UNKNOWN = 6.0
ALIKE = 4.0  # 2 ln L by which another candidate may be worse and still be an answer
_MOST_ADMITTED = 12
_MOST_UNKNOWN = 3
_TRIED = 5
_EXPLAINED_SIGMA = 3.5
_ONE_PEAK = 0.8  # share of a candidate's full-energy counts


@dataclass(frozen=True)
class Recognised:
    """Something recognised.

    Parameters
    ----------
    name : str
    strength, u_strength : float
        In the unit of the candidate.
    deviations : float
        Strength over its standard uncertainty.
    instead : tuple of str
        Other candidates that explain the same counts about as well.
    lines : tuple of LineEvidence
        Its strongest line groups, and what was found there.
    """

    name: str
    strength: float
    u_strength: float
    deviations: float
    instead: tuple[str, ...]
    lines: tuple[LineEvidence, ...]


@dataclass(frozen=True)
class UnknownPeak:
    """A peak that no candidate explains: energy with its standard uncertainty, net counts, deviations."""

    energy_kev: float
    u_energy_kev: float
    net_counts: float
    deviations: float


@dataclass(frozen=True, eq=False)
class Identified:
    """What a spectrum holds.

    Parameters
    ----------
    recognised : tuple of Recognised
        In the order of falling evidence.
    unknown : tuple of UnknownPeak
    fit : SpectrumFit
        The fit with all that was recognised, and the room's parts.
    """

    recognised: tuple[Recognised, ...]
    unknown: tuple[UnknownPeak, ...]
    fit: SpectrumFit


def _least(name: str) -> float:
    return KEPT_NATURAL if name in NATURAL else KEPT


class _Search:
    """Admission, elimination and exchange of candidates in one spectrum."""

    def __init__(self, model: SpectrumModel, allowed: Sequence[str]) -> None:
        self.model = model
        names = model.templates.names
        self.fixed = [name for name in ROOM if name in names and model.data.background is None]
        self.allowed = [name for name in allowed if name not in self.fixed]
        self._rows = [names.index(name) for name in self.allowed]
        self._known: dict[frozenset[str], SpectrumFit] = {}

    def fit(self, names: Sequence[str]) -> SpectrumFit:
        key = frozenset(names)
        if key not in self._known:
            self._known[key] = fit_spectrum(self.model, [*self.fixed, *sorted(names)])
        return self._known[key]

    def scores(self, fit: SpectrumFit) -> dict[str, float]:
        columns = self.model.columns(self._rows, fit.shared)
        return dict(zip(self.allowed, fit.scores(columns).tolist(), strict=True))

    def admitted(self) -> list[str]:
        names: list[str] = []
        refused: set[str] = set()
        fit = self.fit(names)
        while len(names) < _MOST_ADMITTED:
            scores = {n: z for n, z in self.scores(fit).items() if n not in names and n not in refused}
            best = [n for n in scores if scores[n] > (ADMITTED_NATURAL if n in NATURAL else ADMITTED)]
            best = sorted(best, key=lambda n: -scores[n])[:_TRIED]
            if not best:
                break
            tried = {n: self.fit([*names, n]) for n in best}
            good = {n: f for n, f in tried.items() if f.deviations(n) > _least(n)}
            if not good:
                refused.update(best)
                continue
            chosen = min(good, key=lambda n: good[n].misfit)
            names.append(chosen)
            fit = good[chosen]
            names, fit, dropped = self._without_weak(names, fit)
            refused.update(dropped)
        return self._exchanged(names)

    def _without_weak(self, names: list[str], fit: SpectrumFit) -> tuple[list[str], SpectrumFit, list[str]]:
        dropped = []
        while names:
            weakest = min(names, key=lambda n: fit.deviations(n) / _least(n))
            if fit.deviations(weakest) > _least(weakest):
                break
            names = [n for n in names if n != weakest]
            dropped.append(weakest)
            fit = self.fit(names)
        return names, fit, dropped

    def _exchanged(self, names: list[str]) -> list[str]:
        """Replace a candidate by one that explains more in its place, until none does."""
        for _ in range(3):
            changed = False
            for name in list(names):
                others = self.instead(name, names)
                if others and others[0][1] < -1.0:
                    names = [others[0][0] if n == name else n for n in names]
                    changed = True
            if not changed:
                break
        fit = self.fit(names)
        return self._without_weak(names, fit)[0]

    def instead(self, name: str, names: Sequence[str]) -> list[tuple[str, float]]:
        """Candidates in the place of one: by how much worse the spectrum is explained, best first."""
        full = self.fit(names)
        rest = [n for n in names if n != name]
        without = self.fit(rest)
        gained = without.misfit - full.misfit
        scores = self.scores(without)
        own = scores[name] ** 2
        close = [n for n, z in scores.items() if n not in names and z > 0 and z**2 > 0.5 * own - 4.0 * ALIKE]
        close = sorted(close, key=lambda n: -scores[n])[: 2 * _TRIED]
        found = []
        for other in close:
            fit = self.fit([*rest, other])
            if fit.deviations(other) > 0.7 * KEPT:
                found.append((other, gained - (without.misfit - fit.misfit)))
        return sorted(found, key=lambda one: one[1])


def _unknown_peaks(model: SpectrumModel, fit: SpectrumFit, explained: Sequence[float]) -> list[UnknownPeak]:
    """Peaks of full energy alone where no recognised candidate has a strong line, one after another."""
    energy = np.geomspace(40.0, 2800.0, 260)
    reach = np.array([_EXPLAINED_SIGMA * model.sigma_kev(float(e)) for e in energy])
    apart = np.array([all(abs(e - at) > r for at in explained) for e, r in zip(energy, reach, strict=True)], bool)
    energy = energy[apart]
    peaks = model.peak_columns(energy, fit.shared)
    pull, projected = fit.weight @ fit.residual, fit.projected
    found: list[UnknownPeak] = []
    for _ in range(_MOST_UNKNOWN):
        spread = np.einsum("ki,ij,kj->k", peaks, projected, peaks)
        usable = spread > 1e-9 * spread.max(initial=0.0)
        areas = np.where(usable, peaks @ pull / np.where(usable, spread, 1.0), 0.0)
        # With the noise of the peak's own counts: few counts where hardly any are expected are no peak yet.
        scores = areas / np.sqrt(1.0 / np.where(usable, spread, 1.0) + np.maximum(areas, 0.0))
        best = int(scores.argmax()) if scores.size else 0
        if not scores.size or scores[best] < UNKNOWN:
            break
        at = float(energy[best])
        area = float(areas[best])
        u = float(np.hypot(model.sigma_kev(at) / scores[best], model.scale.u_energy_kev(at)))
        found.append(UnknownPeak(at, u, area, float(scores[best])))
        along = projected @ peaks[best]
        pull = pull - area * along
        projected = projected - np.outer(along, along) / spread[best]
        kept = np.abs(energy - at) > reach[apart]
        energy, peaks, reach, apart = energy[kept], peaks[kept], reach[apart][kept], np.ones(kept.sum(), bool)
    return found


def _one_peak(model: SpectrumModel, name: str) -> float | None:
    """Energy of the only peak of a candidate that counts; None where it has several."""
    lines = lines_of(candidate(name))
    areas = lines.rate * model.templates.grid.efficiency(lines.energy_kev)
    at = float(lines.energy_kev[int(areas.argmax())])
    near = np.abs(lines.energy_kev - at) < 2.4 * model.sigma_kev(at)
    return at if areas[near].sum() > _ONE_PEAK * areas.sum() else None


def _same_peak(model: SpectrumModel, one: str, other: str) -> bool:
    """Two candidates of a single peak each at the same place: nothing but its shape could tell them apart."""
    here, there = _one_peak(model, one), _one_peak(model, other)
    return here is not None and there is not None and abs(here - there) < 0.6 * model.sigma_kev(here)


def identify_spectrum(model: SpectrumModel, allowed: Sequence[str]) -> Identified:
    """Find what a spectrum holds among the allowed candidates.

    Parameters
    ----------
    model
        The spectrum with the templates of all candidates (and of the room's parts where there is no background).
    allowed
        Names of candidates.
    """
    search = _Search(model, allowed)
    names = search.admitted()
    fit = search.fit(names)
    recognised = []
    for name in names:
        instead = tuple(
            other for other, worse in search.instead(name, names) if worse < ALIKE or _same_peak(model, name, other)
        )
        z = fit.deviations(name)
        recognised.append(Recognised(name, fit.of(name), fit.u(name), z, instead, line_evidence(model, fit, name)))
    for name in search.fixed:
        z = fit.deviations(name)
        if z > ROOM_KEPT:
            recognised.append(Recognised(name, fit.of(name), fit.u(name), z, (), ()))
    recognised.sort(key=lambda one: -one.deviations)
    explained = [line.energy_kev for one in recognised for line in one.lines]
    return Identified(tuple(recognised), tuple(_unknown_peaks(model, fit, explained)), fit)
