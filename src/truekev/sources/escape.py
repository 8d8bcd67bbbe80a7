"""Self-absorption: what share of the photons born in a body leaves it unscattered, and the X-rays it makes itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.matter.elements import element, xray_lines
from truekev.matter.materials import Material
from truekev.matter.photons import AVOGADRO, element_cross_sections_barn, partial_cross_sections, shell_shares
from truekev.transport.setup import SourceBody
from truekev.transport.solids import Ball, Box, Cylinder, Solid, holds

__all__ = ["EscapeRays", "MadeXray", "birthplaces", "escape_rays", "made_x_rays"]

Array = npt.NDArray[np.float64]
HEAVY = (74, 82, 90)
# One interaction per photon: what is scattered first and absorbed then, and K shells that betas open, are left out.
U_MADE = 0.20


def _births(solid: Solid, n: int, rng: np.random.Generator) -> Array:
    centre = np.array(solid.centre_mm)
    if isinstance(solid, Box):
        return np.asarray(centre + (rng.random((n, 3)) - 0.5) * np.array(solid.size_mm), np.float64)
    if isinstance(solid, Ball):
        direction = _directions(n, rng)
        return np.asarray(centre + solid.diameter_mm / 2 * np.cbrt(rng.random((n, 1))) * direction)
    along = "xyz".index(solid.axis)
    radius = solid.diameter_mm / 2 * np.sqrt(rng.random(n))
    angle = 2 * np.pi * rng.random(n)
    places = np.empty((n, 3))
    places[:, along] = (rng.random(n) - 0.5) * solid.length_mm
    first, second = (i for i in range(3) if i != along)
    places[:, first], places[:, second] = radius * np.cos(angle), radius * np.sin(angle)
    return centre + places


def _directions(n: int, rng: np.random.Generator) -> Array:
    w = 2 * rng.random(n) - 1
    angle = 2 * np.pi * rng.random(n)
    side = np.sqrt(1 - w * w)
    return np.column_stack([side * np.cos(angle), side * np.sin(angle), w])


def _slab(start: Array, direction: Array, half: float) -> tuple[Array, Array]:
    """Distances at which rays enter and leave |x| < half along one axis."""
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (-half - start) / direction, (half - start) / direction
    parallel = direction == 0
    inside = np.abs(start) < half
    low = np.where(parallel, np.where(inside, -np.inf, np.inf), np.minimum(one, other))
    high = np.where(parallel, np.where(inside, np.inf, -np.inf), np.maximum(one, other))
    return low, high


def _round(start: Array, direction: Array, radius: float) -> tuple[Array, Array]:
    """Distances at which rays enter and leave a circle or ball about the origin in the given coordinates."""
    a = np.maximum((direction**2).sum(axis=1), 1e-300)
    b = (start * direction).sum(axis=1)
    c = (start**2).sum(axis=1) - radius**2
    root = b * b - a * c
    reach = np.sqrt(np.maximum(root, 0.0))
    missed = root <= 0
    return np.where(missed, np.inf, (-b - reach) / a), np.where(missed, -np.inf, (-b + reach) / a)


def _chords(solid: Solid, start: Array, direction: Array) -> Array:
    """Length of each ray inside a solid [mm]."""
    local = start - np.array(solid.centre_mm)
    if isinstance(solid, Box):
        ends = [_slab(local[:, i], direction[:, i], solid.size_mm[i] / 2) for i in range(3)]
    elif isinstance(solid, Cylinder):
        along = "xyz".index(solid.axis)
        across = [i for i in range(3) if i != along]
        ends = [
            _slab(local[:, along], direction[:, along], solid.length_mm / 2),
            _round(local[:, across], direction[:, across], solid.diameter_mm / 2),
        ]
    else:
        ends = [_round(local, direction, solid.diameter_mm / 2)]
    enter = np.maximum(np.max([low for low, _ in ends], axis=0), 0.0)
    leave = np.min([high for _, high in ends], axis=0)
    return np.asarray(np.maximum(leave - enter, 0.0), np.float64)


@dataclass(frozen=True, eq=False)
class EscapeRays:
    """Rays from births in a body to its outside: the length of each in each material.

    Parameters
    ----------
    materials : tuple of Material
    length_cm : ndarray, shape (n, k)
    """

    materials: tuple[Material, ...]
    length_cm: Array

    def _per_cm(self, energy_kev: Array) -> Array:
        return np.array([partial_cross_sections(m, energy_kev).total * m.density_g_cm3 for m in self.materials])

    def escape(self, energy_kev: npt.ArrayLike) -> tuple[Array, Array]:
        """Mean share that leaves unscattered, and its statistical uncertainty, for each energy [keV]."""
        energy = np.atleast_1d(np.asarray(energy_kev, float))
        if not self.materials:
            return np.ones_like(energy), np.zeros_like(energy)
        through = np.exp(-self.length_cm @ self._per_cm(energy))
        return through.mean(axis=0), through.std(axis=0) / np.sqrt(len(through))

    def first_in(self, energy_kev: npt.ArrayLike) -> Array:
        """Share of photons that interact first in each material, shape (materials, energies)."""
        energy = np.atleast_1d(np.asarray(energy_kev, float))
        per_cm = self._per_cm(energy)
        depth = self.length_cm[:, :, None] * per_cm[None]
        total = np.maximum(depth.sum(axis=1), 1e-300)
        return np.asarray((-np.expm1(-total)[:, None] * depth / total[:, None]).mean(axis=0))


def birthplaces(body: SourceBody, n: int, rng: np.random.Generator) -> Array:
    """About `n` places spread over the body's solids as its activity is, shape (n, 3) [mm]."""
    share = np.array(body.shares or [solid.volume_mm3 or 1.0 for solid in body.solids])
    each = np.maximum(np.round(n * share / share.sum()).astype(int), 1)
    return np.concatenate([_births(s, int(m), rng) for s, m in zip(body.solids, each, strict=True)])


