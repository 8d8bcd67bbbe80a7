"""What stands around source and crystal: scattering, the source's own body, the crystal's housing, the room.

Everything is a photon flux that enters the crystal's response: lines keep their energy, scattered
photons form a continuous spectrum on the common 2 keV bins.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.support.truth.response import (
    CENTRES_KEV,
    ESCAPING_XRAY_SHARES,
    ESCAPING_XRAYS_KEV,
    M_E_KEV,
    N_BINS,
    Response,
    response,
)
from tests.support.truth.tables import Array, attenuation_cm2_g, nuclide_lines

HIGHEST_KEV = 2700.0
_LOWEST_BIN, _HIGHEST_BIN = 13, 1350  # photons of 27 to 2699 keV

# Coarser bins for everything downstream: 2 keV below 400, 4 below 1200, 8 above.
BIN_STARTS = np.concatenate([np.arange(0, 200), np.arange(200, 600, 2), np.arange(600, N_BINS, 4)])
_BIN_SIZES = np.diff(np.append(BIN_STARTS, N_BINS))
DEPOSIT_KEV: Array = np.asarray(np.add.reduceat(CENTRES_KEV, BIN_STARTS) / _BIN_SIZES, dtype=np.float64)

# Angles [degree] of scattering: in source, window and housing; at the sides; behind the source.
ANGLES_DEG = {"forward": (5.0, 50.0), "side": (50.0, 120.0), "back": (120.0, 180.0)}


def merged(values: Array) -> Array:
    """Sums over the coarser bins, along the last axis."""
    return np.asarray(np.add.reduceat(values, BIN_STARTS, axis=-1))


def _scattered_kev(energy_kev: float, angle_deg: Array) -> Array:
    return np.asarray(energy_kev / (1 + energy_kev / M_E_KEV * (1 - np.cos(np.radians(angle_deg)))))


def scattered_flux(energy_kev: float, where: str) -> Array:
    """Spectrum of photons scattered once into the angles of `where`, per photon of `energy_kev`: bins of
    2 keV. Sum: share of the Klein-Nishina cross section, relative to the same share at 662 keV.
    """
    return np.asarray(_once_scattered(energy_kev, where) / _once_scattered(661.657, where).sum())


def _once_scattered(energy_kev: float, where: str) -> Array:
    low, high = ANGLES_DEG[where]
    angle = np.linspace(low, high, 401)
    after = _scattered_kev(energy_kev, angle)
    p = after / energy_kev
    sine = np.sin(np.radians(angle))
    weight = p**2 * (p + 1 / p - sine**2) * sine * (high - low) / angle.size
    index = np.clip((after / 2.0).astype(int), 0, N_BINS - 1)
    return np.bincount(index, weights=weight, minlength=N_BINS).astype(float)


@dataclass(frozen=True)
class Deposits:
    """Continuous events of many fluxes on the coarser bins: one electron's light, and a photon's light."""

    single: Array
    several: Array


@cache
def _flux_matrices() -> tuple[Array, Array]:
    """Deposits (single, several) per photon in each 2 keV bin of the flux; peaks are put in place."""
    single, several = np.zeros((N_BINS, N_BINS)), np.zeros((N_BINS, N_BINS))
    for i in range(_LOWEST_BIN, _HIGHEST_BIN):
        answer = response(float(CENTRES_KEV[i]))
        single[i], several[i] = answer.single, answer.several
        several[i, i] += answer.full_energy
        for xray, share in zip(ESCAPING_XRAYS_KEV, ESCAPING_XRAY_SHARES, strict=True):
            several[i, max(i - round(xray / 2.0), 0)] += answer.xray_escape * share
        for count, chance in ((1, answer.single_escape), (2, answer.double_escape)):
            if chance > 0:
                several[i, i - round(count * M_E_KEV / 2.0)] += chance
    return merged(single), merged(several)


def flux_deposits(flux: Array) -> Deposits:
    """Deposits of continuous fluxes, shape (..., N_BINS), on the coarser bins."""
    single, several = _flux_matrices()
    return Deposits(flux @ single, flux @ several)


@dataclass(frozen=True)
class LineSet:
    """Everything that depends on a nuclide's lines alone; rows are lines."""

    energy_kev: Array
    per_decay: Array
    full_energy: Array
    xray_escape: Array
    single_escape: Array
    double_escape: Array
    direct: Deposits
    scattered: dict[str, Deposits]


