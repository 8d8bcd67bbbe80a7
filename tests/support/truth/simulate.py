"""From a truth to counts: light, smearing, channels, Poisson noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, ndtr

from tests.support.truth.draw import Resolution, Truth
from tests.support.truth.response import CENTRES_KEV, ESCAPING_XRAY_SHARES, ESCAPING_XRAYS_KEV, compton_edge_kev
from tests.support.truth.surroundings import (
    DEPOSIT_KEV,
    bremsstrahlung_flux,
    check_response,
    escape_from_body,
    flux_deposits,
    nuclide_line_set,
    room_continuum_flux,
    scattered_flux,
    through_window,
)
from tests.support.truth.tables import Array
from truekev.spectra.spectrum import Spectrum

_SIGMA_PER_FWHM = 1 / 2.3548200450309493
_EDGES_PER_SIGMA = 5
_BELOW, _ABOVE = 60, 32  # window of a smeared event in internal edges (12 and 6.4 standard deviations)
_COSMIC_KEV: Array = np.geomspace(20.0, 12_000.0, 160)  # deposits of cosmic rays


@dataclass
class Events:
    """Events before smearing: discrete light values, and the continuum on the deposit bins.

    `lines`: list of (light [keV], weight) arrays; `single`, `several`: weights per deposit bin.
    """

    lines: list[tuple[Array, Array]]
    single: Array
    several: Array


@dataclass(frozen=True)
class Simulated:
    """A simulated measurement and its truth.

    `expected_source`, `expected_room`: noise-free counts per channel in the spectrum (with threshold
    and overflow); their sum is the mean of `spectrum.counts`.
    """

    spectrum: Spectrum
    background: Spectrum | None
    truth: Truth
    expected_source: Array
    expected_room: Array

    def true_channel(self, energy_kev: npt.ArrayLike) -> Array:
        """Pulse coordinate of the centre of a full-energy peak (channel i covers [i - 1/2, i + 1/2))."""
        return true_channel(self.truth, energy_kev)


# ---- pulse coordinate


def _saturated(truth: Truth, light_kev: npt.ArrayLike) -> Array:
    light = np.asarray(light_kev, float)
    s = truth.saturation_per_mev / 1000
    if s == 0:
        return light
    return np.asarray(-np.expm1(-2 * s * light) / (2 * s))


def _gain_and_zero(truth: Truth) -> tuple[float, float]:
    """Channels per keV of saturated light, and pulse coordinate of no light."""
    top = float(_saturated(truth, truth.light.of_photon(truth.full_scale_kev)))
    zero = float(_saturated(truth, truth.zero_kev))
    gain = (truth.n_channels - 0.5) / (top - zero)
    return gain * truth.gain_factor, -zero * gain


def channel_of_light(truth: Truth, light_kev: npt.ArrayLike) -> Array:
    """Pulse coordinate of an event of given light."""
    gain, zero = _gain_and_zero(truth)
    return zero + gain * _saturated(truth, light_kev)


def true_channel(truth: Truth, energy_kev: npt.ArrayLike) -> Array:
    """Pulse coordinate of the centre of the full-energy peak at `energy_kev`."""
    return channel_of_light(truth, truth.light.of_photon(energy_kev))


# ---- events


def _back_scatter_photons(truth: Truth) -> float:
    """Back-scattered photons per unscattered one at 662 keV that give the wanted share of the peak."""
    flux = scattered_flux(661.657, "back")
    mean = float(flux @ CENTRES_KEV / flux.sum())
    return truth.surroundings.back_of_peak * check_response(661.657).full_energy / check_response(mean).total


def _add_nuclide(events: Events, truth: Truth, nuclide: str, activity: float, *, from_source: bool) -> Array:
    """Adds a nuclide's events; returns the photons per line that the source's body kept back."""
    lines = nuclide_line_set(nuclide)
    around = truth.surroundings
    born = activity * lines.per_decay
    window = through_window(around.window_al_mm, lines.energy_kev)
    if from_source:
        leaving = born * escape_from_body(around.body, around.body_mm, lines.energy_kev)
        scatter = {"back": _back_scatter_photons(truth), "side": around.side, "forward": around.forward}
    else:  # the room's scattered photons are its continuum
        leaving, scatter = born, {}
    weight = leaving * window
    light, energy = truth.light, lines.energy_kev
    events.lines.append((light.of_photon(energy), weight * lines.full_energy))
    for xray, share in zip(ESCAPING_XRAYS_KEV, ESCAPING_XRAY_SHARES, strict=True):
        events.lines.append((light.of_xray_escape(energy, xray), weight * lines.xray_escape * share))
    pair = lines.double_escape > 0
    if pair.any():
        events.lines.append((light.of_single_escape(energy[pair]), (weight * lines.single_escape)[pair]))
        events.lines.append((light.of_double_escape(energy[pair]), (weight * lines.double_escape)[pair]))
    events.single += weight @ lines.direct.single
    events.several += weight @ lines.direct.several
    for where, strength in scatter.items():
        events.single += strength * (leaving @ lines.scattered[where].single)
        events.several += strength * (leaving @ lines.scattered[where].several)
    return np.asarray(born - leaving)


def _empty() -> Events:
    return Events([], np.zeros(DEPOSIT_KEV.size), np.zeros(DEPOSIT_KEV.size))


def source_events(truth: Truth) -> Events:
    """Events of the source, per decay of unit activity."""
    events, around = _empty(), truth.surroundings
    kept_above_k = 0.0
    k_edge = {"W": 69.5, "ThO2": 109.65}.get(around.body, np.inf)
    for nuclide, activity in truth.nuclides:
        kept = _add_nuclide(events, truth, nuclide, activity, from_source=True)
        kept_above_k += float(kept[nuclide_line_set(nuclide).energy_kev > k_edge].sum())
    if around.fluorescence > 0:
        name = {"W": "W X-rays", "ThO2": "Th X-rays"}[around.body]
        _add_nuclide(events, truth, name, around.fluorescence * kept_above_k, from_source=True)
    if around.bremsstrahlung > 0:
        flux = around.bremsstrahlung * bremsstrahlung_flux(around.bremsstrahlung_mean_kev)
        energy = np.maximum(CENTRES_KEV, 20.0)
        flux = flux * escape_from_body(around.body, around.body_mm, energy)
        _add_flux(events, flux * through_window(around.window_al_mm, energy))
    return events


def _add_flux(events: Events, flux: Array) -> None:
    deposits = flux_deposits(flux)
    events.single += deposits.single
    events.several += deposits.several


def room_events(truth: Truth) -> Events:
    """Events of the room: its lines, the photons scattered on their way, cosmic rays."""
    events, room = _empty(), truth.room
    photons = 0.0
    for nuclide, activity in room.nuclides:
        _add_nuclide(events, truth, nuclide, activity, from_source=False)
        photons += activity * float(nuclide_line_set(nuclide).per_decay.sum())
    continuum = room_continuum_flux(room.fall_kev, room.cut_kev)
    window = through_window(truth.surroundings.window_al_mm, np.maximum(CENTRES_KEV, 20.0))
    _add_flux(events, photons * room.scattered_per_line * continuum * window)
    total = events.single.sum() + events.several.sum() + sum(float(w.sum()) for _, w in events.lines)
    # Muons lose about 5 to 6 MeV in 10 mm; corners and secondaries fill the range below (shape from memory).
    cosmic = np.exp(-_COSMIC_KEV / 1500.0) + 0.25 * np.exp(-0.5 * ((_COSMIC_KEV - 5800.0) / 1200.0) ** 2)
    cosmic *= np.gradient(_COSMIC_KEV)
    events.lines.append((truth.light.of_electron(_COSMIC_KEV), cosmic / cosmic.sum() * total * room.cosmic_share))
    return events


# ---- smearing


class _Smearing:
    """Cumulative distributions of smeared events on internal edges spaced by a fifth of a standard
    deviation; between edges a cubic with exact slopes.
    """

    def __init__(self, resolution: Resolution, highest_kev: float) -> None:
        self.resolution = resolution
        grid = np.concatenate([np.linspace(0.0, 200.0, 400, endpoint=False), np.geomspace(200.0, highest_kev, 600)])
        sigma = self.sigma(grid)
        units = np.concatenate([[0.0], np.cumsum(np.diff(grid) * 2 / (sigma[:-1] + sigma[1:]))]) * _EDGES_PER_SIGMA
        first = self.sigma(np.zeros(1))[0] / _EDGES_PER_SIGMA
        below = np.arange(-_BELOW - 2, 0) * first
        inside = np.interp(np.arange(0, int(units[-1])), units, grid)
        last = self.sigma(np.array([highest_kev]))[0] / _EDGES_PER_SIGMA
        above = inside[-1] + np.arange(1, _ABOVE + 3) * last
        self.edges: Array = np.concatenate([below, inside, above])

    def sigma(self, light_kev: Array) -> Array:
        return np.asarray(np.maximum(self.resolution.fwhm_kev(light_kev), 0.5) * _SIGMA_PER_FWHM)

    def smear(self, light_kev: Array, weights: list[Array]) -> list[tuple[Array, Array]]:
        """For each row of weights: counts below every edge, and counts per keV at every edge."""
        light = np.clip(light_kev, 0.0, self.edges[-_ABOVE - 3])
        start = np.searchsorted(self.edges, light) - _BELOW
        index = start[:, None] + np.arange(_BELOW + _ABOVE)[None, :]
        sigma = self.sigma(light)[:, None]
        z = (self.edges[index] - light[:, None]) / sigma
        cumulative = ndtr(z)
        density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
        fraction, tau = self.resolution.tail_fraction, self.resolution.tail_sigma
        if fraction > 0:
            fall = np.exp(np.minimum(z / tau + 0.5 / tau**2 + log_ndtr(-(z + 1 / tau)), 0.0))
            cumulative = cumulative + fraction * fall
            density = (1 - fraction) * density + fraction * fall / tau
        density = density / sigma
        cumulative[:, 0], cumulative[:, -1] = 0.0, 1.0
        density[:, 0] = density[:, -1] = 0.0
        steps = np.diff(cumulative, axis=1)
        n = self.edges.size
        results = []
        for weight in weights:
            mass = np.bincount(index[:, 1:].ravel(), (weight[:, None] * steps).ravel(), minlength=n)
            slope = np.bincount(index.ravel(), (weight[:, None] * density).ravel(), minlength=n)
            results.append((np.cumsum(mass).astype(float), slope.astype(float)))
        return results

    def below(self, at_kev: Array, smeared: tuple[Array, Array]) -> Array:
        """Counts below any light, by cubic interpolation."""
        cumulative, slope = smeared
        x = np.clip(at_kev, self.edges[0], self.edges[-1])
        i = np.clip(np.searchsorted(self.edges, x, side="right") - 1, 0, self.edges.size - 2)
        h = self.edges[i + 1] - self.edges[i]
        t = (x - self.edges[i]) / h
        a, b = cumulative[i], cumulative[i + 1]
        return np.asarray(
            a * (1 + 2 * t) * (1 - t) ** 2
            + b * t**2 * (3 - 2 * t)
            + h * (slope[i] * t * (1 - t) ** 2 - slope[i + 1] * t**2 * (1 - t))
        )


def _gathered(parts: tuple[Events, Events], truth: Truth) -> tuple[Array, list[Array]]:
    """All light values once, with the weights of source and room."""
    light = [truth.light.of_electron(DEPOSIT_KEV), truth.light.of_photon(DEPOSIT_KEV)]
    weights: list[list[Array]] = [[events.single, events.several] for events in parts]
    for which, events in enumerate(parts):
        values = np.concatenate([v for v, _ in events.lines])
        mass = np.concatenate([w for _, w in events.lines])
        seen = mass > 1e-7 * mass.max()
        light.append(values[seen])
        for other in range(2):
            weights[other].append(mass[seen] if other == which else np.zeros(int(seen.sum())))
    return np.concatenate(light), [np.concatenate(w) for w in weights]


def _light_at_edges(truth: Truth, gain_factor: float) -> Array:
    """Light [keV] at the channel edges; edges above the saturation's ceiling are infinite."""
    gain, zero = _gain_and_zero(truth)
    pulse = (np.arange(truth.n_channels + 1) - 0.5 - zero) / (gain * gain_factor)
    s = truth.saturation_per_mev / 1000
    if s == 0:
        return np.asarray(pulse)
    inside = 1 - 2 * s * pulse
    return np.asarray(np.where(inside > 0, -np.log(np.maximum(inside, 1e-300)) / (2 * s), np.inf))


