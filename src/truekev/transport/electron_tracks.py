"""Electrons and positrons: tracks in steps of energy with random hinges, or stopped at once where they cannot get away.

Condensed history (compiled): soft losses continuous; bremsstrahlung above 10 keV and knock-ons above 100 keV one by
one; in each step the direction turns once, at a random point, by an angle with the exact first and second moments of
multiple scattering (the random hinge of F. Salvat et al., PENELOPE, OECD/NEA).
"""

from __future__ import annotations

from math import cos, exp, log, pi, sin, sqrt

from truekev.matter.photons import ELECTRON_KEV
from truekev.transport.compiled import Array, Integers, Stream, compiled, inlined, uniform
from truekev.transport.directions import isotropic, turned
from truekev.transport.electron_tables import DELTA_MIN_KEV, ELECTRON_STEP, LN_MIN, N_NODES, PHOTON_MIN_KEV
from truekev.transport.rays import FAR, NUDGE_MM, clearance, next_boundary

__all__ = [
    "CRYSTAL",
    "ELECTRON",
    "IN_CRYSTAL",
    "LIGHT",
    "LOST",
    "OUTSIDE",
    "PHOTON",
    "POSITRON",
    "ROUTE",
    "STOP_KEV",
    "dipole_cosine",
    "excess_light",
    "push",
    "start_electron",
    "track_electron",
]

PHOTON, ELECTRON, POSITRON = 0.0, 1.0, 2.0
# what a history has left: energy in the crystal, D, energy in other bodies, energy that left, route of what arrived
IN_CRYSTAL, LIGHT, OUTSIDE, LOST, ROUTE = 0, 1, 2, 3, 4
# `reach` holds for each body the energy [keV] that an electron there needs to come into the crystal at all; for the
# crystal itself this
CRYSTAL = 0.0
STOP_KEV = 15.0  # range 1.5 um in CsI: below this an electron stays where it is
_BREMS_CELLS = 64
_COARSE_NODES = 5  # nodes of energy per step where a track matters only for its bremsstrahlung


@inlined
def push(
    stack: Array, n: int, kind: float, x: float, y: float, z: float,
    u: float, v: float, w: float, kev: float, body: int, route: float, settled: float,
) -> int:  # fmt: skip
    """Lay a particle on the stack; returns the new count. A full stack would show in the balance of energy."""
    if n >= stack.shape[0]:
        return n
    stack[n, 0] = kind
    stack[n, 1] = x
    stack[n, 2] = y
    stack[n, 3] = z
    stack[n, 4] = u
    stack[n, 5] = v
    stack[n, 6] = w
    stack[n, 7] = kev
    stack[n, 8] = body
    stack[n, 9] = route
    stack[n, 10] = settled
    return n + 1


@inlined
def _cell(nodes: Array, m: int, kev: float) -> tuple[int, float]:
    """Node below an energy and the fraction of the way to the next, clamped to the table."""
    if kev <= nodes[m, 0, 0]:
        return 0, 0.0
    i = int((log(kev) - LN_MIN) / ELECTRON_STEP)
    i = min(i, N_NODES - 2)
    return i, (kev - nodes[m, i, 0]) / (nodes[m, i + 1, 0] - nodes[m, i, 0])


@inlined
def _at(nodes: Array, m: int, i: int, f: float, column: int) -> float:
    low = nodes[m, i, column]
    return low + f * (nodes[m, i + 1, column] - low)


@inlined
def excess_light(nodes: Array, m: int, light: Array, kev: float) -> float:
    """E (eta - 1) [keV] of an electron in the crystal; in proportion to the energy below the table."""
    if kev <= nodes[m, 0, 0]:
        return light[0] * kev / nodes[m, 0, 0]
    i, f = _cell(nodes, m, kev)
    return light[i] + f * (light[i + 1] - light[i])


@inlined
def _energy_at(nodes: Array, m: int, column: int, target: float, top: int) -> float:
    """Energy at which a rising column reaches `target`, at or below node `top` + 1."""
    low = 0
    high = top + 1
    while high - low > 1:
        middle = (low + high) // 2
        if nodes[m, middle, column] <= target:
            low = middle
        else:
            high = middle
    span = nodes[m, high, column] - nodes[m, low, column]
    f = (target - nodes[m, low, column]) / span if span > 0 else 0.0
    return nodes[m, low, 0] + f * (nodes[m, high, 0] - nodes[m, low, 0])


