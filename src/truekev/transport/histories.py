"""Blocks of histories: birth of the particles, their fate, and the score (compiled)."""

from __future__ import annotations

from math import cos, log, pi, sin, sqrt

import numpy as np

from truekev.transport.compiled import Array, Integers, Stream, compiled, inlined, seed_stream, uniform
from truekev.transport.directions import isotropic, within_cone
from truekev.transport.electron_tables import ElectronTables
from truekev.transport.electron_tracks import (
    CRYSTAL,
    IN_CRYSTAL,
    LIGHT,
    LOST,
    OUTSIDE,
    PHOTON,
    POSITRON,
    ROUTE,
    excess_light,
    track_electron,
)
from truekev.transport.photon_steps import fly
from truekev.transport.photon_tables import PhotonTables
from truekev.transport.photon_tracks import DIRECT, SECONDARY, track_photon
from truekev.transport.rays import BALL, BOX, CYLINDER_X, CYLINDER_Z, body_at

__all__ = ["ANYWHERE", "AT_CRYSTAL", "ELSEWHERE", "N_ROUTES", "run_block"]

AT_CRYSTAL, ELSEWHERE, ANYWHERE = 0, 1, 2
N_ROUTES = 4
_STACK = 256


@inlined
def _birthplace(sources: Array, stream: Stream) -> tuple[float, float, float]:
    """A point uniform in one of the source bodies; column 7 is their cumulative share."""
    pick = uniform(stream)
    i = 0
    while sources[i, 7] < pick:
        i += 1
    row = sources[i]
    kind = row[0]
    if kind == BOX:
        x = (2 * uniform(stream) - 1) * row[4]
        y = (2 * uniform(stream) - 1) * row[5]
        z = (2 * uniform(stream) - 1) * row[6]
    elif kind == BALL:
        if row[4] == 0:
            return row[1], row[2], row[3]
        radius = row[4] * uniform(stream) ** (1 / 3)
        u, v, w = isotropic(stream)
        x, y, z = radius * u, radius * v, radius * w
    else:
        radius = row[4] * sqrt(uniform(stream))
        azimuth = 2 * pi * uniform(stream)
        a = radius * cos(azimuth)
        b = radius * sin(azimuth)
        along = (2 * uniform(stream) - 1) * row[5]
        if kind == CYLINDER_Z:
            x, y, z = a, b, along
        elif kind == CYLINDER_X:
            x, y, z = along, a, b
        else:
            x, y, z = a, along, b
    return row[1] + x, row[2] + y, row[3] + z


@inlined
def _birth_energy(quantiles: Array, stream: Stream) -> float:
    """Energy of the particle: the line, or a draw from a spectrum given by equally probable quantiles."""
    n = quantiles.shape[0]
    if n == 1:
        return quantiles[0]
    place = uniform(stream) * (n - 1)
    i = min(int(place), n - 2)
    return quantiles[i] + (place - i) * (quantiles[i + 1] - quantiles[i])


@inlined
def _score(sums: Array, weight: float, d: float) -> None:
    sums[0] += weight
    sums[1] += weight * weight
    sums[2] += weight * d
    sums[3] += weight * d * d


