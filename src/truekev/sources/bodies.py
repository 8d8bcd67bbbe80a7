"""From a source and a detector to what the transport counts: bodies in front of the crystal.

The crystal's front face lies at z = 0 and the housing's front before it; the source's nearest point lies `distance_mm`
before the housing's front. Rods lie along x, their middles before the crystal; a vial points its bottom at it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.matter.materials import Material, compound, known_materials, material, mixture
from truekev.sources.source import Body, Source
from truekev.transport.detector import Detector
from truekev.transport.node_response import detector_geometry
from truekev.transport.setup import Part, Setup, SourceBody
from truekev.transport.solids import Ball, Cylinder, Solid

__all__ = ["ARRANGEMENTS", "Stratum", "body_material", "body_parts", "strata_of", "thoria_powder"]

ARRANGEMENTS = ("side by side", "bundled")
MOST_RODS = 60
_TOUCH = 1.0001  # bodies that touch stand this much apart, so that rounding never makes them overlap
_GAP_MM = 0.01
_EPOXY_G_CM3, _THORIA_G_CM3, _TUNGSTEN_G_CM3 = 1.2, 10.0, 19.3

# What the words of a body are made of; densities of everyday things from memory.
_WORDS: dict[str, Callable[[], Material]] = {
    "fabric with thorium oxide": lambda: mixture("mantle fabric", 0.25, {"C6H10O5": 0.98, "ThO2": 0.02}),
    "glass with thorium": lambda: mixture("thorium glass", 3.8, {"SiO2": 0.55, "La2O3": 0.20, "ThO2": 0.25}),
    "glass with uranium": lambda: mixture("uranium glass", 2.5, {"SiO2": 0.72, "Na2O": 0.15, "CaO": 0.12, "U": 0.01}),
    "potassium chloride": lambda: material("KCl").with_density(1.0),
    "rock with uranium": lambda: mixture("ore", 2.9, {"SiO2": 0.8, "Al2O3": 0.15, "U": 0.05}),
    "paint with radium": lambda: compound("ZnS", 2.0, "luminous paint"),
    "lutetium": lambda: compound("Lu", 9.84, "lutetium"),
    "lanthanum oxide": lambda: compound("La2O3", 2.0, "lanthanum oxide powder"),
    "filter": lambda: material("paper").with_density(0.3),
    "granite": lambda: mixture("granite", 2.65, {"SiO2": 0.72, "Al2O3": 0.15, "K2O": 0.05, "CaO": 0.04, "Fe2O3": 0.04}),
}


@dataclass(frozen=True)
class Stratum:
    """A part of the source that is run on its own: its share of the activity, and the count it makes.

    All strata hold the same matter and differ in where particles are born; what lies close to the crystal is run apart
    because nearly all counts come from there.
    """

    share: float
    setup: Setup


def body_material(words: str) -> Material:
    """What a body's material, in words or by the name of a material, is.

    Raises
    ------
    UnknownNameError
        Neither; offers near matches.
    """
    if words in _WORDS:
        return _WORDS[words]()
    if words in known_materials():
        return material(words)
    raise UnknownNameError("material", words, [*_WORDS, *known_materials()], "Name the body's material so.")


def _need(body: Body, what: str, value: float | None) -> float:
    if value is None:
        raise InputError(f"source body {body.form}: {what} is missing; give it in the source file under [body].")
    if not (math.isfinite(value) and value > 0):
        raise OutOfRangeError(f"source body {body.form}: {what} of {value:g} must be above zero.")
    return float(value)


def thoria_powder(body: Body) -> Material:
    """The powder of a vial: thoria with its tungsten fines at the density that it stands at.

    Raises
    ------
    OutOfRangeError
        A density that no such powder can have, a fraction of fines outside 0 to 0.95.
    """
    mass_g = _need(body, "oxide_mass_g", body.oxide_mass_g)
    inner_mm = _need(body, "inner_diameter_mm", body.inner_diameter_mm)
    height_mm = _need(body, "fill_height_mm", body.fill_height_mm)
    fines = body.tungsten_fraction or 0.0
    if not 0 <= fines <= 0.95:
        raise OutOfRangeError(f"source body vial: tungsten_fraction {fines:g} must lie between 0 and 0.95.")
    solid_g_cm3 = 1.0 / (fines / _TUNGSTEN_G_CM3 + (1.0 - fines) / _THORIA_G_CM3)
    name = "thoria powder" if fines == 0 else f"thoria powder with {100 * fines:.3g} % tungsten"
    solid = mixture(name, solid_g_cm3, {"ThO2": 1.0 - fines, **({"W": fines} if fines > 0 else {})})
    density = mass_g / (1.0 - fines) / (math.pi / 4 * inner_mm**2 * height_mm * 1e-3)
    if density < 0.05:
        raise OutOfRangeError(
            f"source body vial: {mass_g:g} g of oxide over {height_mm:g} mm in {inner_mm:g} mm would have "
            f"{density:.2g} g/cm3; a loose powder has a fifth to a half of the solid's {solid_g_cm3:.3g} g/cm3. "
            "Check mass, fill height and diameter."
        )
    return solid.with_density(density)


def _point(body: Body, front_mm: float) -> SourceBody:
    return SourceBody((Ball(0.0, (0.0, 0.0, -front_mm - _GAP_MM)),))


def _disc(body: Body, front_mm: float) -> SourceBody:
    diameter, thickness = _need(body, "diameter_mm", body.diameter_mm), _need(body, "length_mm", body.length_mm)
    volume_cm3 = math.pi / 4 * diameter**2 * thickness * 1e-3
    if body.form == "resin":
        made_of = _resin(body, volume_cm3)
    elif body.form == "bag" and body.salt_mass_g is not None:
        mass_g = _need(body, "salt_mass_g", body.salt_mass_g)
        made_of = material("KCl").with_density(mass_g / volume_cm3)
    else:
        made_of = body_material(body.material)
    solid = Cylinder(diameter, thickness, (0.0, 0.0, -front_mm - thickness / 2))
    return SourceBody((solid,), (), (Part(f"source ({made_of.name})", solid, made_of),))


def _resin(body: Body, volume_cm3: float) -> Material:
    oxide_g = _need(body, "oxide_mass_g", body.oxide_mass_g)
    epoxy_g = (volume_cm3 - oxide_g / _THORIA_G_CM3) * _EPOXY_G_CM3
    if epoxy_g <= 0.1 * oxide_g:
        raise OutOfRangeError(
            f"source body resin: {oxide_g:g} g of oxide cannot be set in {volume_cm3:.3g} cm3; the grains alone pack "
            "to half of their volume. Give a larger disc or less oxide."
        )
    total = oxide_g + epoxy_g
    parts = {"ThO2": oxide_g / total, "C21H25ClO5": epoxy_g / total}
    return mixture("thoria in resin", total / volume_cm3, parts)


def _vial(body: Body, front_mm: float) -> SourceBody:
    powder = thoria_powder(body)
    inner, wall = _need(body, "inner_diameter_mm", body.inner_diameter_mm), _need(body, "wall_mm", body.wall_mm)
    fill = _need(body, "fill_height_mm", body.fill_height_mm)
    head = max(0.5 * fill, 5.0)
    glass = material(body.wall_material or "glass")
    outside = inner + 2 * wall
    length = fill + head + 2 * wall
    outer = Cylinder(outside, length, (0.0, 0.0, -front_mm - length / 2))
    hollow = Cylinder(inner, fill + head, (0.0, 0.0, -front_mm - wall - (fill + head) / 2))
    layer = Cylinder(inner, fill, (0.0, 0.0, -front_mm - wall - fill / 2))
    parts = (
        Part(f"vial ({glass.name})", outer, glass),
        Part("air in the vial", hollow, material("air")),
        Part(powder.name, layer, powder),
    )
    return SourceBody((layer,), (), parts)


def _centres(n: int, pitch: float, arrangement: str) -> list[tuple[float, float]]:
    """Places (y, z) of rods about the origin."""
    if arrangement == ARRANGEMENTS[0]:
        return [((i - (n - 1) / 2) * pitch, 0.0) for i in range(n)]
    reach = range(-8, 9)
    lattice = [((i + (j % 2) / 2) * pitch, j * pitch * math.sqrt(0.75)) for i in reach for j in reach]
    return sorted(lattice, key=lambda place: (round(math.hypot(*place), 6), place))[:n]


def _rod_material(fraction: float) -> Material:
    density = 1.0 / (fraction / _THORIA_G_CM3 + (1.0 - fraction) / _TUNGSTEN_G_CM3)
    parts = {"W": 1.0 - fraction} | ({"ThO2": fraction} if fraction > 0 else {})
    return mixture("thoriated tungsten", density, parts)


def _rods(body: Body, front_mm: float) -> tuple[list[Part], float, float]:
    """Parts of all rods, their length and the counted length."""
    n = int(_need(body, "n_rods", body.n_rods))
    if n > MOST_RODS:
        raise OutOfRangeError(
            f"source body rods: {n} rods; at most {MOST_RODS} are computed, more add next to nothing."
        )
    diameter, length = _need(body, "diameter_mm", body.diameter_mm), _need(body, "length_mm", body.length_mm)
    counted = length if body.counted_length_mm is None else _need(body, "counted_length_mm", body.counted_length_mm)
    if counted > length:
        raise OutOfRangeError(
            f"source body rods: counted_length_mm {counted:g} is longer than the rods ({length:g} mm)."
        )
    arrangement = body.arrangement or ARRANGEMENTS[0]
    if arrangement not in ARRANGEMENTS:
        raise UnknownNameError("arrangement of rods", arrangement, ARRANGEMENTS)
    places = _centres(n, diameter * _TOUCH, arrangement)
    nearest = max(z for _, z in places) + diameter / 2
    made_of = _rod_material(body.thoria_fraction or 0.0)
    parts = [
        Part(f"rod {i}", Cylinder(diameter, length, (0.0, y, z - nearest - front_mm - _GAP_MM), "x"), made_of)
        for i, (y, z) in enumerate(places, 1)
    ]
    return parts, length, counted


def _pieces(parts: list[Part], start: float, stop: float) -> tuple[Solid, ...]:
    """The stretch of all rods from `start` to `stop` to both sides of the middle [mm]."""
    pieces: list[Solid] = []
    for part in parts:
        rod = part.solid
        assert isinstance(rod, Cylinder)
        _, y, z = rod.centre_mm
        if start == 0.0:
            pieces.append(Cylinder(rod.diameter_mm, 2 * stop, (0.0, y, z), "x"))
        else:
            pieces += [
                Cylinder(rod.diameter_mm, stop - start, (side * (start + stop) / 2, y, z), "x") for side in (-1.0, 1.0)
            ]
    return tuple(pieces)


def _rod_strata(body: Body, front_mm: float, crystal_mm: float) -> list[tuple[float, SourceBody]]:
    parts, length, counted = _rods(body, front_mm)
    near = crystal_mm / 2 + front_mm + (body.diameter_mm or 0.0)
    edges = [0.0, *(edge for edge in (near, 3 * near) if edge < 0.9 * counted / 2), counted / 2]
    return [
        (2 * (stop - start) / length, SourceBody(_pieces(parts, start, stop), (), tuple(parts)))
        for start, stop in itertools.pairwise(edges)
    ]


_FORMS: dict[str, Callable[[Body, float], SourceBody]] = {
    "point": _point,
    "disc": _disc,
    "bag": _disc,
    "resin": _disc,
    "vial": _vial,
}


def body_parts(body: Body) -> SourceBody:
    """The body on its own, at the origin of its place: where particles are born and through what they leave.

    Raises
    ------
    InputError
        See `strata_of`.
    """
    if body.form == "rods":
        parts, _, counted = _rods(body, 0.0)
        return SourceBody(_pieces(parts, 0.0, counted / 2), (), tuple(parts))
    return _of_form(body)(body, 0.0)


def _of_form(body: Body) -> Callable[[Body, float], SourceBody]:
    if body.form == "surroundings":
        raise InputError(
            "the room all around is no body in front of the crystal; give a background spectrum instead of that source."
        )
    if body.form not in _FORMS:
        raise UnknownNameError("form of a source", body.form, [*_FORMS, "rods"])
    return _FORMS[body.form]


def strata_of(source: Source, detector: Detector, surroundings: tuple[Part, ...] = ()) -> tuple[Stratum, ...]:
    """The source in front of the detector, in strata whose shares are those of the activity.

    Parameters
    ----------
    source, detector
        What is counted with what.
    surroundings
        Shield, table, slab behind the source; outer first.

    Raises
    ------
    InputError
        A size that is missing, zero or negative; a density that no such powder has; a material that is not known;
        bodies that overlap; a source that reaches into the crystal.
    """
    geometry = detector_geometry(detector)
    front_mm = geometry.front_mm + source.distance_mm
    if source.body.form == "rods":
        found = _rod_strata(source.body, front_mm, max(geometry.size_mm))
    else:
        found = [(1.0, _of_form(source.body)(source.body, front_mm))]
    return tuple(Stratum(share, Setup(geometry, body, surroundings)) for share, body in found)
