"""Photons: flight, choice of interaction, vacancies with their X-rays (compiled)."""

from __future__ import annotations

from math import cos, log, pi, sin, sqrt

from truekev.matter.photons import ELECTRON_KEV, MIN_KEV
from truekev.transport.compiled import Array, Integers, Stream, compiled, uniform
from truekev.transport.directions import isotropic, turned
from truekev.transport.electron_tracks import (
    CRYSTAL,
    ELECTRON,
    IN_CRYSTAL,
    LIGHT,
    LOST,
    OUTSIDE,
    PHOTON,
    POSITRON,
    ROUTE,
    dipole_cosine,
    excess_light,
    push,
    start_electron,
)
from truekev.transport.photon_steps import (
    compton,
    fly,
    pair_share,
    photoelectron_cosine,
    rayleigh_cosine,
)

__all__ = ["BACK", "DIRECT", "FORWARD", "SECONDARY", "track_photon"]

DIRECT, FORWARD, BACK, SECONDARY = 0.0, 1.0, 2.0, 3.0


@compiled
def _leave(kev: float, crystal: bool, nodes: Array, m: int, light: Array, tally: Array) -> None:
    """Leave the energy of a soft electron where it is made."""
    if crystal:
        tally[IN_CRYSTAL] += kev
        tally[LIGHT] += excess_light(nodes, m, light, kev)
    else:
        tally[OUTSIDE] += kev


@compiled
def _fill_vacancy(
    vacancy: int, x: float, y: float, z: float, body: int, crystal: bool, route: float, settled: float,
    channel: Array, line_range: Integers, line: Array, nodes: Array, m: int, light: Array,
    stack: Array, n: int, tally: Array, stream: Stream,
) -> int:  # fmt: skip
    """Fill a vacancy: X-rays go on the stack, Auger electrons stay; returns the new count of the stack."""
    while True:
        binding = channel[m, vacancy, 0]
        chance = uniform(stream)
        chosen = -1
        for i in range(line_range[m, vacancy, 0], line_range[m, vacancy, 1]):
            if chance < line[i, 0]:
                chosen = i
                break
        if chosen < 0:
            for _ in range(int(channel[m, vacancy, 3])):
                _leave(channel[m, vacancy, 2], crystal, nodes, m, light, tally)
            _leave(channel[m, vacancy, 1], crystal, nodes, m, light, tally)
            return n
        u, v, w = isotropic(stream)
        n = push(stack, n, PHOTON, x, y, z, u, v, w, line[chosen, 1], body, route, settled)
        following = int(line[chosen, 2])
        rest = binding - line[chosen, 1]
        if following < 0:
            _leave(rest, crystal, nodes, m, light, tally)
            return n
        # tables of edges and lines agree within some eV: the difference goes with the vacancy
        difference = rest - channel[m, following, 0]
        if crystal:
            tally[IN_CRYSTAL] += difference
        else:
            tally[OUTSIDE] += difference
        vacancy = following


