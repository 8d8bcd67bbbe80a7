"""Spectra of things on the shelf as the whole-spectrum model expects them, with Poisson noise: for tests of the fit."""

from __future__ import annotations

from functools import cache

import numpy as np

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.sample import Sample, sample_of
from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.model import N_PULSE, N_SHAPE, design_of
from truekev.scale.whole.parts import parts_of
from truekev.sources.described import resolve_source
from truekev.transport.detector import DEFAULT_DETECTOR

CRYSTAL = crystal_of(DEFAULT_DETECTOR)
SCATTER = scatter_of(DEFAULT_DETECTOR)
ENERGIES = np.array([60.0, 240.0, 583.0, 911.0, 1461.0, 2614.5])
SHAPE = np.zeros(N_SHAPE)
SHAPE[[0, 1, 2]] = -1.5, 0.95, 0.02
SHAPE[N_PULSE:] = np.log(0.08), 0.02, 0.2
LOG_GAIN = float(np.log(330.0))
N = 1024


@cache
def sample(word: str) -> Sample:
    return sample_of([resolve_source(word)], (DEFAULT_DETECTOR.window, DEFAULT_DETECTOR.window_mm))


@cache
def expected(word: str, log_gain: float = LOG_GAIN) -> np.ndarray:
    """Counts per channel for 1 net count."""
    parts = parts_of(sample(word), CRYSTAL, SCATTER, with_room=False)
    data = BinnedSpectrum.bare(np.arange(N + 1, dtype=np.float64) - 0.5)
    columns = design_of(data, parts, SHAPE, log_gain).columns[:, : len(parts.names)]
    strengths = np.zeros(len(parts.names))
    strengths[: parts.n_source] = parts.totals[: parts.n_source]
    scattered = parts.usual > 0
    strengths[scattered] = 0.4 * parts.usual[scattered] * parts.totals[scattered]
    found = columns @ strengths
    return np.asarray(found / found.sum())


def counted(
    word: str, declared: str, counts: float, seed: int, log_gain: float = LOG_GAIN, room_gain: float = 0.0
) -> CountedSpectrum:
    """A count; its background was measured at exp(-`room_gain`) times its gain."""
    rng = np.random.default_rng(seed)
    net = counts * expected(word, log_gain)
    room = 0.2 * counts * expected("room-background", log_gain)
    there = 0.2 * counts * expected("room-background", log_gain - room_gain)
    measured = rng.poisson(3.0 * there) / 3.0
    background = MeasuredBackground(measured, measured / 3.0, 0.05)
    return CountedSpectrum(rng.poisson(net + room).astype(float), background, sample(declared))
