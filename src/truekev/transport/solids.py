"""Solids that bodies are made of: boxes, cylinders along an axis, balls; containment and overlap."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from truekev.errors import OutOfRangeError
from truekev.transport.rays import BALL, BOX, CYLINDER_X, CYLINDER_Y, CYLINDER_Z

__all__ = ["Ball", "Box", "Cylinder", "Point", "Solid", "holds", "overlaps"]

Point = tuple[float, float, float]
Axis = Literal["x", "y", "z"]
_AXES: tuple[Axis, ...] = ("x", "y", "z")
MAX_SIZE_MM = 1e5
# bodies that share a face touch, they do not overlap
_SKIN_MM = 1e-4


def _check(what: str, sizes: tuple[float, ...], centre: Point, allow_zero: bool = False) -> None:
    for size in sizes:
        if not (0 < size <= MAX_SIZE_MM or (allow_zero and size == 0)):
            raise OutOfRangeError(
                f"{what}: a size of {size:g} mm must lie above 0 and not above {MAX_SIZE_MM:g} mm; check the sizes."
            )
    if not all(math.isfinite(c) and abs(c) <= MAX_SIZE_MM for c in centre):
        raise OutOfRangeError(f"{what}: its centre {centre} must be finite and within {MAX_SIZE_MM:g} mm.")


@dataclass(frozen=True)
class Box:
    """A box with faces along the axes: full sizes and centre [mm]."""

    size_mm: Point
    centre_mm: Point = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        _check("box", self.size_mm, self.centre_mm)

    @property
    def row(self) -> tuple[float, ...]:
        """The row of `truekev.transport.rays`."""
        return (BOX, *self.centre_mm, *(s / 2 for s in self.size_mm), 0.0)

    @property
    def half_extent_mm(self) -> Point:
        """Half the size along x, y, z [mm]."""
        a, b, c = (s / 2 for s in self.size_mm)
        return a, b, c

    @property
    def volume_mm3(self) -> float:
        """Volume [mm3]."""
        return math.prod(self.size_mm)

    def nearest(self, point: Point, skin_mm: float = 0.0) -> Point:
        """The point of the box, shrunk by a skin, that is nearest to `point`."""
        a, b, c = (
            min(max(p, m - s / 2 + skin_mm), m + s / 2 - skin_mm)
            for p, m, s in zip(point, self.centre_mm, self.size_mm, strict=True)
        )
        return a, b, c

    def outline(self) -> list[Point]:
        """Points whose convex hull is the box."""
        x, y, z = self.centre_mm
        a, b, c = self.half_extent_mm
        return [(x + i * a, y + j * b, z + k * c) for i, j, k in itertools.product((-1, 1), repeat=3)]


@dataclass(frozen=True)
class Cylinder:
    """A cylinder along x, y or z: diameter, length and centre [mm]."""

    diameter_mm: float
    length_mm: float
    centre_mm: Point = (0.0, 0.0, 0.0)
    axis: Axis = "z"

    def __post_init__(self) -> None:
        _check("cylinder", (self.diameter_mm, self.length_mm), self.centre_mm)

    @property
    def row(self) -> tuple[float, ...]:
        """The row of `truekev.transport.rays`."""
        kind = {"x": CYLINDER_X, "y": CYLINDER_Y, "z": CYLINDER_Z}[self.axis]
        return (kind, *self.centre_mm, self.diameter_mm / 2, self.length_mm / 2, 0.0, 0.0)

    @property
    def half_extent_mm(self) -> Point:
        """Half the size along x, y, z [mm]."""
        a, b, c = ((self.length_mm if axis == self.axis else self.diameter_mm) / 2 for axis in _AXES)
        return a, b, c

    @property
    def volume_mm3(self) -> float:
        """Volume [mm3]."""
        return math.pi / 4 * self.diameter_mm**2 * self.length_mm

    def nearest(self, point: Point, skin_mm: float = 0.0) -> Point:
        """The point of the cylinder, shrunk by a skin, that is nearest to `point`."""
        along = _AXES.index(self.axis)
        away = [p - m for p, m in zip(point, self.centre_mm, strict=True)]
        half = self.length_mm / 2 - skin_mm
        length = min(max(away[along], -half), half)
        across = math.hypot(*(d for i, d in enumerate(away) if i != along))
        radius = self.diameter_mm / 2 - skin_mm
        scale = 1.0 if across <= radius else radius / across
        a, b, c = (
            m + (length if i == along else d * scale) for i, (d, m) in enumerate(zip(away, self.centre_mm, strict=True))
        )
        return a, b, c

    def outline(self) -> list[Point]:
        """Points whose convex hull contains the cylinder and exceeds its radius by 0.03 %."""
        along = _AXES.index(self.axis)
        n = 128
        radius = self.diameter_mm / 2 / math.cos(math.pi / n)
        points = []
        for i in range(n):
            a = radius * math.cos(2 * math.pi * i / n)
            b = radius * math.sin(2 * math.pi * i / n)
            for half in (-self.length_mm / 2, self.length_mm / 2):
                offset = [a, b]
                offset.insert(along, half)
                x, y, z = (m + d for m, d in zip(self.centre_mm, offset, strict=True))
                points.append((x, y, z))
        return points


@dataclass(frozen=True)
class Ball:
    """A ball: diameter and centre [mm]; a diameter of 0 is a point, for sources."""

    diameter_mm: float
    centre_mm: Point = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        _check("ball", (self.diameter_mm,), self.centre_mm, allow_zero=True)

    @property
    def row(self) -> tuple[float, ...]:
        """The row of `truekev.transport.rays`."""
        return (BALL, *self.centre_mm, self.diameter_mm / 2, 0.0, 0.0, 0.0)

    @property
    def half_extent_mm(self) -> Point:
        """Half the size along x, y, z [mm]."""
        return self.diameter_mm / 2, self.diameter_mm / 2, self.diameter_mm / 2

    @property
    def volume_mm3(self) -> float:
        """Volume [mm3]."""
        return math.pi / 6 * self.diameter_mm**3

    def nearest(self, point: Point, skin_mm: float = 0.0) -> Point:
        """The point of the ball, shrunk by a skin, that is nearest to `point`."""
        away = [p - m for p, m in zip(point, self.centre_mm, strict=True)]
        distance = math.hypot(*away)
        radius = max(self.diameter_mm / 2 - skin_mm, 0.0)
        scale = 1.0 if distance <= radius else radius / distance
        a, b, c = (m + d * scale for m, d in zip(self.centre_mm, away, strict=True))
        return a, b, c

    def outline(self) -> list[Point]:
        """Points on the surface, dense enough to show where it is not inside another body to 0.5 %."""
        n = 400
        i = np.arange(n) + 0.5
        polar = np.arccos(1 - 2 * i / n)
        azimuth = math.pi * (1 + math.sqrt(5)) * i
        radius = self.diameter_mm / 2
        x = self.centre_mm[0] + radius * np.cos(azimuth) * np.sin(polar)
        y = self.centre_mm[1] + radius * np.sin(azimuth) * np.sin(polar)
        z = self.centre_mm[2] + radius * np.cos(polar)
        return [(float(a), float(b), float(c)) for a, b, c in zip(x, y, z, strict=True)]


Solid = Box | Cylinder | Ball


def _distance(a: Point, b: Point) -> float:
    return math.dist(a, b)


def holds(outer: Solid, inner: Solid) -> bool:
    """Whether `inner` lies inside `outer`; shared faces allowed, round solids to 0.1 % of their radius."""
    slack = _SKIN_MM + (0.0 if isinstance(inner, Box) else 1e-3 * max(inner.half_extent_mm))
    return all(_distance(outer.nearest(p), p) <= slack for p in inner.outline())


def overlaps(one: Solid, other: Solid) -> bool:
    """Whether two solids share a volume; bodies that only touch do not.

    Notes
    -----
    Alternating projections between two convex sets come down to their distance (J. von Neumann; E. W. Cheney,
    A. A. Goldstein, Proc. Am. Math. Soc. 10 (1959) 448).
    """
    for m, n, a, b in zip(one.centre_mm, other.centre_mm, one.half_extent_mm, other.half_extent_mm, strict=True):
        if abs(m - n) >= a + b - _SKIN_MM:
            return False
    point = one.centre_mm
    for _ in range(400):
        there = other.nearest(point, _SKIN_MM)
        back = one.nearest(there, _SKIN_MM)
        if _distance(there, back) < 1e-9:
            return True
        if _distance(back, point) < 1e-12:
            return False
        point = back
    return _distance(one.nearest(point, _SKIN_MM), other.nearest(point, _SKIN_MM)) < _SKIN_MM
