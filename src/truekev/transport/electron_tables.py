"""Electron tables of the engine: range, hard events, scattering and light on steps of energy, packed in arrays."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from truekev.matter.electrons import (
    MAX_KEV,
    MIN_KEV,
    beta_squared,
    bremsstrahlung_scaled_mb,
    collision_stopping_power,
    radiative_stopping_power,
    transport_cross_sections_cm2_g,
)
from truekev.matter.elements import element
from truekev.matter.materials import Material
from truekev.matter.photons import AVOGADRO, ELECTRON_KEV
from truekev.matter.scintillators import Scintillator
from truekev.transport.compiled import Array

__all__ = ["DELTA_MIN_KEV", "ELECTRON_STEP", "PHOTON_MIN_KEV", "ElectronTables", "electron_tables"]

LN_MIN = float(np.log(MIN_KEV))
# The energy lost in a step, in ln E. Twice as fine a step moves no peak of the reference table by 0.5 %.
ELECTRON_STEP = 0.04
N_NODES = int((np.log(MAX_KEV) - LN_MIN) / ELECTRON_STEP)
PHOTON_MIN_KEV = 10.0  # softer bremsstrahlung is left where it is made
DELTA_MIN_KEV = 100.0  # slower knock-on electrons are part of the track
BREMS_POINTS = 65
_K_MEV_CM2_MOL = 0.307075


class ElectronTables(NamedTuple):
    """Packed arrays; first axis the material, second the energy node.

    node columns: energy [keV], range for soft losses [mm], expected hard events down from here, share of
    bremsstrahlung among them at this energy, path integrals of the first and second transport cross section, expected
    bremsstrahlung photons of a whole track without knock-ons taken apart, expected annihilations in flight.
    brems (M, nodes, points): ln(k/kmin)/ln(T/kmin) at equal steps of cumulative probability.
    light (nodes,): E (eta - 1) [keV] in the crystal.
    """

    node: Array
    brems: Array
    light: Array


def _cumulative(y: Array, x: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(x))])


def _moller(material: Material, kev: Array) -> tuple[Array, Array]:
    """Knock-ons above DELTA_MIN_KEV: macroscopic cross section [cm2/g] and energy loss [MeV cm2/g] (ICRU 37, 2.4)."""
    scale = 0.5 * _K_MEV_CM2_MOL * material.electrons_per_gram / beta_squared(kev)
    number = np.zeros_like(kev)
    loss = np.zeros_like(kev)
    for i, energy in enumerate(kev):
        if energy <= 2 * DELTA_MIN_KEV:
            continue
        w = np.geomspace(DELTA_MIN_KEV, energy / 2, 200)
        tau = energy / ELECTRON_KEV
        shape = (
            1 / w**2
            + 1 / (energy - w) ** 2
            + (tau / (tau + 1) / energy) ** 2
            - (2 * tau + 1) / (tau + 1) ** 2 / (w * (energy - w))
        )
        number[i] = scale[i] * np.trapezoid(shape * w, np.log(w)) * 1e3
        loss[i] = scale[i] * np.trapezoid(shape * w * w, np.log(w))
    return number, loss


def _bremsstrahlung(material: Material, kev: Array) -> tuple[Array, Array, Array]:
    """Photons above PHOTON_MIN_KEV: cross section [cm2/g], energy loss [MeV cm2/g], inverse cumulative table."""
    number = np.zeros_like(kev)
    loss = np.zeros_like(kev)
    inverse = np.zeros((len(kev), BREMS_POINTS))
    for i, energy in enumerate(kev):
        if energy <= PHOTON_MIN_KEV * 1.001:
            continue
        k = np.geomspace(PHOTON_MIN_KEV, energy, 160)
        scaled = np.zeros_like(k)
        for z, weight in material.mass_fractions:
            per_gram = weight * AVOGADRO / element(z).atomic_weight * z * z * 1e-27
            scaled += per_gram * bremsstrahlung_scaled_mb(z, energy, k / energy)[0]
        scaled /= beta_squared(energy)
        ln_k = np.log(k)
        cumulative = _cumulative(scaled, ln_k)
        number[i] = cumulative[-1]
        loss[i] = np.trapezoid(scaled * k, ln_k) * 1e-3
        v = (ln_k - ln_k[0]) / (ln_k[-1] - ln_k[0])
        inverse[i] = np.interp(np.linspace(0, 1, BREMS_POINTS), cumulative / cumulative[-1], v)
    return number, loss, inverse


def _annihilation(material: Material, kev: Array) -> Array:
    """Cross section of annihilation of a positron in flight into two photons [cm2/g] (W. Heitler)."""
    gamma = 1 + kev / ELECTRON_KEV
    momentum = np.sqrt(gamma**2 - 1)
    bracket = (gamma**2 + 4 * gamma + 1) / momentum**2 * np.log(gamma + momentum) - (gamma + 3) / momentum
    per_electron = np.pi * 2.8179403262e-13**2 / (gamma + 1) * bracket
    return np.asarray(AVOGADRO * material.electrons_per_gram * per_electron)


@lru_cache(maxsize=64)
def _one(material: Material) -> tuple[Array, Array]:
    kev = np.exp(LN_MIN + ELECTRON_STEP * np.arange(N_NODES))
    per_mm = material.density_g_cm3 / 10
    collision = collision_stopping_power(material, kev)
    radiative = radiative_stopping_power(material, kev)
    n_delta, delta_loss = _moller(material, kev)
    n_brems, brems_loss, inverse = _bremsstrahlung(material, kev)
    soft = (collision - delta_loss + np.maximum(radiative - brems_loss, 0.0)) * 1e3 * per_mm  # keV/mm
    whole = (collision + np.maximum(radiative - brems_loss, 0.0)) * 1e3 * per_mm
    first, second = transport_cross_sections_cm2_g(material, kev)
    hard = n_delta + n_brems
    node = np.zeros((N_NODES, 8))
    node[:, 0] = kev
    node[:, 1] = _cumulative(1 / soft, kev) + 0.5 * kev[0] / soft[0]
    node[:, 2] = _cumulative(hard * per_mm / soft, kev)
    node[:, 3] = np.divide(n_brems, hard, out=np.ones_like(hard), where=hard > 0)
    node[:, 4] = _cumulative(first * per_mm / soft, kev)
    node[:, 5] = _cumulative(second * per_mm / soft, kev)
    node[:, 6] = _cumulative(n_brems * per_mm / whole, kev)
    node[:, 7] = _cumulative(_annihilation(material, kev) * per_mm / whole, kev)
    return node, inverse


def electron_tables(materials: Sequence[Material], scintillator: Scintillator) -> ElectronTables:
    """Packed electron tables of `materials`, in their order, with the light of `scintillator`."""
    ones = [_one(m) for m in materials]
    kev = ones[0][0][:, 0]
    return ElectronTables(
        node=np.array([node for node, _ in ones]),
        brems=np.array([inverse for _, inverse in ones]),
        light=scintillator.excess_light_kev(kev),
    )
