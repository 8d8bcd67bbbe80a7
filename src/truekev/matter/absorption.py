"""Mass energy-absorption coefficients: what of the energy of photons stays with electrons, less bremsstrahlung."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from truekev.matter.electrons import MIN_KEV as ELECTRON_MIN_KEV
from truekev.matter.electrons import collision_stopping_power, radiative_stopping_power
from truekev.matter.elements import element, xray_lines
from truekev.matter.materials import Material
from truekev.matter.photons import (
    AVOGADRO,
    ELECTRON_KEV,
    KEV_ANGSTROM,
    element_cross_sections_barn,
    scattering_tables,
    shell_shares,
)

__all__ = ["mass_energy_absorption", "radiation_yield"]

Array = npt.NDArray[np.float64]
_SHELLS = ("K", "L1", "L2", "L3")
_TOP_KEV = 5000.0


@lru_cache(maxsize=32)
def _yield_table(material: Material) -> tuple[Array, Array]:
    kev = np.geomspace(ELECTRON_MIN_KEV, _TOP_KEV, 400)
    radiative = radiative_stopping_power(material, kev)
    share = radiative / (radiative + collision_stopping_power(material, kev))
    lost = np.concatenate([[0.0], np.cumsum(0.5 * (share[1:] + share[:-1]) * np.diff(kev))])
    return kev, (lost + share[0] * kev[0]) / kev


def radiation_yield(material: Material, energy_kev: npt.ArrayLike) -> Array:
    """Share of an electron's energy that leaves its track as bremsstrahlung while it slows down to rest."""
    return np.asarray(np.interp(np.asarray(energy_kev, dtype=float), *_yield_table(material)))


def _xray_kev_per_absorption(z: int, kev: Array) -> Array:
    """Mean energy of K and L X-rays per photoelectric absorption [keV]."""
    per_vacancy = dict.fromkeys(_SHELLS, 0.0)
    lines = xray_lines(z)
    for shell in reversed(_SHELLS):
        for line in lines:
            if line.vacancy == shell:
                follow = per_vacancy.get(line.filled_from, 0.0) if shell == "K" else 0.0
                per_vacancy[shell] += line.probability * (line.energy_kev + follow)
    shares = shell_shares(z, kev)
    return np.asarray(sum(share * per_vacancy[shell] for shell, share in zip(_SHELLS, shares, strict=True)))


def _compton_electrons(material: Material, kev: float) -> tuple[Array, Array]:
    """Energies of Compton electrons [keV] and their weights, summing to 1: Klein-Nishina times scattering function."""
    cosine = np.linspace(-1, 1, 401)
    ratio = 1 / (1 + kev / ELECTRON_KEV * (1 - cosine))
    weight = ratio**2 * (ratio + 1 / ratio - 1 + cosine**2)
    x, incoherent, _ = scattering_tables(material)
    weight *= np.interp(kev / KEV_ANGSTROM * np.sqrt((1 - cosine) / 2), x, incoherent, left=0.0)
    weight[[0, -1]] *= 0.5
    return kev * (1 - ratio), weight / weight.sum()


def mass_energy_absorption(material: Material, energy_kev: npt.ArrayLike) -> Array:
    """Mass energy-absorption coefficient [cm2/g] for photons of 5 to 5000 keV.

    Notes
    -----
    Photoelectric absorption less the K and L X-rays, Compton scattering with the mean energy of the electron, pairs
    less their annihilation; less the bremsstrahlung of the electrons in the same material. Annihilation in flight is
    left out. Agrees with NIST SRD 126 within 1 to 2 %: tests/published/test_nist_energy_absorption.py.
    """
    kev = np.atleast_1d(np.asarray(energy_kev, dtype=float))
    electrons = [_compton_electrons(material, e) for e in kev]
    compton = np.array([np.sum(w * t * (1 - radiation_yield(material, t))) for t, w in electrons]) / kev
    kinetic = np.maximum(kev - 2 * ELECTRON_KEV, 0.0)
    pairs = kinetic * (1 - radiation_yield(material, kinetic / 2)) / kev
    total = np.zeros_like(kev)
    for z, weight in material.mass_fractions:
        per_gram = weight * AVOGADRO * 1e-24 / element(z).atomic_weight
        photoelectric, incoherent, _, pair = element_cross_sections_barn(z, kev)
        kept = (kev - _xray_kev_per_absorption(z, kev)) * (1 - radiation_yield(material, kev)) / kev
        total += per_gram * (photoelectric * kept + incoherent * compton + pair * pairs)
    return np.reshape(total, np.shape(energy_kev))
