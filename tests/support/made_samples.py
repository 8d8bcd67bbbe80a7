"""Invented counts of samples: drawn from the program's own templates, bent by a smooth error and another gain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt

from tests.support.made_scale import made_scale
from truekev.samples.binned import u_of_edges
from truekev.samples.candidates import ROOM
from truekev.samples.component_templates import ComponentTemplates, PeakShape
from truekev.samples.sample_file import POINT_SAMPLE, SampleDescription
from truekev.samples.sample_templates import sample_grid, sample_templates
from truekev.scale.crystal import crystal_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.light import Pulse
from truekev.scale.predicted import energy_of_u
from truekev.spectra.spectrum import Spectrum
from truekev.transport.detector import DEFAULT_DETECTOR

__all__ = ["N_CHANNELS", "N_KNOTS", "made_count", "sample_scale", "templates"]

Array = npt.NDArray[np.float64]
N_CHANNELS = 512
N_KNOTS = 16
# Counts per second and keV of an invented room: smooth, falling; lines come on top.
_ROOM_KEV = (20.0, 60.0, 95.0, 140.0, 250.0, 500.0, 1000.0, 2000.0, 3200.0)
_ROOM_PER_S_KEV = (0.02, 0.035, 0.045, 0.028, 0.006, 8e-4, 2e-4, 2e-5, 4e-6)
_ROOM_BQ = (8000.0, 300.0, 300.0)


@cache
def sample_scale() -> EnergyScale:
    """An energy scale to 3 MeV on 512 channels, of the default detector."""
    pulse = Pulse(crystal_of(DEFAULT_DETECTOR).curve, -0.5, 172.0, 1.0, 0.01)
    scale = made_scale(N_CHANNELS, pulse)
    return replace(scale, detector=DEFAULT_DETECTOR.name, fwhm_662=0.085, fwhm_slope=0.02)


def templates(sample: SampleDescription = POINT_SAMPLE) -> ComponentTemplates:
    """Templates on that scale."""
    scale = sample_scale()
    grid = sample_grid(DEFAULT_DETECTOR, sample, PeakShape(scale.fwhm_662, scale.fwhm_slope))
    return sample_templates(grid, sample, DEFAULT_DETECTOR)


def _room(u: Array, of: ComponentTemplates) -> Array:
    edges = np.clip(energy_of_u(of.grid.curve, u), 0.0, None)
    fine = np.linspace(0.0, 3300.0, 6601)
    density = np.exp(np.interp(fine, _ROOM_KEV, np.log(_ROOM_PER_S_KEV)))
    below = np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(fine))))
    lines = np.array(_ROOM_BQ) @ of.main[int(of.bare), [of.names.index(name) for name in ROOM]]
    return np.asarray(np.diff(np.interp(edges, fine, below) + np.interp(u, of.u, lines)))


def made_count(
    strengths: Mapping[str, float],
    time_s: float,
    rng: np.random.Generator,
    *,
    sample: SampleDescription = POINT_SAMPLE,
    gain: float = 1.0,
    wrong: float = 0.0,
    back: float = 1.0,
    forward: float = 0.5,
    wider: float = 0.0,
    tilt: float = 0.0,
    room: float = 1.0,
    room_wrong: Array | None = None,
) -> Spectrum:
    """A drawn spectrum.

    Parameters
    ----------
    strengths
        Candidate to its strength [Bq].
    time_s, rng
        Live time, and where the counts come from.
    sample, gain, wrong, back, room
        Which templates; gain over that of `sample_scale`; size of a smooth relative error of what the sample makes;
        scattering by surroundings; strength of the room.
    forward, wider, tilt
        Further scattering; relative change of the peak widths, and its growth with ln of energy.
    room_wrong
        Relative error of the room at `N_KNOTS` places from the lowest to the highest channel.
    """
    of, scale = templates(sample), sample_scale()
    edges = np.arange(N_CHANNELS + 1, dtype=np.float64) - 0.5
    u = u_of_edges(scale.with_gain(gain, scale.covariance), edges)
    stack = np.zeros(of.u.size)
    for name, strength in strengths.items():
        i = of.names.index(name)
        at = int(of.bare), i
        stack += strength * (of.main[at] + back * of.back[at] + forward * of.forward[at])
        stack += strength * (wider * of.wider[at] + tilt * of.tilted[at])
    counts = np.diff(np.interp(u, of.u, stack))
    knots = np.linspace(u[0], u[-1], N_KNOTS)
    middle = 0.5 * (u[1:] + u[:-1])
    if wrong:
        counts = counts * np.exp(wrong * np.interp(middle, knots, rng.standard_normal(N_KNOTS)))
    of_room = room * _room(u, of)
    if room_wrong is not None:
        of_room = of_room * np.exp(np.interp(middle, knots, room_wrong))
    expected = time_s * (counts + of_room)
    expected[:2] = 0.0
    return Spectrum(rng.poisson(expected).astype(np.float64), live_time_s=time_s, file="made up")
