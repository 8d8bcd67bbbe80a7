"""What a spectrum is said to hold, as line components that a fit can scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError
from truekev.matter.materials import Material, material
from truekev.matter.photons import partial_cross_sections
from truekev.nuclides.cascades import cascade_pairs
from truekev.scale.templates import LineSet
from truekev.sources.nearness import share_of_second
from truekev.sources.source import Body, Source
from truekev.sources.words import source_of_word

__all__ = ["Pairs", "Sample", "joined", "sample_of"]

Array = npt.NDArray[np.float64]
Window = tuple[Material, float]  # material and thickness [mm] between source and crystal
_LOWEST_KEV, _HIGHEST_KEV = 25.0, 2950.0
# Self-absorption, scatter and windows change the balance between these ranges most; parts are free.
_SPLITS_KEV = (110.0, 300.0)
# Ra-228 never exceeds the Th-228 that grows from it by more than 1.21 in thorium of any age (Bateman equations, DDEP
# half-lives); a little is allowed for crude templates.
_FED = (("Ra-228 part", "Th-228 part", 1.3),)
_LEAST_SHARE = 0.002  # of a component's strongest line: weaker ones only cost time


# Sums of cascades: a source seen from nowhere nearer than this makes too few of them to matter.
_LEAST_NEARNESS = 0.3
_RESPONSE_MM = 15.0  # the point that responses are made for
_CUBE_MM = (10.0, 10.0, 10.0)  # for larger crystals both shares grow, and their ratio is overrated
_HOUSING_MM = 2.0  # of reflector and lid in front of a crystal; common practice, no source
_LEAST_PAIR = 0.001  # of the strongest pair


@dataclass(frozen=True, eq=False)
class Pairs:
    """Photons that come together, near enough to the crystal to add up.

    Parameters
    ----------
    first_kev, second_kev : ndarray, shape (n,)
        Their energies [keV].
    rate : ndarray, shape (n,)
        Pairs on the scale of `LineSet.rate`, times how much more of all directions the crystal fills than from the
        place that its response is made for.
    """

    first_kev: Array
    second_kev: Array
    rate: Array


@dataclass(frozen=True)
class Sample:
    """Components of the declared sources, and of the room beside them.

    Parameters
    ----------
    name : str
        Names of the sources.
    components : tuple of LineSet
        Parts that scale independently: of the sources, by component and range of energy.
    wholes : tuple of int
        For each part the number of the component it was cut from; -1 for parts whose strength against the
        others nobody knows (X-rays and all below the lowest split).
    fed : tuple of (int, int, float)
        Wholes of which the first cannot be there without the second: (first, second, largest ratio of
        their activities over the declared one).
    room : tuple of LineSet
        Natural lines that any spectrum may hold and the sources do not.
    window : Window or None
        What the photons had to pass.
    pairs : Pairs or None
        Photons of one decay that may add up to one pulse; None where no source with cascades stands near.
    """

    name: str
    components: tuple[LineSet, ...]
    wholes: tuple[int, ...]
    fed: tuple[tuple[int, int, float], ...] = ()
    room: tuple[LineSet, ...] = ()
    window: Window | None = None
    pairs: Pairs | None = None


def transmission(body: Body, energy_kev: Array) -> Array:
    """Mean share of photons that leave the body towards the crystal: uniform slab, (1 - exp(-x)) / x.

    Good to some ten per cent; the free parts take up the rest.
    """
    if body.form == "rods":
        inside, thickness_cm = material("W"), 0.08 * (body.diameter_mm or 2.4)
    elif body.form == "vial":
        radius_cm = 0.05 * (body.inner_diameter_mm or 16.0)
        thickness_cm = 0.1 * (body.fill_height_mm or 6.0)
        density = (body.oxide_mass_g or 3.0) / (np.pi * radius_cm**2 * thickness_cm)
        inside = material("ThO2").with_density(float(np.clip(density, 0.2, 10.0)))
    else:
        return np.ones_like(energy_kev)
    depth = partial_cross_sections(inside, energy_kev).total * inside.density_g_cm3 * thickness_cm
    return np.asarray(-np.expm1(-depth) / depth)


def _passed(source: Source, window: Window | None, energy_kev: Array) -> Array:
    """Share of photons that come through the source's body and what stands before the crystal."""
    share = transmission(source.body, energy_kev)
    if window is not None:
        of_window, thickness_mm = window
        depth = partial_cross_sections(of_window, energy_kev).total * of_window.density_g_cm3 * 0.1 * thickness_mm
        share = share * np.exp(-depth)
    return share


def _components(source: Source, window: Window | None = None) -> list[LineSet]:
    gathered: dict[str, list[tuple[float, float, str]]] = {}
    for component in source.components:
        name = component.tied_to or component.name
        for line in component.lines():
            if _LOWEST_KEV <= line.energy_kev <= _HIGHEST_KEV:
                maker = line.nuclide or component.name
                gathered.setdefault(name, []).append((line.energy_kev, line.photons_per_s, maker))
    whole = []
    for name, rows in gathered.items():
        strongest = max(rate for _, rate, _ in rows)
        kept = sorted(row for row in rows if row[1] >= _LEAST_SHARE * strongest)
        energy = np.array([row[0] for row in kept])
        rate = np.array([row[1] for row in kept]) * _passed(source, window, energy)
        whole.append(LineSet(name, energy, rate, tuple(row[2] for row in kept)))
    return whole


