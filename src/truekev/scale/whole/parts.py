"""Parts of a forward model before smearing: what each makes in the crystal, on the axis of pulse height.

The axis is u = sqrt(p), p the nominal pulse height [keV-equivalent] of the full-energy peak that makes as much light
(scale/templates.py). On it peaks do not move with kappa; all else does, a little (whole/continua.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from truekev.scale.crystal import Crystal
from truekev.scale.light import REFERENCE_KEV, LightCurve
from truekev.scale.sample import Sample, joined
from truekev.scale.templates import LineSet, nominal_pulse_kev, nominal_pulse_kev_at_nodes
from truekev.scale.whole.continua import KAPPAS, U_EDGES, continuum_on_u, sums_on_u
from truekev.transport.stand import Scatter

__all__ = ["BELOW_EDGE", "SMOOTH", "SUMS", "ForwardParts", "parts_of", "pieces_of", "without_source"]

Array = npt.NDArray[np.float64]

SMOOTH = "smooth"
SUMS = "sums of cascades"
# Fall-off of the smooth parts [keV-equivalent].
_SMOOTH_KEV = (60.0, 180.0, 500.0, 2000.0)
_SCATTER_SPLIT_KEV = 300.0
_EDGE_KEV = 33.0
BELOW_EDGE = f", below {_EDGE_KEV:.0f} keV"
_USUAL_BELOW_EDGE = 3.0  # times what `scale.sample` lets through: windows are thinner or thicker than said
_USUAL_SCATTER = 1.05  # times what the slabs of transport.stand scatter; standard deviation of half a normal
_USUAL_SUMS = 1.5  # times what `scale.sample` says of the distance


@dataclass(frozen=True, eq=False)
class ForwardParts:
    """Parts of a spectrum, each as counts per unit of its strength.

    Parameters
    ----------
    names : tuple of str
        The k parts: those of the source first, then scatter, room lines, smooth parts.
    continuum : ndarray, shape (q, m, k)
        Counts in cells of u for each of the q values of `KAPPAS`; every part adds up to one count, peaks included.
    line_u, line_energy_kev, line_area, line_var_d_kev2 : ndarray, shape (n,)
        Full-energy peaks: place, energy, counts per unit of strength, variance of D.
    line_part : ndarray of int, shape (n,)
        Which part a line belongs to.
    line_makers : tuple of str
    var_d_kev2 : ndarray, shape (m,)
        Variance of D of a full-energy peak in each cell.
    totals : ndarray, shape (k,)
        Counts per photon rate of 1 before parts were scaled to one count.
    n_source : int
        How many parts belong to the declared source.
    usual : ndarray, shape (k,)
        Strength that a part of scatter or of sums usually has, over the strongest part of the source (both per photon
        rate, as `totals` has it); 0 for parts that nothing is known of.
    curve : LightCurve
    """

    names: tuple[str, ...]
    continuum: Array
    line_u: Array
    line_energy_kev: Array
    line_area: Array
    line_var_d_kev2: Array
    line_part: npt.NDArray[np.int64]
    line_makers: tuple[str, ...]
    var_d_kev2: Array
    totals: Array
    n_source: int
    usual: Array
    curve: LightCurve

    @cached_property
    def nominal_at_nodes(self) -> Array:
        """Nominal pulse height [keV-equivalent] at the nodes of `scale.light`."""
        return nominal_pulse_kev_at_nodes(self.curve)


def parts_of(sample: Sample, crystal: Crystal, scatter: Sequence[Scatter], *, with_room: bool) -> ForwardParts:
    """The parts of a sample in a crystal.

    Parameters
    ----------
    sample, crystal
        What is counted with what.
    scatter
        Responses of what scatters; see `transport.stand`.
    with_room
        Whether natural lines of the room belong to it: not where a background was measured.
    """
    everything = joined("everything", sample.components)
    room = list(sample.room) if with_room else []
    names: list[str] = []
    continua: list[Array] = []
    lines: list[tuple[LineSet, int]] = []
    components = [piece for component in sample.components for piece in pieces_of(component)]
    usual: dict[int, float] = {}
    for component in (*components, *room):
        if component.name.endswith(BELOW_EDGE):
            usual[len(names)] = _USUAL_BELOW_EDGE
        lines.append((component, len(names)))
        names.append(component.name)
        continua.append(continuum_on_u(component, crystal.response, crystal.curve))
    n_source = len(components)
    at_662 = float(crystal.response.full_energy(REFERENCE_KEV))
    for one in scatter:
        for words, low, high in (("below", 0.0, _SCATTER_SPLIT_KEV), ("above", _SCATTER_SPLIT_KEV, np.inf)):
            of_lines = everything.part(f"{one.name}, of lines {words} {_SCATTER_SPLIT_KEV:.0f} keV", low, high)
            if of_lines.energy_kev.size:
                usual[len(names)] = _USUAL_SCATTER * at_662 / one.direct_peak_662
                names.append(of_lines.name)
                continua.append(continuum_on_u(of_lines, one.response, crystal.curve))
    if sample.pairs is not None:
        usual[len(names)] = _USUAL_SUMS
        names.append(SUMS)
        continua.append(sums_on_u(sample.pairs, crystal.response, crystal.curve))
    if room:
        names.append("room scattered back")
        continua.append(continuum_on_u(joined("room", room), scatter[0].response, crystal.curve))
    for scale in _SMOOTH_KEV:
        names.append(f"{SMOOTH} {scale:.0f}")
        cells = np.diff(1.0 - np.exp(-(U_EDGES**2) / scale))
        continua.append(np.tile(cells, (KAPPAS.size, 1)))
    stack = np.stack(continua, axis=1)
    totals = stack[2].sum(axis=1)
    energy, area, part, makers = _peaks(lines, crystal)
    np.add.at(totals, part, area)
    totals = np.maximum(totals, 1e-300)
    middle_u = 0.5 * (U_EDGES[1:] + U_EDGES[:-1])
    fine = np.geomspace(5.0, 4000.0, 800)
    cell_energy = np.interp(middle_u**2, nominal_pulse_kev(crystal.curve, fine), fine)
    return ForwardParts(
        tuple(names),
        np.ascontiguousarray((stack / totals[None, :, None]).transpose(0, 2, 1)),
        np.sqrt(nominal_pulse_kev(crystal.curve, energy)),
        energy,
        area / totals[part],
        crystal.response.variance_d_kev2(energy),
        part,
        makers,
        crystal.response.variance_d_kev2(cell_energy),
        totals,
        n_source,
        np.array([usual.get(i, 0.0) for i in range(len(names))]),
        crystal.curve,
    )


def pieces_of(component: LineSet) -> list[LineSet]:
    """Lines below the K edges of iodine and caesium apart: windows and trigger take what nobody knows of them."""
    pieces = [component.part(component.name + BELOW_EDGE, 0.0, _EDGE_KEV)]
    pieces.append(component.part(component.name, _EDGE_KEV, np.inf))
    return [piece for piece in pieces if piece.energy_kev.size]


def _peaks(
    lines: Sequence[tuple[LineSet, int]], crystal: Crystal
) -> tuple[Array, Array, npt.NDArray[np.int64], tuple[str, ...]]:
    energy = np.concatenate([one.energy_kev for one, _ in lines])
    area = np.concatenate([one.rate * crystal.response.full_energy(one.energy_kev) for one, _ in lines])
    part = np.concatenate([np.full(one.energy_kev.size, index, dtype=np.int64) for one, index in lines])
    makers = tuple(maker for one, _ in lines for maker in one.makers)
    return energy, area, part, makers


def without_source(parts: ForwardParts) -> ForwardParts:
    """The same parts without those of the declared source and what the surroundings scatter of it."""
    kept = np.array([i for i in range(parts.n_source, len(parts.names)) if parts.usual[i] == 0], dtype=np.int64)
    number = np.full(len(parts.names), -1, dtype=np.int64)
    number[kept] = np.arange(kept.size)
    lines = number[parts.line_part] >= 0
    return ForwardParts(
        tuple(parts.names[i] for i in kept),
        np.ascontiguousarray(parts.continuum[:, :, kept]),
        parts.line_u[lines],
        parts.line_energy_kev[lines],
        parts.line_area[lines],
        parts.line_var_d_kev2[lines],
        number[parts.line_part[lines]],
        tuple(maker for maker, one in zip(parts.line_makers, lines, strict=True) if one),
        parts.var_d_kev2,
        parts.totals[kept],
        0,
        np.zeros(kept.size),
        parts.curve,
    )
