"""What each component of a sample makes in the detector: counts per second, unit strength, on the axis of pulse height.

The axis is u = sqrt(p) of scale/templates.py. From the responses of a declared count (sample, detector) at some sixty
energies, the continuum is laid out once on a close grid of energies; a component is then a sum over its lines, so that
hundreds of components cost little. Everything is a cumulative, from which the counts between any channel edges follow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from truekev.matter.materials import mixture
from truekev.matter.photons import partial_cross_sections
from truekev.samples.candidates import NATURAL_URANIUM
from truekev.scale.light import REFERENCE_KEV, LightCurve
from truekev.scale.templates import LineSet, build_templates, nominal_pulse_kev
from truekev.transport.response import ROUTES
from truekev.transport.setup_response import RouteResponse, SetupResponse

__all__ = [
    "DEPTHS_G_CM2",
    "ComponentTemplates",
    "PeakShape",
    "ResponseGrid",
    "beta_row",
    "component_templates",
    "response_grid",
]

Array = npt.NDArray[np.float64]

_GRID_KEV: Array = np.geomspace(18.0, 3000.0, 240)
_MC2_KEV = 510.998950
_FWHM = 2.3548200450309493
_WIDTH_STEP = 0.01
_COMPARED_KEV = 80.0  # nearly all photons that hit are absorbed
# Angles [degrees] that stand, housing and what stands near scatter by just once, each with the share that it makes of
# what comes unscattered, at 662 keV and strength 1.
_ONCE = {"forward": ((8.0, 60.0), 0.10), "side": ((60.0, 120.0), 0.10), "once": ((120.0, 180.0), 0.15)}
TEMPLATE_PARTS = ("main", "back", "forward", "side", "once", "wider", "tilted")
# Thickness of matter that may surround the activity of a sample of which nothing is known: mineral above zero; below,
# heavy metal (uranium about uranium, else tungsten).
DEPTHS_G_CM2: tuple[float, ...] = (-8.0, -2.0, -0.5, -0.1, 0.0, 0.15, 0.5, 1.5, 5.0, 25.0)


@dataclass(frozen=True)
class PeakShape:
    """Peak widths of an instrument: FWHM/E at 661.655 keV, FWHM growing as light ** (1/2 + slope)."""

    fwhm_662: float
    slope: float = 0.0

    def sigma_u(self, curve: LightCurve, energy_kev: npt.ArrayLike) -> Array:
        """Standard deviation of a peak on the axis u."""
        light = 1e3 * curve.light_mev(energy_kev, 1.0) / REFERENCE_KEV
        return np.asarray(0.5 * self.fwhm_662 * np.sqrt(REFERENCE_KEV) * light**self.slope / _FWHM)

    @property
    def fwhm_u(self) -> float:
        """Width of a peak on the axis u at 661.655 keV."""
        return float(0.5 * self.fwhm_662 * np.sqrt(REFERENCE_KEV))


@dataclass(frozen=True, eq=False)
class ResponseGrid:
    """Responses of one count laid out on a grid of energies.

    Parameters
    ----------
    u : ndarray, shape (m,)
        Axis.
    direct, back, forward, side, once : ndarray, shape (g, m)
        Cumulative continuum per photon born at each energy of the grid: by all routes of the count itself; of photons
        that surroundings scatter at strength 1, with their own peaks: back out of something thick, and just once
        forward, from the side and back.
    response : SetupResponse
    curve : LightCurve
    shape : PeakShape
    """

    u: Array
    direct: Array
    back: Array
    forward: Array
    side: Array
    once: Array
    response: SetupResponse
    curve: LightCurve
    shape: PeakShape

    def efficiency(self, energy_kev: npt.ArrayLike) -> Array:
        """Full-energy counts per photon born."""
        return self.response.peak.full_energy(energy_kev)


@dataclass(frozen=True, eq=False)
class ComponentTemplates:
    """Cumulative counts per second of k components at strength 1, shape (d, k, m) each.

    The first axis is the depth of matter about the activity, where that is not known; one where it is. `main` is
    everything the count itself makes, `back`, `forward`, `side` and `once` what surroundings add; `wider` is the change
    of `main` per unit of relative peak width, `tilted` that of a width which grows so with ln of energy from 662 keV.
    """

    names: tuple[str, ...]
    grid: ResponseGrid
    depths_g_cm2: tuple[float, ...]
    main: Array
    back: Array
    forward: Array
    side: Array
    once: Array
    wider: Array
    tilted: Array

    @property
    def u(self) -> Array:
        """The axis."""
        return self.grid.u

    def peak_rates(self, lines: LineSet, depth: float) -> Array:
        """Full-energy counts per second of lines at a depth, counted in steps of the depths."""
        low = min(int(depth), max(self.n_depths - 2, 0))
        here = _depth_factor(lines, self.depths_g_cm2[low])
        if self.n_depths > 1:
            deeper = _depth_factor(lines, self.depths_g_cm2[low + 1])
            here = here + (depth - low) * (deeper - here)
        return np.asarray(lines.rate * here * self.grid.efficiency(lines.energy_kev))

    def with_betas(self, rows: Mapping[str, Array]) -> ComponentTemplates:
        """The same with the cumulative counts of betas and their bremsstrahlung added to some components."""
        main = self.main.copy()
        for name, row in rows.items():
            main[:, self.names.index(name)] += row
        return replace(self, main=main)

    @property
    def bare(self) -> float:
        """Place of no depth among the depths."""
        return float(self.depths_g_cm2.index(0.0))

    @property
    def n_depths(self) -> int:
        """Number of depths."""
        return int(self.main.shape[0])

    def joined(self, other: ComponentTemplates) -> ComponentTemplates:
        """These components and those of another set on the same axis, its depths repeated if it has but one."""
        parts = []
        for name in TEMPLATE_PARTS:
            more = np.broadcast_to(getattr(other, name), (self.n_depths, *getattr(other, name).shape[1:]))
            parts.append(np.concatenate((getattr(self, name), more), axis=1))
        return ComponentTemplates(self.names + other.names, self.grid, self.depths_g_cm2, *parts)


def _on_grid(route: RouteResponse, curve: LightCurve, fwhm_662: float) -> tuple[Array, Array]:
    bare = replace(route, peak=np.zeros_like(route.peak))
    sets = [LineSet(f"{energy:.1f}", np.array([energy]), np.array([1.0])) for energy in _GRID_KEV]
    built = build_templates(sets, [], bare, curve, [fwhm_662])
    return built.u, built.cumulative[0, : len(sets)] * built.totals[: len(sets), None]


def _between(energy_kev: Array, stack: Array) -> Array:
    """Rows of `stack` interpolated between the energies of the grid."""
    at = np.interp(np.log(energy_kev), np.log(_GRID_KEV), np.arange(_GRID_KEV.size))
    low = np.minimum(at.astype(int), _GRID_KEV.size - 2)
    share = (at - low)[:, None]
    return np.asarray((1.0 - share) * stack[low] + share * stack[low + 1])


def _weights(energy_kev: Array, rate: Array) -> Array:
    """Rates spread over the two neighbours of each energy in the grid, shape (g,)."""
    at = np.interp(np.log(energy_kev), np.log(_GRID_KEV), np.arange(_GRID_KEV.size))
    low = np.minimum(at.astype(int), _GRID_KEV.size - 2)
    weights = np.zeros(_GRID_KEV.size)
    np.add.at(weights, low, rate * (1.0 - (at - low)))
    np.add.at(weights, low + 1, rate * (at - low))
    return weights


def _peaks(energy_kev: Array, weight: Array, grid: tuple[Array, LightCurve, PeakShape], factor: float = 1.0) -> Array:
    """Cumulative of peaks, shape (n, m)."""
    u, curve, shape = grid
    centre = np.sqrt(nominal_pulse_kev(curve, energy_kev))
    sigma = factor * shape.sigma_u(curve, energy_kev)
    return np.asarray(weight[:, None] * ndtr((u[None, :] - centre[:, None]) / sigma[:, None]))


def _scattered(whole: Array, degrees: tuple[float, float], share: float) -> Array:
    """Photons of each energy of the grid scattered once by free electrons, then counted as `whole` says.

    `share` is that of photons of 662 keV; others scatter as their cross section (Klein and Nishina) goes.
    """
    cosine = np.linspace(np.cos(np.radians(degrees[1])), np.cos(np.radians(degrees[0])), 15)

    def scattering(energy_kev: float) -> tuple[Array, Array]:
        ratio = 1.0 / (1.0 + energy_kev / _MC2_KEV * (1.0 - cosine))
        return ratio, ratio**2 * (ratio + 1.0 / ratio - 1.0 + cosine**2)

    unit = share / float(scattering(REFERENCE_KEV)[1].sum())
    rows = np.zeros_like(whole)
    for i, energy in enumerate(_GRID_KEV.tolist()):
        ratio, weight = scattering(energy)
        rows[i] = unit * weight @ _between(np.maximum(energy * ratio, _GRID_KEV[0]), whole)
    return rows


def response_grid(
    response: SetupResponse, surroundings: SetupResponse, curve: LightCurve, shape: PeakShape
) -> ResponseGrid:
    """Lay the responses of a count out on the grid of energies, for one peak width.

    Parameters
    ----------
    response
        The count itself.
    surroundings
        A point before a wide slab: what it scatters back has the shape of what any surroundings do.
    curve, shape
        The crystal's light, and the peak widths.
    """
    back = _on_grid(surroundings.of("back"), curve, shape.fwhm_662)[1]
    near = float(response.peak.full_energy(_COMPARED_KEV) / surroundings.peak.full_energy(_COMPARED_KEV))
    parts = [_on_grid(response.of(route), curve, shape.fwhm_662) for route in ROUTES]
    u = parts[0][0]
    direct = np.sum([part[1] for part in parts], axis=0)
    whole = parts[0][1] + _peaks(_GRID_KEV, response.peak.full_energy(_GRID_KEV), (u, curve, shape))
    forward, side, once = (_scattered(whole, degrees, share) for degrees, share in _ONCE.values())
    return ResponseGrid(
        u,
        direct,
        near * back,
        forward,
        side,
        once,
        response,
        curve,
        shape,
    )


def _depth_factor(lines: LineSet, depth_g_cm2: float) -> Array:
    """Share of photons that leave a slab in which the activity is spread evenly; see `DEPTHS_G_CM2`."""
    if depth_g_cm2 == 0.0:
        return np.ones_like(lines.energy_kev)
    if depth_g_cm2 > 0.0:
        matter = mixture("mineral", 1.0, {"SiO2": 0.6, "CaO": 0.2, "Fe2O3": 0.2})
    else:
        matter = mixture("heavy metal", 1.0, {"U" if lines.name in NATURAL_URANIUM else "W": 1.0})
    depth = partial_cross_sections(matter, lines.energy_kev).total * abs(depth_g_cm2)
    return np.asarray(-np.expm1(-depth) / depth)


def beta_row(betas_per_s: float, born: RouteResponse, grid: ResponseGrid) -> Array:
    """Cumulative counts per second of the betas of a component, and of their bremsstrahlung."""
    lines = LineSet("betas", np.array([100.0]), np.array([betas_per_s]))
    built = build_templates([lines], [], born, grid.curve, [grid.shape.fwhm_662])
    return np.asarray(built.cumulative[0, 0] * built.totals[0])


def component_templates(
    lines: Sequence[LineSet], grid: ResponseGrid, depths_g_cm2: Sequence[float] = (0.0,)
) -> ComponentTemplates:
    """Templates of components whose lines are photons per second at strength 1.

    Parameters
    ----------
    lines, grid
        Components, and the response of the count.
    depths_g_cm2
        Depths of matter about the activity that a fit may choose from.
    """
    axis = (grid.u, grid.curve, grid.shape)
    energy = np.concatenate([one.energy_kev for one in lines])
    area = grid.efficiency(energy)
    starts = np.cumsum([0, *(one.energy_kev.size for one in lines)])
    shapes, wide = _peaks(energy, area, axis), _peaks(energy, area, axis, 1.0 + _WIDTH_STEP)
    widened = (wide - shapes) / _WIDTH_STEP
    tilt = np.log(energy / REFERENCE_KEV)
    stacks: list[list[Array]] = [[] for _ in TEMPLATE_PARTS]
    for depth in depths_g_cm2:
        rate = np.concatenate([one.rate * _depth_factor(one, depth) for one in lines])
        weights = np.zeros((len(lines), _GRID_KEV.size))
        for i, (start, stop) in enumerate(pairwise(starts)):
            weights[i] = _weights(energy[start:stop], rate[start:stop])
        peaks = np.add.reduceat(rate[:, None] * shapes, starts[:-1], axis=0)
        parts = (
            peaks + weights @ grid.direct,
            weights @ grid.back,
            weights @ grid.forward,
            weights @ grid.side,
            weights @ grid.once,
            np.add.reduceat(rate[:, None] * widened, starts[:-1], axis=0),
            np.add.reduceat((rate * tilt)[:, None] * widened, starts[:-1], axis=0),
        )
        for stack, part in zip(stacks, parts, strict=True):
            stack.append(part)
    names = tuple(one.name for one in lines)
    return ComponentTemplates(names, grid, tuple(depths_g_cm2), *(np.array(stack) for stack in stacks))
