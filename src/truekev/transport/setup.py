"""What a count is made of: crystal, housing, source, surroundings; checked, and packed for the engine.

The z axis runs from the source to the detector: the crystal's front face lies at z = 0 and the crystal behind it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from truekev.errors import InputError, OutOfRangeError
from truekev.matter.materials import Material
from truekev.matter.scintillators import Scintillator, scintillator
from truekev.transport.compiled import Array, Integers
from truekev.transport.electron_tables import ElectronTables, electron_tables
from truekev.transport.electron_tracks import CRYSTAL, STOP_KEV
from truekev.transport.photon_tables import PhotonTables, photon_tables
from truekev.transport.solids import Ball, Box, Cylinder, Point, Solid, holds, overlaps

__all__ = [
    "DetectorGeometry",
    "Layer",
    "Packed",
    "Part",
    "Setup",
    "SourceBody",
    "packed",
    "point_source",
    "shell",
    "slab",
]


@dataclass(frozen=True)
class Part:
    """A body: name for messages, solid, material. In a list a later part displaces an earlier one that holds it."""

    name: str
    solid: Solid
    material: Material


@dataclass(frozen=True)
class Layer:
    """A layer around the crystal, from the inside out: material and thickness [mm]; the front may differ."""

    material: Material
    thickness_mm: float
    front_mm: float | None = None

    def __post_init__(self) -> None:
        for value in (self.thickness_mm, self.thickness_mm if self.front_mm is None else self.front_mm):
            if not 0 <= value <= 1000:
                raise OutOfRangeError(
                    f"layer of {self.material.name}: a thickness of {value:g} mm must lie between 0 and 1000 mm."
                )

    @property
    def front_thickness_mm(self) -> float:
        """Thickness of the window [mm]."""
        return self.thickness_mm if self.front_mm is None else self.front_mm


def layer_name(number: int, layer: Layer) -> str:
    """Name of the part that a layer becomes."""
    return f"layer {number} ({layer.material.name})"


@dataclass(frozen=True)
class DetectorGeometry:
    """A crystal with its layers and what lies behind.

    Parameters
    ----------
    scintillator
        A scintillator, or a name that `matter.scintillators` knows.
    size_mm
        Box: x, y, z; cylinder along z: diameter, length.
    layers
        From the crystal outwards: reflector, housing.
    behind
        Slabs behind the crystal inside the layers (photosensor, board, battery), each (material, thickness [mm]),
        from the crystal on, as wide as the crystal.
    """

    scintillator: str | Scintillator
    size_mm: tuple[float, ...]
    layers: tuple[Layer, ...] = ()
    behind: tuple[tuple[Material, float], ...] = ()

    def __post_init__(self) -> None:
        _ = self.light
        if len(self.size_mm) not in (2, 3):
            raise InputError(
                f"crystal: {len(self.size_mm)} sizes; a box has three (x, y, z), a cylinder two (diameter, length)."
            )
        self._solid(0.0, 0.0, 0.0)

    def _solid(self, side: float, front: float, back: float) -> Solid:
        """The crystal grown by these thicknesses [mm]."""
        length = self.size_mm[-1] + front + back
        centre = (0.0, 0.0, (self.size_mm[-1] + back - front) / 2)
        if len(self.size_mm) == 3:
            return Box((self.size_mm[0] + 2 * side, self.size_mm[1] + 2 * side, length), centre)
        return Cylinder(self.size_mm[0] + 2 * side, length, centre)

    @property
    def light(self) -> Scintillator:
        """The scintillator."""
        return scintillator(self.scintillator) if isinstance(self.scintillator, str) else self.scintillator

    @property
    def crystal(self) -> Solid:
        """The crystal's solid."""
        return self._solid(0.0, 0.0, 0.0)

    @property
    def front_mm(self) -> float:
        """How far the window's outside lies in front of the crystal [mm]."""
        return sum(layer.front_thickness_mm for layer in self.layers)

    def parts(self) -> tuple[Part, ...]:
        """Parts of the detector, outer first, the crystal last."""
        found = [Part("crystal", self.crystal, self.light.material)]
        depth = 0.0
        slabs = []
        for number, (material, thickness) in enumerate(self.behind, 1):
            z = self.size_mm[-1] + depth + thickness / 2
            solid: Solid
            if len(self.size_mm) == 3:
                solid = Box((self.size_mm[0], self.size_mm[1], thickness), (0.0, 0.0, z))
            else:
                solid = Cylinder(self.size_mm[0], thickness, (0.0, 0.0, z))
            slabs.append(Part(f"slab {number} behind the crystal ({material.name})", solid, material))
            depth += thickness
        side = front = 0.0
        back = depth
        shells = []
        for number, layer in enumerate(self.layers, 1):
            side += layer.thickness_mm
            back += layer.thickness_mm
            front += layer.front_thickness_mm
            name = layer_name(number, layer)
            if layer.thickness_mm or layer.front_thickness_mm:
                shells.append(Part(name, self._solid(side, front, back), layer.material))
        return (*reversed(shells), *slabs, *found)


@dataclass(frozen=True)
class SourceBody:
    """Where the particles are born: solids with their shares of the activity (even if not given).

    `parts` are the bodies that the source brings along (container, powder, rods), outer first.
    """

    solids: tuple[Solid, ...]
    shares: tuple[float, ...] = ()
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        if not self.solids:
            raise InputError("source: it has no body; give at least a point.")
        shares = self.shares or (1.0,) * len(self.solids)
        if len(shares) != len(self.solids) or any(not s >= 0 for s in shares) or not sum(shares) > 0:
            raise InputError(f"source: shares {shares} must be one per body, not negative, and not all zero.")

    def rows(self) -> Array:
        """Rows for the engine with cumulative shares."""
        shares = np.array(self.shares or (1.0,) * len(self.solids))
        rows = np.array([solid.row for solid in self.solids])
        rows[:, 7] = np.cumsum(shares) / shares.sum()
        rows[-1, 7] = 1.0
        return rows