@compiled
def _brems_kev(brems: Array, nodes: Array, m: int, kev: float, stream: Stream) -> float:
    """Energy of a bremsstrahlung photon from an electron of `kev`."""
    i, f = _cell(nodes, m, kev)
    if uniform(stream) < f:
        i += 1
    place = uniform(stream) * _BREMS_CELLS
    j = min(int(place), _BREMS_CELLS - 1)
    v = brems[m, i, j] + (place - j) * (brems[m, i, j + 1] - brems[m, i, j])
    return min(PHOTON_MIN_KEV * (kev / PHOTON_MIN_KEV) ** v, kev)


@compiled
def dipole_cosine(kev: float, stream: Stream) -> float:
    """Cosine between an electron and its bremsstrahlung photon, or a photon and its pair: 1/(1 - beta cos)^2."""
    tau = kev / ELECTRON_KEV
    beta = sqrt(tau * (tau + 2)) / (tau + 1)
    s = 2 * uniform(stream) - 1
    return (s + beta) / (s * beta + 1)


@compiled
def _annihilate(
    kev: float, x: float, y: float, z: float, u: float, v: float, w: float, body: int, route: float, settled: float,
    stack: Array, n: int, stream: Stream,
) -> int:  # fmt: skip
    """Two photons from a positron of kinetic energy `kev` that moves along (u, v, w) (W. Heitler)."""
    azimuth = 2 * pi * uniform(stream)
    ca = cos(azimuth)
    sa = sin(azimuth)
    if kev <= 0:
        u, v, w = isotropic(stream)
        n = push(stack, n, PHOTON, x, y, z, u, v, w, ELECTRON_KEV, body, route, settled)
        return push(stack, n, PHOTON, x, y, z, -u, -v, -w, ELECTRON_KEV, body, route, settled)
    gamma = 1 + kev / ELECTRON_KEV
    momentum = sqrt(gamma * gamma - 1)
    a = gamma + 1
    middle = gamma * gamma + 4 * gamma + 1
    low = 1 / (a + momentum)
    span = log((1 - low) / low)
    while True:
        share = low * exp(span * uniform(stream))
        if uniform(stream) * (middle - 2 * a) <= middle - a * a * share - 1 / share:
            break
    total = kev + 2 * ELECTRON_KEV
    for part, side in ((share, 1.0), (1 - share, -1.0)):
        cosine = min(max((a - 1 / part) / momentum, -1.0), 1.0)
        nu, nv, nw = turned(u, v, w, cosine, side * ca, side * sa)
        n = push(stack, n, PHOTON, x, y, z, nu, nv, nw, part * total, body, route, settled)
    return n


@inlined
def _next_hard(nodes: Array, m: int, i: int, f: float, kind: float, stream: Stream) -> tuple[float, bool]:
    """Energy [keV] of the next hard event, 0 if there is none, and whether it is annihilation in flight."""
    left = _at(nodes, m, i, f, 2) + log(uniform(stream))
    hard_kev = _energy_at(nodes, m, 2, left, i) if left > 0 else 0.0
    if kind == POSITRON:
        left = _at(nodes, m, i, f, 7) + log(uniform(stream))
        if left > 0:
            end_kev = _energy_at(nodes, m, 7, left, i)
            if end_kev > hard_kev:
                return end_kev, True
    return hard_kev, False


@compiled
def _stop_here(
    kind: float, kev: float, x: float, y: float, z: float, body: int, crystal: bool, route: float, settled: float,
    nodes: Array, m: int, brems: Array, light: Array, stack: Array, n: int, tally: Array, stream: Stream,
) -> int:  # fmt: skip
    """Let an electron that cannot leave its body end in it: its bremsstrahlung, then its deposit."""
    slot = IN_CRYSTAL if crystal else OUTSIDE
    if kind == POSITRON and kev > STOP_KEV:
        i, f = _cell(nodes, m, kev)
        left = _at(nodes, m, i, f, 7) + log(uniform(stream))
        if left > 0:
            # the way before it is short and crooked: no bremsstrahlung, any direction
            end_kev = min(_energy_at(nodes, m, 7, left, i), kev)
            tally[slot] += kev - end_kev
            if crystal:
                tally[LIGHT] -= excess_light(nodes, m, light, end_kev)
            u, v, w = isotropic(stream)
            return _annihilate(end_kev, x, y, z, u, v, w, body, route, settled, stack, n, stream)
    if kev > PHOTON_MIN_KEV:
        i, f = _cell(nodes, m, kev)
        left = _at(nodes, m, i, f, 6)
        while True:
            left += log(uniform(stream))
            if left <= 0:
                break
            at_kev = min(_energy_at(nodes, m, 6, left, i), kev)
            k = _brems_kev(brems, nodes, m, at_kev, stream)
            # the track is crooked by then: the photon's direction is free
            u, v, w = isotropic(stream)
            n = push(stack, n, PHOTON, x, y, z, u, v, w, k, body, route, settled)
            rest = at_kev - k
            if crystal:
                tally[LIGHT] -= excess_light(nodes, m, light, at_kev) - excess_light(nodes, m, light, rest)
            # what the electron lost before stays here
            deposit = kev - at_kev
            tally[slot] += deposit
            kev = rest
            if kev <= PHOTON_MIN_KEV:
                break
            i, f = _cell(nodes, m, kev)
            left = _at(nodes, m, i, f, 6)
    tally[slot] += kev
    if kind == POSITRON:
        n = _annihilate(0.0, x, y, z, 0.0, 0.0, 1.0, body, route, settled, stack, n, stream)
    return n


