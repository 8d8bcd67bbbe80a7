"""Truths drawn from the priors of the whole-spectrum fit, and spectra counted from them.

The forward model is the program's own, but its responses come from Monte Carlo runs of another seed. What the fit
allows for is drawn: shape of the scale, width, strengths of scatter, of smooth parts and pile-up, the balance of parts,
the background's gain, and the model error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.light import KNOTS_KEV, LightCurve, Pulse, psi_prior_covariance
from truekev.scale.sample import Sample, sample_of
from truekev.scale.search import BACKGROUND_U, MeasuredBackground
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.fit import DELTA
from truekev.scale.whole.model import N_PULSE, N_SHAPE, design_of, pulse_of
from truekev.scale.whole.parts import BELOW_EDGE, SMOOTH, ForwardParts, parts_of
from truekev.scale.whole.prior import PRIOR_MEAN, PRIOR_U, TIE_U, ties_of
from truekev.scale.whole.problem import ROOM_GAIN_U, clipped
from truekev.scale.whole.strengths import LEAST_USUAL, USUAL_PILE_UP, USUAL_SMOOTH
from truekev.scale.whole.weights import model_error
from truekev.sources.described import resolve_source
from truekev.transport.detector import DEFAULT_DETECTOR, Detector
from truekev.transport.node_response import node_response
from truekev.transport.stand import Scatter, scatter_responses

__all__ = [
    "CHANGES",
    "Drawn",
    "Truth",
    "counted_from",
    "draw_truth",
    "other_crystal",
    "other_scatter",
    "sample_named",
    "with_changes",
]

Array = npt.NDArray[np.float64]
_OTHER_SEED = 40_961
CHANGES = ("scatter", "light", "lines", "room gain", "trigger", "edge")
_EDGE_MM = 0.3
_TRIGGER_KEV, _TRIGGER_WIDTH_KEV = 24.0, 3.0
_LINE_U = 0.02


@cache
def other_crystal(detector: Detector = DEFAULT_DETECTOR) -> Crystal:
    """The crystal from runs of another seed than the program's own."""
    response = node_response(detector, relative_u=0.005, seed=_OTHER_SEED)
    curve = LightCurve(detector.name, tuple(response.nodes_kev.tolist()), tuple(response.peak_d_kev.tolist()))
    return Crystal(detector.name, curve, response)


@cache
def other_scatter(detector: Detector = DEFAULT_DETECTOR) -> tuple[Scatter, ...]:
    """What scatters into it, from runs of another seed."""
    return scatter_responses(detector, histories=6_000_000, seed=_OTHER_SEED + 1)


@cache
def sample_named(word: str) -> Sample:
    """The sample of one word, behind the default detector's window."""
    window = (DEFAULT_DETECTOR.window, DEFAULT_DETECTOR.window_mm)
    return sample_of([resolve_source(word)], window)


@cache
def _parts(word: str, edge: int = 0) -> ForwardParts:
    """Parts in the crystal, or in one larger (1) or smaller (-1) by `_EDGE_MM`."""
    if not edge:
        return parts_of(sample_named(word), other_crystal(), other_scatter(), with_room=False)
    side = 10.0 + edge * _EDGE_MM
    crystal = other_crystal(replace(DEFAULT_DETECTOR, size_mm=(side, side, side)))
    # The light curve belongs to the program's crystal, or the scale would move with the size.
    same_curve = Crystal(crystal.name, other_crystal().curve, crystal.response)
    return parts_of(sample_named(word), same_curve, other_scatter(), with_room=False)