@compiled
def _run(
    n_histories: int, kind: float, quantiles: Array, sources: Array, aim: int,
    target: Array, bodies: Array, nest: Integers, materials: Integers, reach: Array,
    photons: PhotonTables, electrons: ElectronTables, bin_kev: float, n_bins: int, tolerance_kev: float,
    histogram: Array, peak: Array, hits: Array, stack: Array, tally: Array, stream: Stream,
) -> float:  # fmt: skip
    worst = 0.0
    segment, first, absorb, channel, line_range, line, incoherent, shell, form = photons
    nodes, brems, light = electrons
    body = -1
    for _ in range(n_histories):
        x, y, z = _birthplace(sources, stream)
        kev = _birth_energy(quantiles, stream)
        weight = 1.0
        if aim == ANYWHERE:
            u, v, w = isotropic(stream)
        else:
            u = target[0] - x
            v = target[1] - y
            w = target[2] - z
            away = sqrt(u * u + v * v + w * w)
            if away <= target[3]:
                if aim == ELSEWHERE:
                    continue
                u, v, w = isotropic(stream)
            else:
                ratio = target[3] / away
                edge = sqrt(1 - ratio * ratio)
                if aim == AT_CRYSTAL:
                    weight = 0.5 * (1 - edge)
                    u, v, w = within_cone(u / away, v / away, w / away, edge, 1.0, stream)
                else:
                    weight = 0.5 * (1 + edge)
                    u, v, w = within_cone(u / away, v / away, w / away, -1.0, edge, stream)
        for i in range(5):
            tally[i] = 0.0
        body = body_at(bodies, nest, body, x, y, z)
        now_kind = kind
        now_kev = kev
        route = DIRECT
        settled = 0.0
        if kind != PHOTON:
            route = SECONDARY
            if body >= 0 and reach[body] == CRYSTAL:
                tally[LIGHT] += excess_light(nodes, materials[body], light, kev)
        n = 0
        while True:
            if now_kind == PHOTON:
                here, s, mu, x, y, z = fly(
                    log(now_kev), x, y, z, u, v, w, body, bodies, nest, materials, segment, first, stream
                )
                if here < 0:
                    tally[LOST] += now_kev
                else:
                    n = track_photon(
                        now_kev, x, y, z, u, v, w, here, s, mu, route, settled, bodies, nest, materials, reach,
                        segment, first, absorb, channel, line_range, line, incoherent, shell, form,
                        nodes, brems, light, stack, n, tally, stream,
                    )  # fmt: skip
            else:
                n = track_electron(
                    now_kind, now_kev, x, y, z, u, v, w, body, route, settled, bodies, nest, materials, reach,
                    nodes, brems, light, stack, n, tally, stream,
                )  # fmt: skip
            if n == 0:
                break
            n -= 1
            now_kind = stack[n, 0]
            x = stack[n, 1]
            y = stack[n, 2]
            z = stack[n, 3]
            u = stack[n, 4]
            v = stack[n, 5]
            w = stack[n, 6]
            now_kev = stack[n, 7]
            body = int(stack[n, 8])
            route = stack[n, 9]
            settled = stack[n, 10]
        born_kev = kev + 2 * 510.99895 if kind == POSITRON else kev
        worst = max(worst, abs(tally[IN_CRYSTAL] + tally[OUTSIDE] + tally[LOST] - born_kev))
        deposit = tally[IN_CRYSTAL]
        if deposit <= 0:
            continue
        way = int(tally[ROUTE])
        d = tally[LIGHT]
        if abs(deposit - kev) < tolerance_kev:
            _score(peak[way], weight, d)
        else:
            _score(histogram[way, min(int(deposit / bin_kev), n_bins - 1)], weight, d)
        _score(hits[way], weight, d)
    return worst


def run_block(
    seed: int, block: int, n_histories: int, kind: float, quantiles: Array, sources: Array, aim: int,
    target: Array, bodies: Array, nest: Integers, materials: Integers, reach: Array,
    photons: PhotonTables, electrons: ElectronTables, bin_kev: float, n_bins: int, tolerance_kev: float,
) -> tuple[Array, Array, Array, float]:  # fmt: skip
    """One block of histories, scored.

    `seed` and `block` make the stream of random numbers. `kind` is PHOTON, ELECTRON or POSITRON, `quantiles` its
    energies [keV], `sources` the bodies it is born in. `aim` AT_CRYSTAL takes directions inside the cone around the
    ball `target` (x, y, z, radius), ELSEWHERE those outside it, ANYWHERE all. Deposits are sorted into `n_bins` of
    `bin_kev`; one within `tolerance_kev` of the energy at birth is full energy.

    Returns
    -------
    tuple
        Sums over the histories of (weight, weight^2, weight D, weight D^2), where the weight is the share of 4 pi:
        histogram (routes, bins, 4) without the full-energy peak; the peak (routes, 4); all hits (routes, 4); and the
        largest violation of energy conservation [keV].
    """
    stream = np.zeros(4, np.uint64)
    seed_stream(stream, seed, block)
    histogram = np.zeros((N_ROUTES, n_bins, 4))
    peak = np.zeros((N_ROUTES, 4))
    hits = np.zeros((N_ROUTES, 4))
    worst = _run(
        n_histories, kind, quantiles, sources, aim, target, bodies, nest, materials, reach, photons, electrons,
        bin_kev, n_bins, tolerance_kev, histogram, peak, hits, np.zeros((_STACK, 11)), np.zeros(5), stream,
    )  # fmt: skip
    return histogram, peak, hits, worst
