"""Rivals of a lock: other gains, other sources, and no source at all, each given its best whole-spectrum fit.

All are fitted on the same bins, so that their likelihoods can be compared; see `fit.WholeFit.deviance`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import FitError, RefusedError, TruekevError
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.light import Pulse
from truekev.scale.locate import LocatedSpectrum, locate
from truekev.scale.sample import Sample, sample_of
from truekev.scale.search import Candidate
from truekev.scale.templates import NOMINAL_S
from truekev.scale.whole.bins import BinnedSpectrum, channel_range, merged
from truekev.scale.whole.fit import WholeFit, fit_whole
from truekev.scale.whole.fit_start import kept_parts, shape_from
from truekev.scale.whole.parts import without_source
from truekev.scale.whole.prior import shape_prior, ties_of
from truekev.scale.whole.strengths import Start
from truekev.sources.described import resolve_source
from truekev.transport.stand import Scatter

__all__ = ["GOOD", "Hypothesis", "Rivals", "other_samples", "rivals_of", "with_other_sources"]

Array = npt.NDArray[np.float64]

_GAINS = 4  # candidates of the search that get a fit of their own
_GAINS_OF_OTHERS = 2
_SAME_GAIN = 0.035
_TRIED_ROUNDS = 14  # enough to be compared
# What is found on the same shelves and could be taken for one another.
_OTHERS = ("thorium-vial", "radium-dial", "uranium-glass", "Cs-137", "K-40", "Eu-152", "Am-241")
# In -2 ln L: what the source brings, and how far the next gain is behind. Clear of both, with a good fit, no other
# source needs to be tried.
_CLEAR, _CLEAR_MARGIN = 400.0, 100.0
GOOD = 1.3  # cost per bin of a good fit


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One explanation of a spectrum: its name, its fit, and -2 ln L."""

    name: str
    fit: WholeFit
    cost: float

    @property
    def pulse(self) -> Pulse:
        """ch(E) of the fit."""
        return self.fit.spectra[0].pulse


@dataclass(frozen=True, eq=False)
class Rivals:
    """The declared source at its best gain, and what else was tried.

    Parameters
    ----------
    best : Hypothesis
    other_gain : Hypothesis or None
        The declared source at the next best gain.
    other_source : Hypothesis or None
        The best of other common sources, at any gain.
    nothing : Hypothesis
        Room, scatter and smooth parts only, on the scale of the best.
    data : BinnedSpectrum
        The bins that all were fitted on.
    """

    best: Hypothesis
    other_gain: Hypothesis | None
    other_source: Hypothesis | None
    nothing: Hypothesis
    data: BinnedSpectrum

    def behind(self, other: Hypothesis | None) -> float:
        """How far a rival is behind the best, in -2 ln L; infinite where there is none."""
        return float("inf") if other is None else other.cost - self.best.cost


_OTHER_SAMPLES: dict[int, tuple[Sample, tuple[Sample, ...]]] = {}


def other_samples(sample: Sample) -> tuple[Sample, ...]:
    """Other sources that share no nuclide with the declared one; nor do their room lines."""
    if id(sample) not in _OTHER_SAMPLES:
        own = {maker for part in sample.components for maker in part.makers}
        found = []
        for word in _OTHERS:
            other = sample_of([resolve_source(word)], sample.window)
            makers = {maker for part in other.components for maker in part.makers}
            if not own & makers:
                room = tuple(lines for lines in other.room if not own & set(lines.makers))
                found.append(replace(other, room=room))
        _OTHER_SAMPLES[id(sample)] = (sample, tuple(found))
    return _OTHER_SAMPLES[id(sample)][1]


def _pulse(crystal: Crystal, candidate: Candidate) -> Pulse:
    return Pulse(crystal.curve, candidate.c0, candidate.gain * 1e3, 1.0, NOMINAL_S)


def _tried(
    name: str,
    data: BinnedSpectrum,
    sample: Sample,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    pulse: Pulse,
    width: float,
) -> Hypothesis | None:
    parts = kept_parts(sample, crystal, scatter, with_room=data.room is None)
    start = Start(data, parts, float(np.log(pulse.gain)), ties_of(sample))
    try:
        fit = fit_whole([start], shape_prior(), shape_from(pulse, width), most_rounds=_TRIED_ROUNDS)
    except FitError:
        return None
    return Hypothesis(name, fit, fit.deviance)


def rivals_of(
    counted: CountedSpectrum, located: LocatedSpectrum, crystal: Crystal, scatter: Sequence[Scatter]
) -> Rivals:
    """Fit the declared source at the best gains of the search, other sources at theirs, and no source.

    Raises
    ------
    FitError
        No fit of the declared source settles.
    RefusedError
        Too few channels.
    """
    sample = counted.sample
    candidates = located.candidates[:_GAINS]
    pulses = [_pulse(crystal, c) for c in candidates]
    ranges = [channel_range(counted.counts, p) for p in pulses]
    first = max(low for low, _ in ranges)
    last = min(high for _, high in ranges)
    try:
        data = merged(counted.counts, counted.background, pulses[0], located.width, (first, last))
    except RefusedError:
        data = merged(counted.counts, counted.background, pulses[0], located.width)
    found = [
        _tried(sample.name, data, sample, crystal, scatter, pulse, candidate.width)
        for pulse, candidate in zip(pulses, candidates, strict=True)
    ]
    own = sorted((h for h in found if h is not None), key=lambda h: h.cost)
    if not own:
        raise FitError("the fit of the whole spectrum does not settle.")
    best = own[0]
    apart = [h for h in own[1:] if abs(_log_ratio(h.pulse, best.pulse)) > _SAME_GAIN]
    bare = without_source(kept_parts(sample, crystal, scatter, with_room=data.room is None))
    shape = best.fit.shape
    start = Start(data, bare, best.fit.spectra[0].log_gain)
    nothing = fit_whole([start], replace(shape_prior(), mean=shape), shape, most_rounds=_TRIED_ROUNDS)
    without = Hypothesis("no source", nothing, nothing.deviance)
    rivals = Rivals(best, apart[0] if apart else None, None, without, data)
    clear = (
        rivals.behind(without) > _CLEAR
        and rivals.behind(rivals.other_gain) > _CLEAR_MARGIN
        and best.fit.cost < GOOD * data.counts.size
    )
    return rivals if clear else with_other_sources(rivals, counted, crystal, scatter)


def with_other_sources(
    rivals: Rivals, counted: CountedSpectrum, crystal: Crystal, scatter: Sequence[Scatter]
) -> Rivals:
    """The same with the best of other common sources: where the fit of the declared one is not clearly good."""
    found = []
    data = rivals.data
    for other in other_samples(counted.sample):
        try:
            elsewhere = locate(counted.counts, counted.background, other, crystal)
        except TruekevError:
            continue
        for candidate in elsewhere.candidates[:_GAINS_OF_OTHERS]:
            one = _tried(other.name, data, other, crystal, scatter, _pulse(crystal, candidate), candidate.width)
            if one is not None:
                found.append(one)
    return replace(rivals, other_source=min(found, key=lambda h: h.cost)) if found else rivals


def _log_ratio(one: Pulse, other: Pulse) -> float:
    """How far two scales are apart at 300 keV."""
    return float(np.log(max(float(one.channel(300.0)), 1e-9) / max(float(other.channel(300.0)), 1e-9)))