@dataclass(frozen=True, eq=False)
class Truth:
    """Everything a spectrum is counted from.

    Parameters
    ----------
    word : str
    shape : ndarray, shape (14,)
    log_gain : float
    strengths : ndarray
        Net counts in each part of the source's spectrum, and in pile-up; they add up to `net_counts`.
    room_share, room_times, room_gain, room_strength : float
        Background counts over net counts; how much longer it was counted; its gain over the source's, less one; what is
        under the spectrum over what was counted in the same time.
    delta : float
        Standard deviation of the model error.
    n_channels : int
    changes, line_changes
        What lies outside the fit's model, and deviates for each line: see `with_changes`.
    """

    word: str
    shape: Array
    log_gain: float
    strengths: Array
    room_share: float
    room_times: float
    room_gain: float
    room_strength: float
    delta: float
    n_channels: int
    net_counts: float
    changes: Mapping[str, float] = field(default_factory=dict)
    line_changes: tuple[float, ...] = ()

    @property
    def pulse(self) -> Pulse:
        """The true ch(E)."""
        return pulse_of(other_crystal().curve, self.shape, self.log_gain)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A counted spectrum with its background, and what was expected in every channel of both."""

    counted: CountedSpectrum
    expected: Array
    expected_background: MeasuredBackground


def _draw_shape(rng: np.random.Generator, fwhm_662: tuple[float, float]) -> Array:
    shape = np.zeros(N_SHAPE)
    while True:
        for index, value in PRIOR_MEAN.items():
            shape[index] = value + PRIOR_U[index] * rng.standard_normal()
        shape[N_PULSE] = np.log(0.08)
        if abs(shape[0]) < 20.0 and np.array_equal(clipped(shape), shape):
            break
    shape[3:N_PULSE] = rng.multivariate_normal(np.zeros(N_PULSE - 3), psi_prior_covariance())
    shape[N_PULSE] = np.log(rng.uniform(*fwhm_662))
    return shape


def draw_truth(
    rng: np.random.Generator,
    *,
    word: str = "thorium-vial",
    n_channels: int = 1024,
    net_counts: float = 20_000.0,
    fwhm_662: tuple[float, float] = (0.065, 0.10),
    full_scale_kev: tuple[float, float] = (2800.0, 3200.0),
    delta: float = DELTA,
) -> Truth:
    """Draw a truth from the priors."""
    sample, parts = sample_named(word), _parts(word)
    while True:
        shape = _draw_shape(rng, fwhm_662)
        unit = pulse_of(parts.curve, shape, 0.0)
        top = rng.uniform(*full_scale_kev)
        light = float(unit.channel(top))
        rising = np.diff(unit.channel(np.geomspace(20.0, 3400.0, 200)))
        if light > 0 and np.all(rising > 0):
            break
    log_gain = float(np.log(n_channels / light))
    k = len(parts.names)
    strengths = np.zeros(k + 2)
    strengths[: parts.n_source] = parts.totals[: parts.n_source]
    tied = {other for _, other, _ in ties_of(sample)}
    for i in range(parts.n_source):
        strengths[i] *= np.exp((TIE_U if i in tied else 0.1) * rng.standard_normal())
    strongest = float((strengths[: parts.n_source] / parts.totals[: parts.n_source]).max())
    for i in range(parts.n_source, k):
        if parts.usual[i] > 0:
            strengths[i] = abs(rng.standard_normal()) * parts.usual[i] * strongest * parts.totals[i]
    total = float(strengths.sum())
    for i in range(k):
        if parts.names[i].startswith(SMOOTH):
            strengths[i] = abs(rng.standard_normal()) * USUAL_SMOOTH * total
        if parts.names[i].endswith(BELOW_EDGE):
            strengths[i] = abs(rng.standard_normal()) * LEAST_USUAL * total
    strengths[k] = abs(rng.standard_normal()) * USUAL_PILE_UP * total
    strengths *= net_counts / strengths.sum()
    return Truth(
        word,
        shape,
        log_gain,
        strengths,
        float(rng.uniform(0.1, 0.6)),
        float(rng.uniform(1.0, 5.0)),
        ROOM_GAIN_U * float(rng.standard_normal()),
        float(np.exp(BACKGROUND_U * rng.standard_normal())),
        delta,
        n_channels,
        net_counts,
    )


def _by_channel(parts: ForwardParts, shape: Array, log_gain: float, strengths: Array, n: int) -> Array:
    edges = np.arange(n + 1, dtype=np.float64) - 0.5
    return np.asarray(
        design_of(BinnedSpectrum.bare(edges), parts, shape, log_gain).columns[:, : len(parts.names)] @ strengths
    )


def _pile_up(spectrum: Array, c0: float, counts: float) -> Array:
    folded = np.convolve(spectrum, spectrum)
    at = np.arange(folded.size) - c0
    inside = np.bincount(np.clip(np.rint(at).astype(int), 0, spectrum.size), folded, spectrum.size + 1)[:-1]
    return np.asarray(inside / folded.sum() * counts, dtype=np.float64)


def _model_error(truth: Truth, rng: np.random.Generator) -> Array:
    """One draw of the factor less one, per channel: the process of `whole.fit.model_error`."""
    middle = np.arange(truth.n_channels, dtype=float)
    light = np.maximum(np.interp(middle, *_light_of(truth)), 1.0)
    u = np.sqrt(light)
    amplitude, length = model_error(u, truth.shape[N_PULSE:], truth.delta)
    # An Ornstein-Uhlenbeck process walks from channel to channel.
    keep = np.exp(-np.diff(u) / length)
    noise = rng.standard_normal(u.size)
    walk = np.empty(u.size)
    walk[0] = noise[0]
    for i in range(1, u.size):
        walk[i] = keep[i - 1] * walk[i - 1] + np.sqrt(1.0 - keep[i - 1] ** 2) * noise[i]
    return np.asarray(amplitude * walk)


def _light_of(truth: Truth) -> tuple[Array, Array]:
    from truekev.scale.templates import nominal_pulse_kev

    energy = np.geomspace(2.0, 3900.0, 900)
    return truth.pulse.channel(energy), nominal_pulse_kev(truth.pulse.curve, energy)


def counted_from(truth: Truth, rng: np.random.Generator) -> Drawn:
    """Count a spectrum and its background."""
    edge = int(np.sign(truth.changes.get("edge", 0.0)))
    parts = _parts(truth.word, edge)
    if truth.line_changes:
        parts = replace(parts, line_area=parts.line_area * np.exp(_LINE_U * np.array(truth.line_changes)))
    n, k = truth.n_channels, len(parts.names)
    net = _by_channel(parts, truth.shape, truth.log_gain, truth.strengths[:k], n)
    net = net + _pile_up(net, truth.pulse.c0, truth.strengths[k])
    net = net * np.maximum(1.0 + _model_error(truth, rng), 0.0)
    room_parts = _parts("room-background")
    at_room = room_parts.totals[: room_parts.n_source].copy()
    room_strengths = np.zeros(len(room_parts.names))
    room_strengths[: room_parts.n_source] = at_room
    for i in range(room_parts.n_source, room_strengths.size):
        if room_parts.names[i].startswith("scattered back, under"):
            room_strengths[i] = room_parts.usual[i] * room_parts.totals[i] * 2.0
        if room_parts.names[i].startswith(SMOOTH):
            room_strengths[i] = 0.2 * at_room.sum()
    room_strengths *= truth.room_share * truth.net_counts / room_strengths.sum()
    room = _by_channel(room_parts, truth.shape, truth.log_gain, room_strengths, n)
    moved = _by_channel(room_parts, truth.shape, truth.log_gain - truth.room_gain, room_strengths, n)
    if "trigger" in truth.changes:
        light = np.interp(np.arange(n, dtype=float), *_light_of(truth))
        threshold = _TRIGGER_KEV * (1.0 + 0.2 * truth.changes["trigger"])
        passed = ndtr((light - threshold) / _TRIGGER_WIDTH_KEV)
        net, room, moved = net * passed, room * passed, moved * passed
    moved = moved / truth.room_strength
    counts = rng.poisson(net + room).astype(float)
    measured = rng.poisson(moved * truth.room_times).astype(float) / truth.room_times
    background = MeasuredBackground(measured, measured / truth.room_times, BACKGROUND_U)
    expected = MeasuredBackground(moved, moved / truth.room_times, BACKGROUND_U)
    return Drawn(CountedSpectrum(counts, background, sample_named(truth.word)), net + room, expected)


def with_changes(truth: Truth, changes: Mapping[str, float], rng: np.random.Generator) -> Truth:
    """The same truth with what the fit's model does not hold; each change from -1 to 1 of its full size.

    scatter: strengths up to half as much again or less, each part for itself; light: a smooth curve of 3 %; lines: 2 %
    of each; room gain: 2 %; trigger: a threshold near 24 keV moved by 20 %; edge: a crystal 0.3 mm larger or smaller.
    """
    shape, strengths, room_gain = truth.shape.copy(), truth.strengths.copy(), truth.room_gain
    parts = _parts(truth.word)
    if "light" in changes:
        turn = 2.0 * np.pi * np.log(KNOTS_KEV / KNOTS_KEV[0]) / np.log(KNOTS_KEV[-1] / KNOTS_KEV[0])
        shape[3:N_PULSE] += 0.03 * changes["light"] * np.sin(turn + rng.uniform(0.0, 2.0 * np.pi))
    if "scatter" in changes:
        of_scatter = np.flatnonzero(parts.usual > 0)
        strengths[of_scatter] *= 1.0 + 0.5 * rng.uniform(-1.0, 1.0, of_scatter.size)
    if "room gain" in changes:
        room_gain = 0.02 * float(np.sign(changes["room gain"]))
    lines = tuple(rng.standard_normal(parts.line_area.size).tolist()) if "lines" in changes else ()
    return replace(
        truth, shape=shape, strengths=strengths, room_gain=room_gain, changes=dict(changes), line_changes=lines
    )
