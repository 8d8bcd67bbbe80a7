"""A quick response of a small crystal: successive interactions along one mean chord.

Good to 10 to 30 %, in a tenth of a second and for any crystal: enough to find a gain and to know the
shape of a continuum under a peak. The Monte Carlo engine is the place for accuracy.

A photon that enters the crystal interacts with probability 1 - exp(-mu * l_first). Afterwards, and for
every scattered photon, the chance to interact again is 1 - exp(-mu * l_inner) with
l_inner = 9/16 of the mean chord 4V/S (exact for a sphere with the source spread over its volume). The
distribution of deposited energy then follows from photon energies below, one energy after the other:
photoelectric (with K X-ray escape), Klein-Nishina scattering, pair production with two annihilation
photons; electrons escape in proportion to their range over the mean chord.

References
----------
Klein and Nishina (1929), formula for scattering on a free electron; Dirac (1943), mean chord 4V/S of a
convex body.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

__all__ = ["STEP_KEV", "ChordResponse", "chord_response"]

Array = npt.NDArray[np.float64]

STEP_KEV = 4.0
_MC2_KEV = 510.998950
# Iodine and caesium K shell, as one: mean edge and K alpha energy [keV], share of K in photoelectric
# absorption, fluorescence yield (xraylib, rounded).
_K_EDGE_KEV, _K_X_KEV, _K_SHARE, _K_YIELD = 34.5, 30.0, 0.83, 0.89


@dataclass(frozen=True)
class ChordResponse:
    """Response of one crystal on a grid of photon energies 0, 4, 8, ... keV.

    Parameters
    ----------
    energy_kev : ndarray, shape (n,)
        Grid of photon energies and of deposited energies.
    deposit : ndarray, shape (n, n)
        Row i: probability per photon of energy i that reaches the crystal to deposit energy j; the
        last entry j = i is the full-energy peak; j = 0 holds photons that deposit nothing.
    relative_d : ndarray, shape (n,)
        D(E)/E of fully absorbed photons (see truekev.scale.light).
    """

    energy_kev: Array
    deposit: Array
    relative_d: Array

    def full_energy(self, energy_kev: npt.ArrayLike) -> Array:
        """Full-energy peak probability per photon that reaches the crystal."""
        return np.asarray(np.interp(np.asarray(energy_kev, float), self.energy_kev, np.diagonal(self.deposit)))

    def continuum(self, energy_kev: float) -> Array:
        """Probability per photon for each deposited energy of the grid, the full-energy peak left out."""
        index = min(max(energy_kev / STEP_KEV, 1.0), self.energy_kev.size - 1.001)
        low = int(index)
        share = index - low
        below = np.append(self.deposit[low, :low], np.zeros(self.energy_kev.size - low))
        above = np.append(self.deposit[low + 1, : low + 1], np.zeros(self.energy_kev.size - low - 1))
        mixed = (1.0 - share) * below + share * above
        mixed[0] = 0.0
        return np.asarray(mixed)


def chord_response(
    *,
    photoelectric_per_cm: Array,
    incoherent_per_cm: Array,
    pair_per_cm: Array,
    x_ray_attenuation_per_cm: float,
    electron_range_cm: Array,
    electron_light: Array,
    x_ray_light: float,
    first_chord_cm: float,
    mean_chord_cm: float,
    k_shell: bool,
) -> ChordResponse:
    """Compute the response.

    Parameters
    ----------
    photoelectric_per_cm, incoherent_per_cm, pair_per_cm : ndarray, shape (n,)
        Partial attenuation coefficients [1/cm] at 0, 4, 8, ... keV (the first entry is not used).
    x_ray_attenuation_per_cm : float
        Attenuation of the crystal's own K X-rays [1/cm].
    electron_range_cm : ndarray, shape (n,)
        Range of electrons at the same energies [cm].
    electron_light : ndarray, shape (n,)
        eta_e - 1 of electrons at the same energies.
    x_ray_light : float
        E * (eta_e - 1) summed over the electrons of a filled K vacancy [keV].
    first_chord_cm, mean_chord_cm : float
        Mean path of an entering photon; 4V/S [cm].
    k_shell : bool
        Whether iodine or caesium K X-rays exist in this crystal.
    """
    n = photoelectric_per_cm.size
    total = photoelectric_per_cm + incoherent_per_cm + pair_per_cm
    grid = STEP_KEV * np.arange(n)
    inner = 1.0 - np.exp(-total * mean_chord_cm * 9.0 / 16.0)
    first = 1.0 - np.exp(-total * first_chord_cm)
    escape = np.zeros(n)
    if k_shell:
        ratio = x_ray_attenuation_per_cm / np.maximum(total, 1e-9)
        face = 0.5 * (1.0 - ratio * np.log1p(1.0 / ratio))
        surface = 1.0 / (mean_chord_cm * x_ray_attenuation_per_cm)
        escape = np.where(grid > _K_EDGE_KEV, _K_SHARE * _K_YIELD * np.minimum(face + surface, 0.5), 0.0)
    # 0.35: an electron's path winds, and only electrons near the surface can leave.
    electron_escape: Array = np.minimum(0.35 * electron_range_cm / mean_chord_cm, 0.8).astype(np.float64)
    inside, d_number = _inner_response(
        photoelectric_per_cm,
        incoherent_per_cm,
        pair_per_cm,
        inner,
        escape,
        electron_escape,
        electron_light,
        x_ray_light if k_shell else 0.0,
    )
    full = np.maximum(np.diagonal(inside), 1e-12)
    relative_d = np.asarray(d_number / (full * np.maximum(grid, STEP_KEV)), dtype=np.float64)
    # An entering photon differs from an inner one only in its chance to interact at all.
    scale = np.divide(first, np.maximum(inner, 1e-12))
    deposit = inside * scale[:, None]
    deposit[:, 0] = 1.0 - deposit[:, 1:].sum(axis=1)
    return ChordResponse(np.asarray(grid, dtype=np.float64), deposit, relative_d)


@njit(cache=True)
def _klein_nishina_weights(index: int, n: int) -> Array:  # pragma: no cover - compiled
    """Share of Klein-Nishina scatterings with an electron energy in each step, photon energy index * step."""
    alpha = index * STEP_KEV / _MC2_KEV
    weights = np.zeros(n)
    edge = index * STEP_KEV * 2.0 * alpha / (1.0 + 2.0 * alpha)
    for k in range(index + 1):
        low, high = max((k - 0.5) * STEP_KEV, 0.0), min((k + 0.5) * STEP_KEV, edge)
        if high <= low:
            continue
        electron = 0.5 * (low + high)
        ratio = 1.0 - electron / (index * STEP_KEV)
        cosine = 1.0 - (1.0 / ratio - 1.0) / alpha
        weights[k] = (high - low) * (ratio + 1.0 / ratio - 1.0 + cosine * cosine)
    normalised: Array = weights / weights.sum()
    return normalised


@njit(cache=True)
def _inner_response(
    photo: Array,
    compton: Array,
    pair: Array,
    interact: Array,
    k_escape: Array,
    electron_escape: Array,
    electron_light: Array,
    x_ray_light: float,
) -> tuple[Array, Array]:  # pragma: no cover - compiled
    """Deposit distributions of photons inside, and the sum of D over fully absorbed ones."""
    n = photo.size
    deposit = np.zeros((n, n))
    d_sum = np.zeros(n)
    deposit[0, 0] = 1.0
    k_index = round(_K_X_KEV / STEP_KEV)
    edge_index = _K_EDGE_KEV / STEP_KEV
    rest = round(_MC2_KEV / STEP_KEV)
    two = np.zeros(2 * rest + 1)
    two_d = 0.0
    for i in range(1, n):
        row = deposit[i]
        energy = i * STEP_KEV
        total = photo[i] + compton[i] + pair[i]
        row[0] += 1.0 - interact[i]
        # photoelectric
        chance = interact[i] * photo[i] / total
        lost = k_escape[i]
        stay = 1.0 - electron_escape[i]
        row[i] += chance * (1.0 - lost) * stay
        row[max(i - k_index, 0)] += chance * lost
        for j in range(i):
            row[j] += chance * (1.0 - lost) * electron_escape[i] / i
        if i > edge_index:
            photoelectron = max(round(i - edge_index), 0)
            light = photoelectron * STEP_KEV * electron_light[photoelectron]
            light = _K_SHARE * (light + x_ray_light) + (1.0 - _K_SHARE) * energy * electron_light[i]
        else:
            light = energy * electron_light[i]
        d_sum[i] += chance * (1.0 - lost) * stay * light
        # Compton
        chance = interact[i] * compton[i] / total
        weights = _klein_nishina_weights(i, n)
        for k in range(i + 1):
            if weights[k] == 0.0:
                continue
            part = chance * weights[k]
            left = i - k
            kept = part * (1.0 - electron_escape[k])
            for j in range(left + 1):
                row[k + j] += kept * deposit[left, j]
            for j in range(k):
                row[j] += part * electron_escape[k] / k
            light = k * STEP_KEV * electron_light[k]
            d_sum[i] += kept * (deposit[left, left] * light + d_sum[left])
        # pair
        if i == rest:
            for j in range(rest + 1):
                for k in range(rest + 1):
                    two[j + k] += deposit[rest, j] * deposit[rest, k]
            two_d = 2.0 * d_sum[rest] * deposit[rest, rest]
        if pair[i] > 0.0 and i > 2 * rest:
            chance = interact[i] * pair[i] / total
            kinetic = i - 2 * rest
            stay = 1.0 - electron_escape[kinetic]
            for j in range(2 * rest + 1):
                row[kinetic + j] += chance * stay * two[j]
            for j in range(i):
                row[j] += chance * (1.0 - stay) / i
            light = kinetic * STEP_KEV * electron_light[max(kinetic // 2, 0)]
            d_sum[i] += chance * stay * (two[2 * rest] * light + two_d)
    return deposit, d_sum
