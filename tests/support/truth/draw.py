"""The facts behind a simulated spectrum, and how they are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.support.truth.light import Light, draw_light
from tests.support.truth.tables import nuclides
from truekev.errors import UnknownNameError

THORIUM_FROM_RA228 = ("Ra-228", "Ac-228")
THORIUM_FROM_TH228 = ("Th-228", "Ra-224", "Rn-220", "Pb-212", "Bi-212", "Tl-208")
# Activity of Tl-208 per Bi-212: its alpha branch (DDEP, as th232_lines.csv says).
TL208_BRANCH = 0.3593


@dataclass(frozen=True)
class Resolution:
    """FWHM^2 = w0^2 + w1^2 L + w2^2 L^2 in keV of light, and an exponential tail towards low light.

    `tail_fraction` of the events of a peak are pulled down by an exponential of `tail_sigma` standard
    deviations of the peak.
    """

    w0_kev: float
    w1_root_kev: float
    w2: float
    tail_fraction: float
    tail_sigma: float

    def fwhm_kev(self, light_kev: np.ndarray | float) -> np.ndarray:
        """Full width at half maximum [keV of light] without the tail."""
        light = np.maximum(np.asarray(light_kev, float), 0.0)
        return np.asarray(np.sqrt(self.w0_kev**2 + self.w1_root_kev**2 * light + (self.w2 * light) ** 2))


@dataclass(frozen=True)
class Surroundings:
    """Scatter, body and window.

    `back_of_peak`: counts of photons scattered behind the source, over the full-energy peak, for a
    662 keV source. `side` and `forward`: scattered photons per unscattered one at 662 keV.
    `fluorescence`: X-rays of the body per photon that it absorbed. `bremsstrahlung`: photons above
    27 keV per decay of the series, before absorption.
    """

    back_of_peak: float
    side: float
    forward: float
    body: str
    body_mm: float
    window_al_mm: float
    fluorescence: float
    bremsstrahlung: float
    bremsstrahlung_mean_kev: float


@dataclass(frozen=True)
class Room:
    """Radiation of the room: activities (relative), scattered photons per line photon, cosmic share."""

    nuclides: tuple[tuple[str, float], ...]
    scattered_per_line: float
    fall_kev: float
    cut_kev: float
    cosmic_share: float


@dataclass(frozen=True)
class Truth:
    """Everything a simulated spectrum is made of.

    Pulse coordinate of an event of light L [keV]: zero_channel + gain * S(L), where S is the instrument's
    saturation, S = (1 - exp(-2 s L)) / (2 s) with `saturation_per_mev` s; S(L) = L - s L^2 + ...
    `full_scale_kev`: energy of the full-energy peak at the upper edge of the last channel.
    `zero_kev`: light at pulse coordinate 0. `gain_factor` multiplies the gain while the pulse coordinate of
    no light stays (a drift: `replace(truth, gain_factor=1.018)`); `background_gain_factor` comes on top for
    the separate measurement of the room. Both leave `full_scale_kev`, the scale at factor 1, as it is.
    `background_ratio`: room counts over source counts.
    """

    source: str
    nuclides: tuple[tuple[str, float], ...]
    net_counts: float
    light: Light
    saturation_per_mev: float
    resolution: Resolution
    surroundings: Surroundings
    room: Room
    background_ratio: float
    full_scale_kev: float
    zero_kev: float
    n_channels: int
    threshold_kev: float
    threshold_width_kev: float
    overflow_in_last_channel: bool
    live_time_s: float
    background_live_time_s: float | None
    background_gain_factor: float = 1.0
    gain_factor: float = 1.0


_SOURCES = {"thorium", "thorium with radium", "radium", "uranium"}


def source_names() -> tuple[str, ...]:
    """What `draw_truth` takes as source: series by name, and any single nuclide with lines."""
    return (*sorted(_SOURCES), *nuclides())


def _spread(rng: np.random.Generator, low: float, high: float) -> float:
    """Log-uniform where the range spans a decade or more, else uniform."""
    if low > 0 and high / low >= 10:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return float(rng.uniform(low, high))


def thorium_nuclides(activity: float, ra228_over_th228: float) -> tuple[tuple[str, float], ...]:
    """Thorium series as two parts: Ra-228 with Ac-228, and Th-228 with all that follows it."""
    first = tuple((n, activity * ra228_over_th228) for n in THORIUM_FROM_RA228)
    second = tuple((n, activity * (TL208_BRANCH if n == "Tl-208" else 1.0)) for n in THORIUM_FROM_TH228)
    return (("Th-232", activity * max(ra228_over_th228, 1.0)), *first, *second)


def _source_nuclides(
    source: str, ratio: float, rng: np.random.Generator
) -> tuple[tuple[tuple[str, float], ...], str, float]:
    """Activities, body material and its largest thickness [mm]."""
    radium = tuple((n, 1.0) for n in ("Ra-226", "Pb-214", "Bi-214"))
    if source == "thorium":
        material = str(rng.choice(["W", "ThO2"]))
        return thorium_nuclides(1.0, ratio), material, 3.0 if material == "W" else 2.0
    if source == "thorium with radium":
        share = _spread(rng, 0.1, 1.5)
        return (*thorium_nuclides(1.0, ratio), *((n, a * share) for n, a in radium)), "SiO2", 20.0
    if source == "radium":
        return (*radium, ("Pb-210", float(rng.uniform(0, 0.9)))), "SiO2", 5.0
    if source == "uranium":  # chemically pure, natural: U-235 activity 0.046 of U-238
        pure = (("Th-234", 1.0), ("Pa-234m", 1.0), ("U-235", 0.046), ("Th-231", 0.046))
        return pure, "U", 1.0
    if source not in nuclides():
        raise UnknownNameError("source", source, source_names())
    return ((source, 1.0),), "SiO2", 1.0


def draw_resolution(rng: np.random.Generator, fwhm662: float) -> Resolution:
    """Widths that give the relative FWHM `fwhm662` at 662 keV, in drawn shares."""
    width2 = (fwhm662 * 661.657) ** 2
    w0 = float(rng.uniform(1.0, 6.0))
    flat = float(rng.uniform(0.10, 0.45))
    return Resolution(
        w0_kev=w0,
        w1_root_kev=float(np.sqrt((width2 * (1 - flat) - w0**2) / 661.657)),
        w2=float(np.sqrt(width2 * flat) / 661.657),
        tail_fraction=float(rng.uniform(0.0, 0.05)),
        tail_sigma=float(rng.uniform(0.6, 1.5)),
    )


def draw_room(rng: np.random.Generator) -> Room:
    """A room of potassium, radium and thorium in drawn proportions."""
    radium = float(np.exp(rng.normal(0.0, 0.4)))
    thorium = float(np.exp(rng.normal(0.0, 0.4)))
    potassium = 12.0 * float(np.exp(rng.normal(0.0, 0.4)))
    series = tuple((n, radium) for n in ("Ra-226", "Pb-214", "Bi-214"))
    return Room(
        nuclides=(("K-40", potassium), *series, *thorium_nuclides(thorium, 1.0)),
        scattered_per_line=float(rng.uniform(3.0, 7.0)),
        fall_kev=float(rng.uniform(60.0, 120.0)),
        cut_kev=float(rng.uniform(60.0, 110.0)),
        cosmic_share=float(rng.uniform(0.004, 0.02)),
    )


def draw_truth(
    rng: np.random.Generator,
    *,
    source: str = "thorium",
    full_scale_kev: tuple[float, float] = (400.0, 6000.0),
    net_counts: tuple[float, float] = (20_000.0, 2_000_000.0),
    background_ratio: tuple[float, float] = (0.1, 5.0),
    fwhm662: tuple[float, float] = (0.05, 0.12),
    zero_kev: tuple[float, float] = (-20.0, 20.0),
    channels: tuple[int, ...] = (256, 512, 1024, 2048, 4096, 8192),
    ra228_over_th228: tuple[float, float] = (0.3, 1.21),
    saturation_per_mev: tuple[float, float] = (0.0, 0.03),
    with_background: bool = True,
) -> Truth:
    """A truth drawn at random; ranges are log-uniform where they span a decade, else uniform.

    `source`: one of `source_names()`. `net_counts`: counts of the source recorded above threshold and
    within range. `background_ratio`: room counts over those. `with_background`: measure the room too.
    """
    activities, body, thickest = _source_nuclides(source, _spread(rng, *ra228_over_th228), rng)
    series = source in _SOURCES
    live = _spread(rng, 600.0, 86_400.0)
    surroundings = Surroundings(
        back_of_peak=float(rng.uniform(0.1, 0.9)),
        side=float(rng.uniform(0.01, 0.12)),
        forward=float(rng.uniform(0.02, 0.20)),
        body=body,
        body_mm=float(rng.uniform(0.05, 1.0)) * thickest,
        window_al_mm=float(rng.uniform(0.4, 1.2)),
        fluorescence=float(rng.uniform(0.05, 0.3)) if body in ("W", "ThO2") else 0.0,
        bremsstrahlung=float(rng.uniform(0.05, 0.25)) if series else 0.0,
        bremsstrahlung_mean_kev=float(rng.uniform(150.0, 300.0)),
    )
    return Truth(
        source=source,
        nuclides=activities,
        net_counts=_spread(rng, *net_counts),
        light=draw_light(rng),
        saturation_per_mev=float(rng.uniform(*saturation_per_mev)),
        resolution=draw_resolution(rng, float(rng.uniform(*fwhm662))),
        surroundings=surroundings,
        room=draw_room(rng),
        background_ratio=_spread(rng, *background_ratio),
        full_scale_kev=_spread(rng, *full_scale_kev),
        zero_kev=float(rng.uniform(*zero_kev)),
        n_channels=int(rng.choice(channels)),
        threshold_kev=float(rng.uniform(0.0, 40.0)),
        threshold_width_kev=float(rng.uniform(1.0, 6.0)),
        overflow_in_last_channel=bool(rng.random() < 0.5),
        live_time_s=live,
        background_live_time_s=live * _spread(rng, 0.3, 5.0) if with_background else None,
        background_gain_factor=1.0 + float(rng.uniform(-0.005, 0.005)),
    )
