"""Photon tables of the engine: cross sections per mm on fine cells, shells, X-rays, form factors, packed in arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from truekev.matter.elements import element, shells, xray_lines
from truekev.matter.materials import Material
from truekev.matter.photons import (
    MAX_KEV,
    MIN_KEV,
    absorption_edges_kev,
    partial_cross_sections,
    scattering_tables,
    shell_shares,
)
from truekev.transport.compiled import Array, Integers

__all__ = ["FORM_POINTS", "LN_MIN", "N_CELLS", "PhotonTables", "photon_tables"]

LN_MIN = float(np.log(MIN_KEV))
N_CELLS = 1024
CELL = float(np.log(MAX_KEV) - np.log(MIN_KEV)) / N_CELLS
INCOHERENT_POINTS = 513
FORM_POINTS = 257
MAX_X_SQUARED = 250.0**2
_SHELL_NAMES = ("K", "L1", "L2", "L3")
# momentum unit of the tables (m_e c) in atomic units
_ATOMIC_PER_MC = 137.035999084


class PhotonTables(NamedTuple):
    """Packed arrays; the first axis is the material.

    segment (M, S, 9): ln E at the left end; then total, photoelectric, photoelectric + incoherent, these + coherent
    [1/mm], each with its slope in ln E. first (M, cells): first segment of a cell. absorb (M, S, C): cumulative
    probability of the absorption channel. channel (M, C, 4): binding [keV], energy of the Auger electron, energy and
    number of the electrons of its two vacancies. line_range (M, C, 2); line (L, 3): cumulative probability, energy
    [keV], next channel or -1. incoherent (M, points): S per electron against x / (1 + x). shell (M, H, 4): cumulative
    share of electrons, binding [keV], half the inverse profile at zero [m_e c], channel or -1. form (M, points, 2):
    x squared and cumulative squared form factor.
    """

    segment: Array
    first: Integers
    absorb: Array
    channel: Array
    line_range: Integers
    line: Array
    incoherent: Array
    shell: Array
    form: Array


@dataclass(frozen=True)
class _OneMaterial:
    segment: Array
    first: Integers
    absorb: Array
    channel: Array
    line_range: Integers
    line: Array
    incoherent: Array
    shell: Array
    form: Array


def _segments(material: Material) -> tuple[Array, Integers, Array]:
    """Segments of the cross sections, first segment of each cell, and the middle energy of each segment."""
    edges = sorted({e for z, _ in material.mass_fractions for e in absorption_edges_kev(z) if e < MAX_KEV})
    nodes = np.union1d(LN_MIN + CELL * np.arange(N_CELLS + 1), np.log(edges) if edges else [])
    # just inside both ends, so that neither end sees the other side of an edge
    left_kev = np.exp(nodes[:-1] + 1e-8)
    right_kev = np.exp(nodes[1:] - 1e-8)
    per_mm = material.density_g_cm3 / 10
    ends = []
    for kev in (left_kev, right_kev):
        part = partial_cross_sections(material, np.clip(kev, MIN_KEV, MAX_KEV))
        rows = np.array([part.total, part.photoelectric, part.incoherent, part.coherent]) * per_mm
        rows[2] += rows[1]
        rows[3] += rows[2]
        ends.append(rows)
    slopes = (ends[1] - ends[0]) / np.diff(nodes)
    segment = np.zeros((len(nodes), 9))
    segment[:-1, 0] = nodes[:-1]
    segment[:-1, 1::2] = ends[0].T
    segment[:-1, 2::2] = slopes.T
    segment[-1, 0] = 1e30
    segment[-1, 1:] = segment[-2, 1:]
    starts = LN_MIN + CELL * np.arange(N_CELLS)
    first = np.searchsorted(nodes, starts + 1e-9, side="right") - 1
    return segment, first.astype(np.int64), 0.5 * (nodes[:-1] + nodes[1:])


def _channels(material: Material) -> list[tuple[int, str, float]]:
    """Absorption channels (element, shell, edge); shell "rest" with edge 0 takes what K and L leave."""
    found = []
    for z, _ in material.mass_fractions:
        found += [(z, s.name, s.edge_kev) for s in shells(z) if s.name in _SHELL_NAMES and s.edge_kev > MIN_KEV]
        found.append((z, "rest", 0.0))
    return found


def _absorption(material: Material, channels: list[tuple[int, str, float]], middle_ln: Array) -> Array:
    kev = np.clip(np.exp(middle_ln), MIN_KEV, MAX_KEV)
    rows = np.zeros((len(channels), len(kev)))
    for z, weight in material.mass_fractions:
        pure = Material("pure", 1.0, ((z, 1.0),))
        own = weight * partial_cross_sections(pure, kev).photoelectric
        shares = shell_shares(z, kev)
        for row, (channel_z, shell, edge) in enumerate(channels):
            if channel_z != z:
                continue
            if shell == "rest":
                rows[row] = own * (1 - shares.sum(axis=0))
            else:
                rows[row] = np.where(kev > edge, own * shares[_SHELL_NAMES.index(shell)], 0.0)
                # a channel that an element lacks in the table of shares goes to "rest" through the sum above
    cumulative = np.cumsum(rows, axis=0)
    return np.concatenate([cumulative / cumulative[-1], np.ones((len(channels), 1))], axis=1).T


def _relaxation(channels: list[tuple[int, str, float]]) -> tuple[Array, Integers, Array]:
    number = {(z, shell): i for i, (z, shell, _) in enumerate(channels)}
    rows = np.zeros((len(channels), 4))
    ranges = np.zeros((len(channels), 2), dtype=np.int64)
    lines: list[tuple[float, float, float]] = []
    for i, (z, shell, edge) in enumerate(channels):
        outer = number.get((z, "L3"), -1) if shell == "K" else -1
        outer_kev = channels[outer][2] if outer >= 0 else 0.0
        rows[i] = (edge, edge - 2 * outer_kev, outer_kev, 2.0 if outer >= 0 else 0.0)
        ranges[i, 0] = len(lines)
        total = 0.0
        for line in xray_lines(z):
            if line.vacancy == shell and line.energy_kev > MIN_KEV and line.energy_kev < edge:
                total += line.probability
                lines.append((total, line.energy_kev, float(number.get((z, line.filled_from), -1))))
        ranges[i, 1] = len(lines)
    return rows, ranges, np.array(lines).reshape(-1, 3)


def _electron_shells(material: Material, channels: list[tuple[int, str, float]]) -> Array:
    number = {(z, shell): i for i, (z, shell, _) in enumerate(channels)}
    rows = []
    for z, weight in material.mass_fractions:
        atoms = weight / element(z).atomic_weight
        for s in shells(z):
            half_width = 0.5 / (s.profile_at_zero * _ATOMIC_PER_MC)
            rows.append([atoms * s.n_electrons, s.edge_kev, half_width, float(number.get((z, s.name), -1))])
    table = np.array(rows)
    table[:, 0] = np.cumsum(table[:, 0]) / table[:, 0].sum()
    table[-1, 0] = 1.0
    return table


def _scattering(material: Material) -> tuple[Array, Array]:
    x, incoherent, squared_form = scattering_tables(material)
    mapped = np.linspace(0, 1, INCOHERENT_POINTS)
    with np.errstate(divide="ignore"):
        at_x = np.clip(mapped / (1 - mapped), 0, x[-1])
    factor = np.interp(at_x, np.concatenate([[0.0], x]), np.concatenate([[0.0], incoherent]))
    grid = np.concatenate([[0.0], np.geomspace(1e-4, MAX_X_SQUARED, FORM_POINTS - 1)])
    f2 = np.exp(np.interp(np.log(np.maximum(grid, x[0] ** 2)) / 2, np.log(x), np.log(np.maximum(squared_form, 1e-30))))
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (f2[1:] + f2[:-1]) * np.diff(grid))])
    return np.minimum(factor, 1.0), np.column_stack([grid, cumulative])


@lru_cache(maxsize=64)
def _one(material: Material) -> _OneMaterial:
    segment, first, middle = _segments(material)
    channels = _channels(material)
    channel, ranges, line = _relaxation(channels)
    incoherent, form = _scattering(material)
    return _OneMaterial(
        segment,
        first,
        _absorption(material, channels, middle),
        channel,
        ranges,
        line,
        incoherent,
        _electron_shells(material, channels),
        form,
    )


def _stacked(arrays: Sequence[Array], fill: float) -> Array:
    shape = tuple(np.max([a.shape for a in arrays], axis=0))
    packed = np.full((len(arrays), *shape), fill)
    for i, a in enumerate(arrays):
        packed[i][tuple(slice(0, n) for n in a.shape)] = a
    return packed


def photon_tables(materials: Sequence[Material]) -> PhotonTables:
    """Packed photon tables of `materials`, in their order."""
    ones = [_one(m) for m in materials]
    n_channels = max(len(o.channel) for o in ones)
    line_range = np.zeros((len(ones), n_channels, 2), dtype=np.int64)
    lines = []
    start = 0
    for i, o in enumerate(ones):
        line_range[i, : len(o.line_range)] = o.line_range + start
        lines.append(o.line)
        start += len(o.line)
    return PhotonTables(
        segment=_stacked([o.segment for o in ones], 1e30),
        first=np.array([o.first for o in ones]),
        absorb=_stacked([o.absorb for o in ones], 1.0),
        channel=_stacked([o.channel for o in ones], 0.0),
        line_range=line_range,
        line=np.concatenate([*lines, np.ones((1, 3))]),
        incoherent=np.array([o.incoherent for o in ones]),
        shell=_stacked([o.shell for o in ones], 1.0),
        form=np.array([o.form for o in ones]),
    )
