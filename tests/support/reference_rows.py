"""Runs one row of the tables of ../shared/reference with our engine."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from truekev.matter.materials import material
from truekev.matter.photons import ELECTRON_KEV
from truekev.transport.compiled import Array
from truekev.transport.electron_tracks import PHOTON
from truekev.transport.histories import AT_CRYSTAL, ELSEWHERE, run_block
from truekev.transport.setup import DetectorGeometry, Layer, Setup, packed, point_source

__all__ = ["RowResult", "reference_setup", "run_reference_row"]

_BLOCK = 1 << 17


def reference_setup(name: str) -> Setup:
    """The setup of a reference table: csi10 or nai, bare or in 0.5 mm of aluminium, at 10 or 100 mm."""
    distance = 100.0 if name.endswith("100mm") else 10.0
    if name.startswith("csi10"):
        layers = (Layer(material("Al"), 0.5),) if "al0.5" in name else ()
        return Setup(DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), layers), point_source(distance))
    size = 50.8 if name.startswith("nai2x2") else 76.2
    return Setup(DetectorGeometry("NaI(Tl)", (size, size)), point_source(distance))


@dataclass(frozen=True)
class RowResult:
    """Figures of a row as (value, standard uncertainty), per photon into 4 pi; the histogram without the peak."""

    figures: dict[str, tuple[float, float]]
    histogram: Array
    weight: float
    n: int

    def __getitem__(self, name: str) -> tuple[float, float]:
        return self.figures[name]


def run_reference_row(setup: Setup, kev: float, n: int, seed: int = 1, bin_kev: float = 0.25) -> RowResult:
    """Peak, total and escape peaks of a line with the definitions of the reference's README."""
    p = packed(setup)
    tolerance = max(1.0, 0.002 * kev)
    n_bins = int(kev / bin_kev) + 8
    aims = (AT_CRYSTAL, ELSEWHERE) if len(setup.parts()) > 1 else (AT_CRYSTAL,)
    histogram = np.zeros((n_bins, 4))
    peak = np.zeros(4)
    hits = np.zeros(4)
    for aim in aims:
        share = n if aim == AT_CRYSTAL else n // 4
        done = block = 0
        part = [np.zeros((n_bins, 4)), np.zeros(4), np.zeros(4)]
        while done < share:
            take = min(_BLOCK, share - done)
            found = run_block(
                seed, 4 * block + aim, take, PHOTON, np.array([kev]), p.sources, aim, p.target, p.bodies, p.nest,
                p.materials, p.reach, p.photons, p.electrons, bin_kev, n_bins, tolerance,
            )  # fmt: skip
            for mine, new in zip(part, found[:3], strict=True):
                mine += new.sum(axis=0)
            done += take
            block += 1
        scale = np.array([1 / share, 1 / share**2, 1 / share, 1 / share])
        histogram += part[0] * scale
        peak += part[1] * scale
        hits += part[2] * scale
    figures = {"fep": (peak[0], math.sqrt(peak[1])), "total": (hits[0], math.sqrt(hits[1]))}
    centres = (np.arange(n_bins) + 0.5) * bin_kev
    for name, quanta in (("se", 1), ("de", 2)):
        away = np.abs(centres - (kev - quanta * ELECTRON_KEV))
        inside = away < tolerance
        side = (away > tolerance + 2) & (away < tolerance + 12)
        share_of_side = inside.sum() / max(side.sum(), 1)
        value = histogram[inside, 0].sum() - share_of_side * histogram[side, 0].sum()
        variance = histogram[inside, 1].sum() + share_of_side**2 * histogram[side, 1].sum()
        figures[name] = (float(value), math.sqrt(variance))
    weight = float(hits[1] * n / hits[0]) if hits[0] else 0.0
    return RowResult(figures, histogram[:, 0], weight, n)
