"""Templates: what each component of a source looks like on the axis of nominal pulse height.

The axis is u = sqrt(p), with p the pulse height [keV-equivalent] of the nominal light model (kappa = 1,
s = 0.01 /MeV): on it the width of a peak is nearly the same everywhere, so that smearing is one
convolution. A template is kept as its cumulative, so that the counts between any two channel edges are a
difference.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.special import ndtr

from truekev.scale.light import REFERENCE_KEV, LightCurve
from truekev.transport.node_response import NodeResponse

__all__ = [
    "NOMINAL_S",
    "LineSet",
    "TemplateSet",
    "build_templates",
    "deposits_of",
    "nominal_between",
    "nominal_pulse_kev",
    "nominal_pulse_kev_at_nodes",
    "scattered",
]

Array = npt.NDArray[np.float64]

NOMINAL_S = 0.01
_U_STEP = 0.08
_U_MAX = 60.0
_FWHM = 2.3548200450309493
_MC2_KEV = 510.998950
# Fall-off of the smooth parts [keV-equivalent]: room scatter to cosmic rays.
_SMOOTH_KEV = (35.0, 80.0, 180.0, 400.0, 900.0, 3000.0)


@dataclass(frozen=True)
class LineSet:
    """Photons that reach the crystal from one component: energies [keV], relative rates, and of each
    line the nuclide or element that makes it.
    """

    name: str
    energy_kev: Array
    rate: Array
    makers: tuple[str, ...] = ()

    def part(self, name: str, low_kev: float, high_kev: float) -> LineSet:
        """The lines from `low_kev` up to, not including, `high_kev`."""
        return self._only(name, (self.energy_kev >= low_kev) & (self.energy_kev < high_kev))

    def made_by(self, makers: Set[str]) -> LineSet:
        """The lines of these makers."""
        return self._only(self.name, np.array([maker in makers for maker in self.makers], dtype=np.bool_))

    def _only(self, name: str, keep: npt.NDArray[np.bool_]) -> LineSet:
        makers = tuple(maker for maker, kept in zip(self.makers, keep, strict=True) if kept)
        return LineSet(name, self.energy_kev[keep], self.rate[keep], makers)


@dataclass(frozen=True)
class TemplateSet:
    """Cumulative templates of several components for several peak widths.

    Parameters
    ----------
    names : tuple of str
        The k components: those of the source first, then scatter, room, smooth parts.
    widths : ndarray, shape (w,)
        FWHM / E at 661.655 keV of each set.
    u : ndarray, shape (m,)
        sqrt of nominal pulse height [sqrt(keV-equivalent)].
    cumulative : ndarray, shape (w, k, m)
        Expected counts below u; each component ends at 1.
    totals : ndarray, shape (k,)
        Counts per photon rate of 1 that each component of lines makes before it was scaled to 1.
    n_source : int
        How many of the components belong to the declared source.
    """

    names: tuple[str, ...]
    widths: Array
    u: Array
    cumulative: npt.NDArray[np.float64]
    totals: Array
    n_source: int

    @cached_property
    def by_place(self) -> npt.NDArray[np.float64]:
        """`cumulative` with the components of one place side by side, shape (w, m, k)."""
        return np.ascontiguousarray(self.cumulative.transpose(0, 2, 1))


def nominal_pulse_kev(curve: LightCurve, energy_kev: npt.ArrayLike, kappa: float = 1.0) -> Array:
    """Nominal pulse height p [keV-equivalent] of fully absorbed photons."""
    light = curve.light_mev(energy_kev, kappa)
    return np.asarray(1e3 * light * (1.0 - NOMINAL_S * light))


def nominal_pulse_kev_at_nodes(curve: LightCurve) -> Array:
    """`nominal_pulse_kev` at the nodes of `scale.light`."""
    light = curve.light_mev_at_nodes(1.0)
    return np.asarray(1e3 * light * (1.0 - NOMINAL_S * light))


@njit(cache=True)
def nominal_between(edges: Array, channels: Array, nominal: Array, c0: float) -> Array:  # pragma: no cover - compiled
    """Nominal pulse height [keV-equivalent] at channel edges, from ch(E) at nodes whose own are `nominal`.

    Below and above the nodes ch(E) goes on as a straight line.
    """
    out = np.empty(edges.size)
    last = channels.size - 1
    for e in range(edges.size):
        at = edges[e]
        if at < channels[0]:
            out[e] = nominal[0] + (at - channels[0]) * nominal[0] / max(channels[0] - c0, 1e-9)
            continue
        i = min(max(np.searchsorted(channels, at, side="right") - 1, 0), last - 1)
        out[e] = nominal[i] + (at - channels[i]) * (nominal[i + 1] - nominal[i]) / (channels[i + 1] - channels[i])
    return out


def scattered(lines: LineSet, name: str, least_degrees: float, most_degrees: float) -> LineSet:
    """Photons of `lines` above 150 keV scattered once on the way, by angles in a range.

    Klein-Nishina angles of free electrons; rates are relative to one another. Backward angles (110 to
    180 degrees) come from what lies behind the source, forward ones from source, window and housing.
    """
    cosine = np.linspace(np.cos(np.radians(most_degrees)), np.cos(np.radians(least_degrees)), 12)
    strong = lines.rate > 0.01 * lines.rate.max()
    energies, rates = [], []
    for energy, rate in zip(lines.energy_kev[strong], lines.rate[strong], strict=True):
        if energy < 150.0:
            continue
        ratio = 1.0 / (1.0 + energy / _MC2_KEV * (1.0 - cosine))
        energies.append(energy * ratio)
        rates.append(rate * ratio**2 * (ratio + 1.0 / ratio - 1.0 + cosine**2))
    if not energies:
        return LineSet(name, np.array([150.0]), np.array([1.0]))
    return LineSet(name, np.concatenate(energies), np.concatenate(rates))


def _u_edges() -> Array:
    return np.arange(0.0, _U_MAX + _U_STEP / 2, _U_STEP)


def build_templates(
    source: Sequence[LineSet],
    others: Sequence[LineSet],
    response: NodeResponse,
    curve: LightCurve,
    widths: Sequence[float],
    kappa: float = 1.0,
) -> TemplateSet:
    """Templates of the source's components, of other line components, and of smooth parts."""
    u_edges = _u_edges()
    names = [lines.name for lines in (*source, *others)] + [f"smooth {k:.0f}" for k in _SMOOTH_KEV]
    continua = [_continuum_on_u(lines, response, curve, u_edges, kappa) for lines in (*source, *others)]
    stack = np.empty((len(widths), len(names), u_edges.size))
    totals = np.ones(len(names))
    for index, width in enumerate(widths):
        sigma_u = 0.5 * width * np.sqrt(661.655) / _FWHM
        smear = _smearing(sigma_u)
        for row, lines in enumerate((*source, *others)):
            peaks = _peaks_cumulative(lines, response, curve, u_edges, sigma_u, kappa)
            total = peaks + np.concatenate(([0.0], np.cumsum(smear @ continua[row])))
            totals[row] = max(total[-1], 1e-300)
            stack[index, row] = total / totals[row]
        for row, scale in enumerate(_SMOOTH_KEV, start=len(source) + len(others)):
            stack[index, row] = 1.0 - np.exp(-(u_edges**2) / scale)
    return TemplateSet(tuple(names), np.asarray(widths, float), u_edges, stack, totals, len(source))