def point_source(distance_mm: float, x_mm: float = 0.0, y_mm: float = 0.0) -> SourceBody:
    """A point in front of the crystal's front face at `distance_mm`, without matter of its own."""
    return SourceBody((Ball(0.0, (x_mm, y_mm, -distance_mm)),))


def slab(name: str, material: Material, front_z_mm: float, thickness_mm: float, width_mm: float) -> Part:
    """A square slab across the axis whose face nearer to the source side lies at `front_z_mm`."""
    return Part(name, Box((width_mm, width_mm, thickness_mm), (0.0, 0.0, front_z_mm + thickness_mm / 2)), material)


def shell(name: str, outer: Solid, inner: Solid, material: Material, filling: Material) -> tuple[Part, Part]:
    """A hollow body: the outer solid of `material` and the hollow of `filling` (air) inside; place it first."""
    if not holds(outer, inner):
        raise InputError(f"{name}: the hollow does not lie inside the outside; check the sizes.")
    return Part(name, outer, material), Part(f"inside of {name}", inner, filling)


@dataclass(frozen=True)
class Setup:
    """A detector, a source in front of it, and surroundings (outer first: shield, table, stand).

    Raises
    ------
    InputError
        Bodies that overlap without one holding the other; a source inside the crystal.
    """

    detector: DetectorGeometry
    source: SourceBody
    surroundings: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        _check_overlaps(self.parts())
        crystal = self.detector.crystal
        for solid in self.source.solids:
            if overlaps(crystal, solid) or _inside(crystal, solid.centre_mm):
                raise InputError(
                    f"the source at {solid.centre_mm} mm reaches into the crystal; the crystal's front face lies at "
                    "z = 0: put the source in front of it (z below 0)."
                )

    def parts(self) -> tuple[Part, ...]:
        """All parts, outer first, the crystal last."""
        return (*self.surroundings, *self.source.parts, *self.detector.parts())


def _inside(solid: Solid, point: Point) -> bool:
    return math.dist(solid.nearest(point, 1e-6), point) == 0.0


def _check_overlaps(parts: tuple[Part, ...]) -> None:
    for i, outer in enumerate(parts):
        for inner in parts[i + 1 :]:
            if not overlaps(outer.solid, inner.solid) or holds(outer.solid, inner.solid):
                continue
            if holds(inner.solid, outer.solid):
                raise InputError(
                    f"{outer.name} lies inside {inner.name} but comes before it and would vanish; "
                    "list outer bodies first."
                )
            raise InputError(f"{outer.name} and {inner.name} overlap; move or shrink one of them.")


class Packed(NamedTuple):
    """A setup as the arrays of `histories.run_block`."""

    sources: Array
    target: Array
    bodies: Array
    nest: Integers
    materials: Integers
    reach: Array
    photons: PhotonTables
    electrons: ElectronTables


def _nest(parts: tuple[Part, ...]) -> Integers:
    """Parent and children of each body for the engine; the last earlier body that holds one is its parent."""
    children: list[list[int]] = [[] for _ in range(len(parts) + 1)]
    parents = [-1]
    for i, part in enumerate(parts):
        holders = [j for j in range(i) if holds(parts[j].solid, part.solid)]
        parent = holders[-1] if holders else -1
        parents.append(parent)
        children[parent + 1].append(i)
    nest = np.full((len(parts) + 1, 2 + max(len(c) for c in children)), -1, dtype=np.int64)
    nest[:, 0] = parents
    for row, own in zip(nest, children, strict=True):
        row[1 : 1 + len(own)] = own
    return nest


def _reach_kev(setup: Setup, materials: list[Material], electrons: ElectronTables) -> Array:
    """Energy [keV] that an electron in each part needs to come into the crystal through the layers; 0 for the crystal.

    The thinnest side of each layer counts.
    """
    needed = STOP_KEV
    by_name: dict[str, float] = {}
    for number, layer in enumerate(setup.detector.layers, 1):
        by_name[layer_name(number, layer)] = needed
        node = electrons.node[materials.index(layer.material)] if layer.material in materials else None
        if node is not None:
            ranges = node[:, 1] + min(layer.thickness_mm, layer.front_thickness_mm)
            needed = float(np.interp(np.interp(needed, node[:, 0], ranges), node[:, 1], node[:, 0]))
    inside = {part.name for part in setup.detector.parts()} - set(by_name)
    reach = [STOP_KEV if p.name in inside else by_name.get(p.name, needed) for p in setup.parts()]
    return np.array([*reach[:-1], CRYSTAL])


@lru_cache(maxsize=8)
def packed(setup: Setup) -> Packed:
    """The arrays of a setup; kept, because a run over many lines asks for them again."""
    parts = setup.parts()
    materials = list(dict.fromkeys(p.material for p in parts))
    crystal = setup.detector.crystal
    half = crystal.half_extent_mm
    electrons = electron_tables(materials, setup.detector.light)
    corner = math.hypot(*half) if isinstance(crystal, Box) else math.hypot(half[0], half[2])
    return Packed(
        sources=setup.source.rows(),
        target=np.array([*crystal.centre_mm, corner]),
        bodies=np.array([p.solid.row for p in parts]),
        nest=_nest(parts),
        materials=np.array([materials.index(p.material) for p in parts], dtype=np.int64),
        reach=_reach_kev(setup, materials, electrons),
        photons=photon_tables(materials),
        electrons=electrons,
    )