@compiled
def start_electron(
    kind: float, kev: float, x: float, y: float, z: float, body: int, route: float, settled: float,
    bodies: Array, nest: Integers, materials: Integers, reach: Array, nodes: Array, brems: Array, light: Array,
    stack: Array, n: int, tally: Array, stream: Stream,
) -> int:  # fmt: skip
    """Account for a new electron's light and stop it at once if it cannot leave its body.

    Returns the new count of the stack, or -1 if it must be tracked (the caller knows its direction).
    """
    m = materials[body]
    crystal = reach[body] == CRYSTAL
    if crystal:
        tally[LIGHT] += excess_light(nodes, m, light, kev)
        tally[ROUTE] = max(tally[ROUTE], route)
    if kev > STOP_KEV:
        i, f = _cell(nodes, m, kev)
        if _at(nodes, m, i, f, 1) > clearance(bodies, nest, body, x, y, z):
            return -1
    return _stop_here(
        kind, kev, x, y, z, body, crystal, route, settled, nodes, m, brems, light, stack, n, tally, stream
    )


@compiled
def _moller_kev(kev: float, stream: Stream) -> float:
    """Energy of a knock-on electron above DELTA_MIN_KEV (Moller), by rejection from 1/W^2 and 1/(E - W)^2 alike."""
    tau = kev / ELECTRON_KEV
    a = (tau / (tau + 1)) ** 2
    b = (2 * tau + 1) / (tau + 1) ** 2
    low = DELTA_MIN_KEV / kev
    while True:
        e = low / (1 - uniform(stream) * (1 - 2 * low))
        r = e / (1 - e)
        # relative to 1/e^2, at most 1 + 1 + 1/4
        if uniform(stream) * 2.25 < 1 + r * r + a * e * e - b * r:
            return e * kev