def _channels(truth: Truth, smearing: _Smearing, smeared: tuple[Array, Array], gain_factor: float) -> Array:
    edges = _light_at_edges(truth, gain_factor)
    below = smearing.below(edges, smeared)
    counts = np.maximum(np.diff(below), 0.0)
    middle = (edges[:-1] + np.minimum(edges[1:], 1e9)) / 2
    # The trigger is a height of pulse: at a higher gain it lies at less light.
    threshold_kev = truth.threshold_kev / (truth.gain_factor * gain_factor)
    counts = counts * ndtr((middle - threshold_kev) / truth.threshold_width_kev)
    if truth.overflow_in_last_channel:
        counts[-1] += max(smeared[0][-1] - below[-1], 0.0)
    return np.asarray(counts)


@dataclass(frozen=True)
class Expected:
    """Noise-free counts per channel: source, room, and the separate measurement of the room."""

    source: Array
    room: Array
    background: Array | None


def expected_counts(truth: Truth) -> Expected:
    """Noise-free counts of a truth."""
    parts = (source_events(truth), room_events(truth))
    light, weights = _gathered(parts, truth)
    smearing = _Smearing(truth.resolution, 13_000.0)
    source_smeared, room_smeared = smearing.smear(light, weights)
    source = _channels(truth, smearing, source_smeared, 1.0)
    room = _channels(truth, smearing, room_smeared, 1.0)
    last = -1 if truth.overflow_in_last_channel else None
    source_scale = truth.net_counts / source[:last].sum()
    room_scale = truth.net_counts * truth.background_ratio / room[:last].sum()
    background = None
    if truth.background_live_time_s is not None:
        scale = room_scale * truth.background_live_time_s / truth.live_time_s
        background = scale * _channels(truth, smearing, room_smeared, truth.background_gain_factor)
    return Expected(source * source_scale, room * room_scale, background)


def simulate_spectrum(truth: Truth, rng: np.random.Generator) -> Simulated:
    """One measurement of the truth with Poisson noise; about 20 ms after the first call (some 2 s)."""
    expected = expected_counts(truth)
    spectrum = Spectrum(
        counts=rng.poisson(expected.source + expected.room).astype(float),
        live_time_s=truth.live_time_s,
        title=f"simulated: {truth.source}",
    )
    background = None
    if expected.background is not None:
        background = Spectrum(
            counts=rng.poisson(expected.background).astype(float),
            live_time_s=truth.background_live_time_s,
            title="simulated: room",
        )
    return Simulated(spectrum, background, truth, expected.source, expected.room)


def compton_edge_channel(truth: Truth, energy_kev: float) -> float:
    """Pulse coordinate of the Compton edge of a line (one electron's light)."""
    return float(channel_of_light(truth, truth.light.of_electron(compton_edge_kev(energy_kev))))