def line_set(energy_kev: Array, per_decay: Array) -> LineSet:
    """Responses of lines and of their scattered photons."""
    answers = [_response(float(e)) for e in energy_kev]
    scattered = {
        where: flux_deposits(np.array([scattered_flux(float(e), where) for e in energy_kev])) for where in ANGLES_DEG
    }
    return LineSet(
        energy_kev,
        per_decay,
        np.array([a.full_energy for a in answers]),
        np.array([a.xray_escape for a in answers]),
        np.array([a.single_escape for a in answers]),
        np.array([a.double_escape for a in answers]),
        Deposits(merged(np.array([a.single for a in answers])), merged(np.array([a.several for a in answers]))),
        scattered,
    )


_response = cache(response)


@cache
def nuclide_line_set(nuclide: str) -> LineSet:
    """`line_set` of an evaluated nuclide, and of the X-rays of tungsten and thorium under their names."""
    if nuclide in FLUORESCENCE:
        pairs = FLUORESCENCE[nuclide]
        return line_set(np.array([e for e, _ in pairs]), np.array([i for _, i in pairs]))
    lines = nuclide_lines(nuclide)
    return line_set(lines.energy_kev, lines.per_decay)


# K X-rays [keV] and shares: energies and shares from memory of the X-ray data booklet.
FLUORESCENCE = {
    "W X-rays": ((57.98, 0.285), (59.32, 0.495), (67.2, 0.165), (69.1, 0.055)),
    "Th X-rays": ((89.96, 0.275), (93.35, 0.455), (105.5, 0.20), (109.0, 0.07)),
}

_DENSITY_G_CM3 = {"W": 19.3, "ThO2": 10.0, "U": 19.0, "SiO2": 1.6}


def escape_from_body(material: str, thickness_mm: float, energy_kev: Array) -> Array:
    """Chance that a photon born anywhere in a slab of this thickness leaves it straight."""
    if thickness_mm <= 0:
        return np.ones_like(energy_kev)
    x = attenuation_cm2_g(material, energy_kev) * _DENSITY_G_CM3[material] * thickness_mm / 10
    return np.asarray(-np.expm1(-x) / x)


def through_window(aluminium_mm: float, energy_kev: Array) -> Array:
    """Transmission of the housing's window; its forward scatter is counted with `forward`."""
    return np.asarray(np.exp(-attenuation_cm2_g("Al", energy_kev) * 2.70 * aluminium_mm / 10))


def bremsstrahlung_flux(mean_kev: float) -> Array:
    """Falling photon spectrum of betas stopped in the body, 27 to 1500 keV, sum 1 (before absorption)."""
    shape = np.where((CENTRES_KEV > 27) & (CENTRES_KEV < 1500), np.exp(-CENTRES_KEV / mean_kev) / CENTRES_KEV, 0.0)
    return np.asarray(shape / shape.sum())


def room_continuum_flux(fall_kev: float, cut_kev: float) -> Array:
    """Photons scattered many times in walls and air: falls with energy, cut by photoelectric absorption
    below some 80 keV; sum 1. Shape as seen with small crystals, common practice, no source.
    """
    hard = 0.04 * np.exp(-CENTRES_KEV / 800.0)
    shape = (np.exp(-CENTRES_KEV / fall_kev) + hard) / (1 + (cut_kev / CENTRES_KEV) ** 3)
    shape = np.where((CENTRES_KEV > 27) & (CENTRES_KEV < 2600), shape, 0.0)
    return np.asarray(shape / shape.sum())


def check_response(energy_kev: float) -> Response:
    """The cached response at one energy, for tests."""
    return _response(energy_kev)