def _nearness(source: Source) -> float:
    """How much more of all directions the crystal fills than from the place that its response is made for."""
    near = share_of_second(source.body, source.distance_mm + _HOUSING_MM, _CUBE_MM)
    return near / share_of_second(Body("point"), _RESPONSE_MM, _CUBE_MM)


def _pairs(sources: Sequence[Source], window: Window | None) -> Pairs | None:
    found = []
    for source in sources:
        near = _nearness(source)
        if near < _LEAST_NEARNESS:
            continue
        rows = []
        for component in source.components:
            first = {(line.nuclide, line.energy_kev): line.photons_per_s for line in component.lines()}
            for name in component.activities_bq:
                for pair in cascade_pairs(name):
                    made = first.get((pair.nuclide, pair.first_kev), 0.0)
                    rows.append((pair.first_kev, pair.second_kev, near * pair.share * made))
        if rows:
            one, other, rate = np.array(rows).T
            found.append([one, other, rate * _passed(source, window, one) * _passed(source, window, other)])
    if not found:
        return None
    all_pairs = np.concatenate(found, axis=1)
    energies, rate = all_pairs[:2], all_pairs[2]
    inside = np.all((energies >= _LOWEST_KEV) & (energies <= _HIGHEST_KEV), axis=0) & (rate > 0)
    kept = all_pairs[:, inside & (rate >= _LEAST_PAIR * rate[inside].max(initial=0.0))]
    return Pairs(*kept) if kept.size else None


def joined(name: str, sets: Sequence[LineSet]) -> LineSet:
    """Several line sets as one."""
    return LineSet(
        name,
        np.concatenate([s.energy_kev for s in sets]),
        np.concatenate([s.rate for s in sets]),
        tuple(maker for s in sets for maker in s.makers),
    )


def _split(source: Source, components: Sequence[LineSet], first: int) -> tuple[list[LineSet], list[int]]:
    """Parts by range of energy and the number of their whole; below the lowest split a source is one part."""
    low, middle = _SPLITS_KEV
    parts: list[LineSet] = []
    made = {component.name for component in source.components if component.extra_lines}
    below = [c.part(c.name, 0.0, low) for c in components if c.name not in made]
    below = [c for c in below if c.energy_kev.size]
    if below:
        parts.append(joined(f"{source.name} below {low:.0f} keV", below))
    parts += [c for c in components if c.name in made]
    components = [c for c in components if c.name not in made]
    # A source of nothing but low lines (Am-241) stands or falls by them.
    only_low = not any(np.any(c.energy_kev >= low) for c in components)
    wholes = [first if only_low else -1] * len(parts)
    for number, component in enumerate(components):
        for name, start, stop in (
            (f"{component.name} {low:.0f} to {middle:.0f} keV", low, middle),
            (component.name, middle, np.inf),
        ):
            part = component.part(name, start, stop)
            if part.energy_kev.size:
                parts.append(part)
                wholes.append(first + number)
    return parts, wholes


def sample_of(sources: Sequence[Source], window: Window | None = None) -> Sample:
    """The components of one or several sources counted together, behind a window.

    Raises
    ------
    InputError
        A source has no photon line between 25 and 2950 keV.
    """
    parts: list[LineSet] = []
    wholes: list[int] = []
    fed: list[tuple[int, int, float]] = []
    for source in sources:
        components = _components(source, window)
        if not components:
            raise InputError(
                f"source {source.name!r} has no photon line between {_LOWEST_KEV:.0f} and {_HIGHEST_KEV:.0f} keV; "
                "name a source that has."
            )
        first = max(wholes, default=-1) + 1
        of_source, of_whole = _split(source, components, first)
        numbers = {part.name: whole for part, whole in zip(of_source, of_whole, strict=True)}
        fed += [(numbers[a], numbers[b], most) for a, b, most in _FED if a in numbers and b in numbers]
        parts += of_source
        wholes += of_whole
    held = {maker for part in parts for maker in part.makers}
    room = []
    for name, head, members in (
        ("room potassium", "K-40", {"K-40"}),
        ("room radium series", "Bi-214", {"Pb-214", "Bi-214", "Ra-226"}),
        ("room thorium series", "Tl-208", {"Ac-228", "Pb-212", "Bi-212", "Tl-208", "Ra-224"}),
    ):
        if head in held:
            continue
        lines = joined(name, _components(source_of_word("room-background"))).part(name, _SPLITS_KEV[0], np.inf)
        room.append(lines.made_by(members))
    return Sample(
        " + ".join(source.name for source in sources),
        tuple(parts),
        tuple(wholes),
        tuple(fed),
        tuple(room),
        window,
        _pairs(sources, window),
    )