@lru_cache(maxsize=8)
def _smearing(sigma_u: float) -> Array:
    u_edges = _u_edges()
    centres = 0.5 * (u_edges[1:] + u_edges[:-1])
    spread = ndtr((u_edges[1:, None] - centres[None, :]) / sigma_u) - ndtr(
        (u_edges[:-1, None] - centres[None, :]) / sigma_u
    )
    return np.asarray(spread, dtype=np.float64)


def _peaks_cumulative(
    lines: LineSet, response: NodeResponse, curve: LightCurve, u_edges: Array, sigma_u: float, kappa: float
) -> Array:
    centre = np.sqrt(nominal_pulse_kev(curve, lines.energy_kev, kappa))
    weight = lines.rate * response.full_energy(lines.energy_kev)
    return np.asarray(ndtr((u_edges[:, None] - centre[None, :]) / sigma_u) @ weight)


def deposits_of(lines: LineSet, response: NodeResponse) -> tuple[Array, Array]:
    """Continuum of all lines together, up to each edge of the response's bins: deposits below it, and D/E there."""
    edges = response.bin_edges_kev
    deposit, weighted = np.zeros(edges.size - 1), np.zeros(edges.size - 1)
    for energy, rate in zip(lines.energy_kev, lines.rate, strict=True):
        probability, with_d = response.deposits(float(energy))
        deposit += rate * probability
        weighted += rate * with_d
    middle = 0.5 * (edges[1:] + edges[:-1])
    # Mean D over energy per bin, smoothed: the Monte Carlo is noisy bin by bin, light is not.
    box = np.ones(7)
    relative = np.convolve(weighted, box, mode="same") / np.maximum(
        np.convolve(deposit * middle, box, mode="same"), 1e-300
    )
    return np.concatenate(([0.0], np.cumsum(deposit))), np.interp(edges, middle, relative)


def _continuum_on_u(lines: LineSet, response: NodeResponse, curve: LightCurve, u_edges: Array, kappa: float) -> Array:
    """Continuum per u bin before smearing: each deposit with the light that its electrons make."""
    edges = response.bin_edges_kev
    cumulative, at_edges = deposits_of(lines, response)
    reference = 1.0 + kappa * float(curve.relative_d(REFERENCE_KEV))
    light_kev = np.maximum.accumulate(edges * (1.0 + kappa * at_edges) / reference)
    pulse = light_kev * (1.0 - NOMINAL_S * 1e-3 * light_kev)
    return np.asarray(np.diff(np.interp(u_edges, np.sqrt(np.maximum(pulse, 0.0)), cumulative)))