def escape_rays(
    body: SourceBody, *, towards: tuple[float, float, float] | None = None, n_rays: int = 20_000, seed: int = 1
) -> EscapeRays:
    """Rays from births spread evenly in the body's solids.

    Parameters
    ----------
    body
        From `sources.bodies.body_parts`.
    towards
        A direction that all rays take; None: all around.
    n_rays, seed
        Number of rays, of the random numbers.
    """
    rng = np.random.default_rng(seed)
    start = birthplaces(body, n_rays, rng)
    if towards is None:
        direction = _directions(len(start), rng)
    else:
        direction = np.tile(np.array(towards, float) / np.linalg.norm(towards), (len(start), 1))
    chords = [_chords(part.solid, start, direction) for part in body.parts]
    own = [chord.copy() for chord in chords]
    for i, part in enumerate(body.parts):
        holders = [j for j in range(i) if holds(body.parts[j].solid, part.solid)]
        if holders:
            own[holders[-1]] -= chords[i]
    materials = tuple(dict.fromkeys(part.material for part in body.parts))
    length = np.zeros((len(start), len(materials)))
    for part, chord in zip(body.parts, own, strict=True):
        length[:, materials.index(part.material)] += 0.1 * np.maximum(chord, 0.0)
    return EscapeRays(materials, length)


@dataclass(frozen=True)
class MadeXray:
    """A K X-ray that the body makes when it absorbs its own photons: photons per second inside and outside."""

    element: str
    energy_kev: float
    inside_per_s: float
    outside_per_s: float


def made_x_rays(rays: EscapeRays, energy_kev: Sequence[float] | Array, rate: Array) -> tuple[MadeXray, ...]:
    """K X-rays of tungsten, lead and thorium from the body's own photons.

    Notes
    -----
    Photons that interact once: those scattered first and absorbed then, and K shells that betas open, add some 20 %.
    """
    energy = np.asarray(energy_kev, float)
    if not rays.materials:
        return ()
    first = rays.first_in(energy)
    vacancies: dict[int, float] = {}
    for material, share in zip(rays.materials, first, strict=True):
        total = partial_cross_sections(material, energy).total
        for z, weight in material.mass_fractions:
            if z in HEAVY:
                per_gram = weight * AVOGADRO * 1e-24 / element(z).atomic_weight
                in_k = per_gram * element_cross_sections_barn(z, energy)[0] * shell_shares(z, energy)[0] / total
                vacancies[z] = vacancies.get(z, 0.0) + float((rate * share * in_k).sum())
    found = []
    for z, n in vacancies.items():
        lines = [line for line in xray_lines(z) if line.vacancy == "K"]
        out, _ = rays.escape([line.energy_kev for line in lines])
        found += [
            MadeXray(element(z).symbol, line.energy_kev, n * line.probability, n * line.probability * float(share))
            for line, share in zip(lines, out, strict=True)
        ]
    return tuple(sorted(found, key=lambda one: one.energy_kev))