@compiled
def track_electron(
    kind: float, kev: float, x: float, y: float, z: float, u: float, v: float, w: float, body: int, route: float,
    settled: float, bodies: Array, nest: Integers, materials: Integers, reach: Array,
    nodes: Array, brems: Array, light: Array,
    stack: Array, n: int, tally: Array, stream: Stream,
) -> int:  # fmt: skip
    """Follow an electron or positron to its end; returns the new count of the stack."""
    while True:
        if body < 0:
            distance, behind = next_boundary(bodies, nest, body, x, y, z, u, v, w)
            if distance >= FAR:
                tally[LOST] += kev
                if kind == POSITRON:
                    tally[LOST] += 2 * ELECTRON_KEV
                return n
            distance += NUDGE_MM
            x += distance * u
            y += distance * v
            z += distance * w
            body = behind
            if body >= 0 and reach[body] == CRYSTAL:
                tally[LIGHT] += excess_light(nodes, materials[body], light, kev)
                tally[ROUTE] = max(tally[ROUTE], route)
            continue
        m = materials[body]
        crystal = reach[body] == CRYSTAL
        slot = IN_CRYSTAL if crystal else OUTSIDE
        i, f = _cell(nodes, m, kev)
        hard_kev, ends = _next_hard(nodes, m, i, f, kind, stream)
        while True:
            if kev <= STOP_KEV or _at(nodes, m, i, f, 1) < clearance(bodies, nest, body, x, y, z):
                return _stop_here(
                    kind, kev, x, y, z, body, crystal, route, settled, nodes, m, brems, light, stack, n, tally, stream
                )
            low = i if f > 1e-9 else i - 1
            if kev < reach[body]:
                low = max(low - _COARSE_NODES + 1, 0)
            low_kev = nodes[m, low, 0]
            f_end = 0.0
            hard = hard_kev > low_kev
            if hard:
                low_kev = min(hard_kev, kev)
                low, f_end = _cell(nodes, m, low_kev)
            path = _at(nodes, m, i, f, 1) - _at(nodes, m, low, f_end, 1)
            first = _at(nodes, m, i, f, 4) - _at(nodes, m, low, f_end, 4)
            second = _at(nodes, m, i, f, 5) - _at(nodes, m, low, f_end, 5)
            before = uniform(stream) * path
            distance, behind = next_boundary(bodies, nest, body, x, y, z, u, v, w)
            if before < distance:
                x += before * u
                y += before * v
                z += before * w
                cosine = _hinge_cosine(first, second, stream)
                azimuth = 2 * pi * uniform(stream)
                u, v, w = turned(u, v, w, cosine, cos(azimuth), sin(azimuth))
                distance, behind = next_boundary(bodies, nest, body, x, y, z, u, v, w)
                walked = before
            else:
                walked = 0.0
            remaining = path - walked
            if remaining < distance:
                x += remaining * u
                y += remaining * v
                z += remaining * w
                tally[slot] += kev - low_kev
                kev = low_kev
                i = low
                f = f_end
                if not hard:
                    continue
                if ends:
                    if crystal:
                        tally[LIGHT] -= excess_light(nodes, m, light, kev)
                    return _annihilate(kev, x, y, z, u, v, w, body, route, settled, stack, n, stream)
                brake = uniform(stream) < _at(nodes, m, i, f, 3)
                if brake or kev <= 2 * DELTA_MIN_KEV:
                    if not brake:
                        hard_kev, ends = _next_hard(nodes, m, i, f, kind, stream)
                        continue
                    taken = _brems_kev(brems, nodes, m, kev, stream)
                    azimuth = 2 * pi * uniform(stream)
                    a, b, c = turned(u, v, w, dipole_cosine(kev, stream), cos(azimuth), sin(azimuth))
                    n = push(stack, n, PHOTON, x, y, z, a, b, c, taken, body, route, settled)
                    if crystal:
                        tally[LIGHT] -= excess_light(nodes, m, light, kev) - excess_light(nodes, m, light, kev - taken)
                else:
                    taken = _moller_kev(kev, stream)
                    # light of the knock-on is part of the track's: it is not counted again when it is born
                    whole = kev + 2 * ELECTRON_KEV
                    slow = sqrt(taken * whole / (kev * (taken + 2 * ELECTRON_KEV)))
                    azimuth = 2 * pi * uniform(stream)
                    a, b, c = turned(u, v, w, min(slow, 1.0), cos(azimuth), sin(azimuth))
                    n = push(stack, n, ELECTRON, x, y, z, a, b, c, taken, body, route, settled)
                    rest = kev - taken
                    fast = sqrt(rest * whole / (kev * (rest + 2 * ELECTRON_KEV)))
                    u, v, w = turned(u, v, w, min(fast, 1.0), -cos(azimuth), -sin(azimuth))
                kev -= taken
                if kev <= STOP_KEV:
                    continue
                i, f = _cell(nodes, m, kev)
                hard_kev, ends = _next_hard(nodes, m, i, f, kind, stream)
                continue
            # the boundary comes first: walk to it with the energy lost so far
            walked += distance
            lost = (kev - low_kev) * min(walked / max(path, 1e-300), 1.0)
            tally[slot] += lost
            kev -= lost
            distance += NUDGE_MM
            x += distance * u
            y += distance * v
            z += distance * w
            if crystal:
                tally[LIGHT] -= excess_light(nodes, m, light, kev)
            body = behind
            if body >= 0 and reach[body] == CRYSTAL:
                tally[LIGHT] += excess_light(nodes, materials[body], light, kev)
                tally[ROUTE] = max(tally[ROUTE], route)
            break


@inlined
def _hinge_cosine(first: float, second: float, stream: Stream) -> float:
    """Cosine of multiple scattering over a step, from the integrals of both transport cross sections."""
    mean_cosine = exp(-first)
    mean_square = (1 + 2 * exp(-second)) / 3
    m1 = 0.5 * (1 - mean_cosine)
    m2 = 0.25 * (1 - 2 * mean_cosine + mean_square)
    b = (2 * m1 - 3 * m2) / max(1 - 2 * m1, 1e-12)
    b = min(max(b, 0.0), 1.0)
    a = min(max(1 - 2 * m1 + b, 0.0), 1.0)
    low = uniform(stream) < a
    fraction = b * uniform(stream) if low else b + (1 - b) * uniform(stream)
    return 1 - 2 * fraction