@compiled
def track_photon(
    kev: float, x: float, y: float, z: float, u: float, v: float, w: float, body: int, s: int, mu: float,
    route: float, settled: float,
    bodies: Array, nest: Integers, materials: Integers, reach: Array,
    segment: Array, first: Integers, absorb: Array, channel: Array, line_range: Integers, line: Array,
    incoherent: Array, shell: Array, form: Array,
    nodes: Array, brems: Array, light: Array, stack: Array, n: int, tally: Array, stream: Stream,
) -> int:  # fmt: skip
    """Follow a photon from a collision until it is absorbed or leaves; returns the new count of the stack.

    `s` and `mu` are the segment and the cross section of the collision, as `fly` found them.
    `route` says what it met outside the crystal before it first interacted inside; `settled` is 1 from then on. A
    Compton scattering by less than 90 degrees makes it FORWARD, by more BACK; coherent scattering changes nothing.
    """
    ln_kev = log(kev)
    while True:
        m = materials[body]
        crystal = reach[body] == CRYSTAL
        if crystal:
            settled = 1.0
            tally[ROUTE] = max(tally[ROUTE], route)
        born = route if settled > 0 else SECONDARY
        step = ln_kev - segment[m, s, 0]
        chance = uniform(stream) * mu
        if chance < segment[m, s, 3] + segment[m, s, 4] * step:
            pick = uniform(stream)
            hit = 0
            while absorb[m, s, hit] < pick:
                hit += 1
            binding = channel[m, hit, 0]
            if binding > kev:
                binding = 0.0
            energy = kev - binding
            after = start_electron(
                ELECTRON, energy, x, y, z, body, born, settled, bodies, nest, materials, reach, nodes, brems, light,
                stack, n, tally, stream,
            )  # fmt: skip
            if after < 0:
                azimuth = 2 * pi * uniform(stream)
                a, b, c = turned(u, v, w, photoelectron_cosine(energy, stream), cos(azimuth), sin(azimuth))
                after = push(stack, n, ELECTRON, x, y, z, a, b, c, energy, body, born, settled)
            n = after
            if binding > 0:
                n = _fill_vacancy(
                    hit, x, y, z, body, crystal, born, settled, channel, line_range, line, nodes, m, light,
                    stack, n, tally, stream,
                )  # fmt: skip
            return n
        if chance < segment[m, s, 5] + segment[m, s, 6] * step:
            cosine, kev_after, hit = compton(kev, incoherent, shell, m, stream)
            azimuth = 2 * pi * uniform(stream)
            ca = cos(azimuth)
            sa = sin(azimuth)
            a, b, c = turned(u, v, w, cosine, ca, sa)
            binding = 0.0
            vacancy = -1
            if hit >= 0:
                binding = shell[m, hit, 1]
                vacancy = int(shell[m, hit, 3])
            energy = kev - kev_after - binding
            after = start_electron(
                ELECTRON, energy, x, y, z, body, born, settled, bodies, nest, materials, reach, nodes, brems, light,
                stack, n, tally, stream,
            )  # fmt: skip
            if after < 0:
                # along the momentum transfer
                du = kev * u - kev_after * a
                dv = kev * v - kev_after * b
                dw = kev * w - kev_after * c
                norm = 1 / sqrt(du * du + dv * dv + dw * dw)
                after = push(stack, n, ELECTRON, x, y, z, du * norm, dv * norm, dw * norm, energy, body, born, settled)
            n = after
            if vacancy >= 0:
                n = _fill_vacancy(
                    vacancy, x, y, z, body, crystal, born, settled, channel, line_range, line, nodes, m, light,
                    stack, n, tally, stream,
                )  # fmt: skip
            elif binding > 0:
                _leave(binding, crystal, nodes, m, light, tally)
            u = a
            v = b
            w = c
            kev = kev_after
            if settled == 0 and route < SECONDARY:
                route = max(route, BACK if cosine < 0 else FORWARD)
            if kev <= MIN_KEV:
                _leave(kev, crystal, nodes, m, light, tally)
                return n
            ln_kev = log(kev)
            body, s, mu, x, y, z = fly(ln_kev, x, y, z, u, v, w, body, bodies, nest, materials, segment, first, stream)
            if body < 0:
                tally[LOST] += kev
                return n
            continue
        if chance < segment[m, s, 7] + segment[m, s, 8] * step:
            cosine = rayleigh_cosine(kev, form, m, stream)
            azimuth = 2 * pi * uniform(stream)
            # the photon keeps its energy and with it its route
            u, v, w = turned(u, v, w, cosine, cos(azimuth), sin(azimuth))
            body, s, mu, x, y, z = fly(ln_kev, x, y, z, u, v, w, body, bodies, nest, materials, segment, first, stream)
            if body < 0:
                tally[LOST] += kev
                return n
            continue
        kinetic = kev - 2 * ELECTRON_KEV
        if kinetic <= 0:
            # interpolation at the threshold: nothing happens
            body, s, mu, x, y, z = fly(ln_kev, x, y, z, u, v, w, body, bodies, nest, materials, segment, first, stream)
            if body < 0:
                tally[LOST] += kev
                return n
            continue
        positron = kinetic * pair_share(kev, stream)
        azimuth = 2 * pi * uniform(stream)
        ca = cos(azimuth)
        sa = sin(azimuth)
        for kind, energy, side in ((ELECTRON, kinetic - positron, 1.0), (POSITRON, positron, -1.0)):
            after = start_electron(
                kind, energy, x, y, z, body, born, settled, bodies, nest, materials, reach, nodes, brems, light,
                stack, n, tally, stream,
            )  # fmt: skip
            if after < 0:
                a, b, c = turned(u, v, w, dipole_cosine(energy, stream), side * ca, side * sa)
                after = push(stack, n, kind, x, y, z, a, b, c, energy, body, born, settled)
            n = after
        return n
