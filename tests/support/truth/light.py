"""Light of the truth: a drawn electron response, and the photon curve that follows from it.

Light is made by electrons: y_e(T) is the light per energy of one electron, relative to 662 keV photons.
The photon curve y(E) is its consequence: photoelectric effect (electron E - 34.6 keV and the cascade of
the K vacancy) or Compton electron plus an absorbed scattered photon, weighted as in a 1 cm cube. The
operator is linear in y_e, so it is built once. The electron response is drawn around the curve that
gives the middle of the published bands, and a draw whose photon curve leaves 1.3 half widths of the
band anywhere is drawn again. This is not the program's light model: no published curve is scaled, no
kappa exists here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from tests.support.truth.response import (
    M_E_KEV,
    compton_cm2_g,
    compton_edge_kev,
    klein_nishina_per_electron_energy,
    photoelectric_cm2_g,
)
from tests.support.truth.tables import Array, light_band

NODES_KEV: Array = np.geomspace(1.0, 4000.0, 40)
_PHOTONS_KEV: Array = np.unique(np.concatenate([np.geomspace(10.0, 4000.0, 260), np.linspace(32.5, 36.5, 17)]))
_MEAN_WAY_CM = 0.5
_DENSITY_G_CM3 = 4.51


def _electron_row(energy_kev: Array, weight: Array) -> Array:
    """Row that gives sum of weight * E * y_e(E) from y_e at the nodes (linear in log energy)."""
    x = np.clip(np.log(np.maximum(energy_kev, 1.0)), np.log(NODES_KEV[0]), np.log(NODES_KEV[-1]))
    step = np.log(NODES_KEV[1] / NODES_KEV[0])
    position = (x - np.log(NODES_KEV[0])) / step
    i = np.clip(position.astype(int), 0, NODES_KEV.size - 2)
    part = position - i
    row = np.zeros(NODES_KEV.size)
    mass = weight * np.maximum(energy_kev, 0.0)
    np.add.at(row, i, mass * (1 - part))
    np.add.at(row, i + 1, mass * part)
    return row


def _one(energy_kev: float) -> Array:
    return _electron_row(np.array([energy_kev]), np.ones(1))


@cache
def _photon_operator() -> Array:
    """Matrix from y_e at the nodes to light [keV] of a fully absorbed photon at the photon grid."""
    rows = np.zeros((_PHOTONS_KEV.size, NODES_KEV.size))
    absorbed = np.ones(_PHOTONS_KEV.size)  # chance of full absorption when born inside
    l_cascade = _one(4.0) * (4.9 / 4.0)
    cascade: Array | None = None  # light of a K vacancy, 34.6 keV: an X-ray of 29.5 keV, absorbed, and the rest
    for j, energy in enumerate(_PHOTONS_KEV):
        from_l = _one(energy - 4.9) + l_cascade
        if energy <= 33.17:
            rows[j] = from_l
            continue
        if cascade is None:
            cascade = _interpolated(rows[:j], 29.5) + _one(4.0) * (5.1 / 4.0)
        binding = 33.17 if energy < 35.98 else 34.6
        photo = 0.85 * (_one(energy - binding) + cascade * binding / 34.6) + 0.15 * from_l
        if energy < 60.0:
            rows[j] = photo
            continue
        electron = (np.arange(80) + 0.5) / 80 * compton_edge_kev(energy)
        weight = klein_nishina_per_electron_energy(energy, electron)
        weight *= compton_cm2_g(energy) / weight.sum()
        left = energy - electron
        weight_full = weight * np.interp(left, _PHOTONS_KEV[:j], absorbed[:j])
        tau = photoelectric_cm2_g(energy)
        mu = tau + compton_cm2_g(energy)
        absorbed[j] = -np.expm1(-mu * _DENSITY_G_CM3 * _MEAN_WAY_CM) * (tau + weight_full.sum()) / mu
        compton = _electron_row(electron, weight_full) + sum(
            w * _interpolated(rows[:j], e) for w, e in zip(weight_full, left, strict=True)
        )
        rows[j] = (tau * photo + compton) / (tau + weight_full.sum())
    return rows


def _interpolated(rows: Array, energy_kev: float) -> Array:
    """Row at an energy between photon grid points (light per energy linear in energy)."""
    grid = _PHOTONS_KEV[: rows.shape[0]]
    i = int(np.clip(np.searchsorted(grid, energy_kev) - 1, 0, grid.size - 2))
    part = float(np.clip((energy_kev - grid[i]) / (grid[i + 1] - grid[i]), 0.0, 1.0))
    mean: Array = (1 - part) * rows[i] / grid[i] + part * rows[i + 1] / grid[i + 1]
    return mean * energy_kev


@cache
def _middle() -> Array:
    """Smooth y_e at the nodes that meets the middles of both published bands best."""
    photon, electron = light_band("photon"), light_band("electron")
    rows = [_interpolated(_photon_operator(), e) / e for e in photon.energy_kev]
    rows += [_one(e) / e for e in electron.energy_kev]
    values = np.concatenate([photon.middle, electron.middle])
    widths = np.concatenate([np.maximum(photon.half_width, 0.002), 2 * electron.half_width])
    # Dense ionisation quenches: below some 10 keV the response turns down, which makes the dip just above
    # the K edges (sign: CHECK_VALUES rows 124 to 126; numbers from memory).
    rows += [_one(e) / e for e in (1.0, 3.0)]
    values = np.concatenate([values, [0.95, 1.06]])
    widths = np.concatenate([widths, [0.03, 0.03]])
    curvature = np.diff(np.eye(NODES_KEV.size), 2, axis=0) / 0.006
    matrix = np.vstack([np.array(rows) / widths[:, None], curvature])
    target = np.concatenate([values / widths, np.zeros(curvature.shape[0])])
    solution: Array = np.linalg.lstsq(matrix, target, rcond=None)[0]
    return solution


@dataclass(frozen=True)
class Light:
    """Light functions of one crystal; light in keV-equivalents, 661.657 at 661.657 keV photons.

    `electron_response`: y_e at NODES_KEV, already normalised.
    """

    electron_response: tuple[float, ...]

    def of_photon(self, energy_kev: npt.ArrayLike) -> Array:
        """Light of fully absorbed photons."""
        energy = np.asarray(energy_kev, float)
        per_energy = _photon_operator() @ np.array(self.electron_response) / _PHOTONS_KEV
        return np.asarray(energy * np.interp(energy, _PHOTONS_KEV, per_energy))

    def of_electron(self, energy_kev: npt.ArrayLike) -> Array:
        """Light of one electron that stays inside."""
        energy = np.asarray(energy_kev, float)
        x = np.log(np.maximum(energy, 1.0))
        return np.asarray(energy * np.interp(x, np.log(NODES_KEV), np.array(self.electron_response)))

    def of_pair(self, kinetic_kev: npt.ArrayLike) -> Array:
        """Light of electron and positron that share a kinetic energy evenly at random."""
        energy = np.asarray(kinetic_kev, float)
        shares = (np.arange(10) + 0.5) / 10
        return np.asarray(2 * np.mean([self.of_electron(energy * s) for s in shares], axis=0))

    def of_double_escape(self, energy_kev: npt.ArrayLike) -> Array:
        """Light of a pair whose two annihilation photons leave."""
        return self.of_pair(np.maximum(np.asarray(energy_kev, float) - 2 * M_E_KEV, 0.0))

    def of_single_escape(self, energy_kev: npt.ArrayLike) -> Array:
        """Light of a pair whose one annihilation photon leaves, the other being absorbed."""
        return self.of_double_escape(energy_kev) + self.of_photon(M_E_KEV)

    def of_xray_escape(self, energy_kev: npt.ArrayLike, xray_kev: float) -> Array:
        """Light of an absorbed photon less that of the K X-ray that left."""
        return np.asarray(np.maximum(self.of_photon(energy_kev) - self.of_photon(xray_kev), 0.0))


def draw_light(rng: np.random.Generator) -> Light:
    """A crystal drawn inside the published bands (half width taken as two standard deviations)."""
    band = light_band("photon")
    x = np.log(NODES_KEV)
    sigma = np.interp(x, np.log(band.energy_kev), band.half_width) / 2
    # The band is zero at 662 keV by definition; the curve is renormalised there, so bridge the gap.
    keep = band.half_width > 0
    sigma = np.maximum(sigma, np.interp(x, np.log(band.energy_kev[keep]), band.half_width[keep]) / 2)
    covariance = np.exp(-0.5 * ((x[:, None] - x[None, :]) / 1.2) ** 2) + 1e-9 * np.eye(x.size)
    factor = np.linalg.cholesky(covariance)
    for _ in range(200):
        drawn = _middle() + sigma * (factor @ rng.standard_normal(x.size))
        light = normalised_light(drawn)
        curve = light.of_photon(band.energy_kev) / band.energy_kev
        if np.all(np.abs(curve - band.middle) <= 1.3 * band.half_width + 0.004):
            return light
    raise AssertionError("no light curve inside the bands in 200 draws: the bands or the operator are wrong")


def middle_light() -> Light:
    """The crystal in the middle of the published bands."""
    return normalised_light(_middle())


def normalised_light(electron_response: Array) -> Light:
    """A crystal from any electron response at NODES_KEV, scaled to 1 for 661.657 keV photons."""
    raw = Light(tuple(float(v) for v in electron_response))
    factor = float(raw.of_photon(661.657)) / 661.657
    return Light(tuple(float(v) / factor for v in electron_response))
