"""What a source emits: photons per second of every line inside and outside the body, X-rays it makes, betas."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from truekev.matter.absorption import radiation_yield
from truekev.nuclides.betas import beta_spectrum_per_kev
from truekev.quantity import Measured
from truekev.sources.bodies import body_parts
from truekev.sources.escape import U_MADE, EscapeRays, MadeXray, escape_rays, made_x_rays
from truekev.sources.source import Source
from truekev.transport.setup import SourceBody

__all__ = ["Betas", "Emission", "EmittedOutside", "MadeOutside", "emission_of"]

LOWEST_KEV, HIGHEST_KEV = 10.0, 3100.0
_LEAST_SHARE = 0.002
_CROSS_SECTION_U = 0.02  # XCOM, of the depth
_GRID_KEV = np.arange(1.0, 3300.0, 2.0)


@dataclass(frozen=True)
class EmittedOutside:
    """A line of a nuclide: photons per second born, and leaving the body unscattered into all directions."""

    component: str
    nuclide: str
    energy_kev: float
    kind: str
    born_per_s: Measured
    outside_per_s: Measured
    escape: float


@dataclass(frozen=True)
class MadeOutside:
    """A K X-ray made in the body by its own photons: photons per second inside and outside."""

    element: str
    energy_kev: float
    born_per_s: Measured
    outside_per_s: Measured


@dataclass(frozen=True)
class Betas:
    """Betas of the whole source.

    Parameters
    ----------
    per_s, mean_kev : float
        Betas per second, and their mean energy.
    power_kev_per_s : float
        Their energy in all.
    bremsstrahlung_kev_per_s : float
        Energy that leaves their tracks as photons, were all stopped in the body.
    """

    per_s: float
    mean_kev: float
    power_kev_per_s: float
    bremsstrahlung_kev_per_s: float


@dataclass(frozen=True)
class Emission:
    """What a source emits."""

    lines: tuple[EmittedOutside, ...]
    made: tuple[MadeOutside, ...]
    betas: Betas


def _u_escape(escape: float, u: float) -> float:
    """Statistics of the rays, and the cross sections: 2 % of the depth, as of a slab of that escape."""
    depth = -math.log(max(escape, 1e-12))
    return math.hypot(u, _CROSS_SECTION_U * escape * min(depth, 1.0))


def _lines(source: Source, rays: EscapeRays) -> list[EmittedOutside]:
    rows = []
    for component in source.components:
        if component.extra_lines:
            continue
        for line in component.lines():
            if LOWEST_KEV <= line.energy_kev <= HIGHEST_KEV:
                rows.append((component, line))
    strongest = max((line.photons_per_s for _, line in rows), default=0.0)
    rows = [(c, line) for c, line in rows if line.photons_per_s >= _LEAST_SHARE * strongest]
    share, u_share = rays.escape([line.energy_kev for _, line in rows]) if rows else (np.zeros(0), np.zeros(0))
    found = []
    for (component, line), escape, u_rays in zip(rows, share.tolist(), u_share.tolist(), strict=True):
        activity = component.activities_bq.get(line.nuclide, 0.0)
        u_activity = component.u_activities_bq.get(line.nuclide, 0.0) / activity if activity else 0.0
        u_born = math.hypot(line.u_photons_per_s, u_activity * line.photons_per_s)
        u_out = math.hypot(u_born * escape, line.photons_per_s * _u_escape(escape, u_rays))
        found.append(
            EmittedOutside(
                component.name,
                line.nuclide,
                line.energy_kev,
                line.kind,
                Measured(line.photons_per_s, u_born, "1/s"),
                Measured(line.photons_per_s * escape, u_out, "1/s"),
                escape,
            )
        )
    return sorted(found, key=lambda one: one.energy_kev)


def _made(one: MadeXray) -> MadeOutside:
    return MadeOutside(
        one.element,
        one.energy_kev,
        Measured(one.inside_per_s, U_MADE * one.inside_per_s, "1/s"),
        Measured(one.outside_per_s, U_MADE * one.outside_per_s, "1/s"),
    )


def _betas(source: Source, body: SourceBody) -> Betas:
    spectrum = np.zeros_like(_GRID_KEV)
    for name, activity in source.activities_bq.items():
        spectrum += activity * beta_spectrum_per_kev(name, _GRID_KEV)
    spectrum *= _GRID_KEV[1] - _GRID_KEV[0]
    per_s, power = float(spectrum.sum()), float(spectrum @ _GRID_KEV)
    radiated = 0.0
    if body.parts:
        innermost = body.parts[-1].material
        radiated = float((spectrum * _GRID_KEV) @ radiation_yield(innermost, np.maximum(_GRID_KEV, 5.0)))
    return Betas(per_s, power / per_s if per_s else 0.0, power, radiated)


def emission_of(source: Source) -> Emission:
    """What a source emits with the activities that it holds.

    Raises
    ------
    InputError
        Its body cannot be: see `sources.bodies.strata_of`.
    """
    body = body_parts(source.body)
    rays = escape_rays(body)
    lines = _lines(source, rays)
    made = made_x_rays(rays, [one.energy_kev for one in lines], np.array([one.born_per_s.value for one in lines]))
    least = _LEAST_SHARE * max((one.born_per_s.value for one in lines), default=0.0)
    return Emission(tuple(lines), tuple(_made(one) for one in made if one.inside_per_s >= least), _betas(source, body))
