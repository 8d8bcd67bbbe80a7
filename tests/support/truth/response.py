"""Deposited-energy response of the 10 mm CsI cube to one photon energy, from the independent code's tables.

Peaks (full energy, single and double escape, K X-ray escape) and the total are interpolated in the
table; the continuum's shape is carried from the three histograms in coordinates that move with the
energy: fraction of the Compton edge below the edge, fraction of the gap above it. Below 662 keV it
goes over to a Klein-Nishina electron spectrum whose scattered photon escapes. By construction full
energy peak and total are the table's at the tabulated energies.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from tests.support.truth.tables import Array, crystal_table, histogram

M_E_KEV = 510.999
BIN_KEV = 2.0
N_BINS = 1400
EDGES_KEV: Array = np.asarray(np.arange(N_BINS + 1) * BIN_KEV, dtype=np.float64)
CENTRES_KEV: Array = (EDGES_KEV[:-1] + EDGES_KEV[1:]) / 2

# K X-rays that leave the crystal [keV], and their shares (iodine and caesium, alpha and beta;
# energies from the X-ray data booklet, shares from memory).
ESCAPING_XRAYS_KEV: Array = np.array([28.5, 30.9, 32.4, 35.1])
ESCAPING_XRAY_SHARES: Array = np.array([0.42, 0.40, 0.09, 0.09])
_IODINE_K_KEV, _CAESIUM_K_KEV = 33.17, 35.98
_SHOULDER = 0.40  # pairs with one annihilation photon scattered once, per double escape event


@dataclass(frozen=True)
class Response:
    """Probability per photon into 4 pi of each kind of event.

    `single` and `several`: continuum per 2 keV bin of deposited energy, where one electron made the
    light and where several did. `pair_shoulder` is part of `several`.
    """

    energy_kev: float
    full_energy: float
    xray_escape: float
    single_escape: float
    double_escape: float
    single: Array
    several: Array

    @property
    def total(self) -> float:
        """Probability of any deposit."""
        peaks = self.full_energy + self.xray_escape + self.single_escape + self.double_escape
        return float(peaks + self.single.sum() + self.several.sum())


def compton_edge_kev(energy_kev: float) -> float:
    """Largest energy of a Compton electron."""
    return energy_kev * (2 * energy_kev / M_E_KEV) / (1 + 2 * energy_kev / M_E_KEV)


def klein_nishina_per_electron_energy(energy_kev: float, electron_kev: Array) -> Array:
    """Klein-Nishina cross section per electron energy, arbitrary units; zero outside the range."""
    a = energy_kev / M_E_KEV
    t = electron_kev / energy_kev
    inside = (t > 0) & (electron_kev <= compton_edge_kev(energy_kev))
    t = np.where(inside, t, 0.1)
    value = 2 + t**2 / (a**2 * (1 - t) ** 2) + t / (1 - t) * (t - 2 / a)
    return np.where(inside, value / a**2, 0.0)


def klein_nishina_total(energy_kev: float) -> float:
    """Klein-Nishina cross section in units of the Thomson one."""
    a = energy_kev / M_E_KEV
    b = 1 + 2 * a
    first = (1 + a) / a**2 * (2 * (1 + a) / b - np.log(b) / a)
    return float(0.75 * (first + np.log(b) / (2 * a) - (1 + 3 * a) / b**2))


def photoelectric_cm2_g(energy_kev: float) -> float:
    """Photoelectric cross section of CsI above its K edges, within 5 %: what NIST's total leaves
    (CHECK_VALUES rows 89, 90) after Klein-Nishina and a small coherent part, as two power laws.
    """
    x = energy_kev / 661.7
    return 0.0098 * float(x ** (-2.75 if x < 1 else -2.0))


def compton_cm2_g(energy_kev: float) -> float:
    """Klein-Nishina cross section of CsI, per mass (Z/A = 0.4157)."""
    return 0.6022 * 0.4157 * 0.66525 * klein_nishina_total(energy_kev)


# ---- the table between its energies


@cache
def _curves() -> dict[str, PchipInterpolator]:
    table = crystal_table()
    x = np.log(table.energy_kev)
    rest = (
        table.total
        - table.full_energy
        - np.where(table.energy_kev > _CAESIUM_K_KEV, table.xray_escape, 0.0)
        - table.single_escape
        - table.double_escape
    )
    above = table.energy_kev > _CAESIUM_K_KEV
    pair = table.double_escape > 0
    pair_x = np.log(table.energy_kev[pair])
    return {
        "total": PchipInterpolator(x, np.log(table.total)),
        "rest": PchipInterpolator(x, np.log(rest)),
        "full": PchipInterpolator(x[above], np.log(table.full_energy[above])),
        "xray": PchipInterpolator(x[above], np.log(table.xray_escape[above])),
        "se": PchipInterpolator(pair_x, np.log(table.single_escape[pair])),
        "de": PchipInterpolator(pair_x, np.log(table.double_escape[pair])),
    }


def _inside(name: str, energy_kev: float) -> float:
    curve = _curves()[name]
    x = float(np.clip(np.log(energy_kev), curve.x[0], curve.x[-1]))
    value = float(curve(x))
    if x != np.log(energy_kev) and name != "total":  # carry the end slope on
        value += float(curve.derivative()(x)) * (np.log(energy_kev) - x)
    return float(np.exp(value))


def _xray_escape(energy_kev: float) -> float:
    if energy_kev <= _IODINE_K_KEV:
        return 0.0
    value = _inside("xray", energy_kev)
    return value if energy_kev > _CAESIUM_K_KEV else 0.5 * value


def _pair_escapes(energy_kev: float) -> tuple[float, float]:
    """Single and double escape; below the first tabulated one they fall to zero as (E - 1022)^2."""
    threshold = 2 * M_E_KEV
    if energy_kev <= threshold:
        return 0.0, 0.0
    first = float(np.exp(_curves()["de"].x[0]))
    if energy_kev >= first:
        return _inside("se", energy_kev), _inside("de", energy_kev)
    fall = ((energy_kev - threshold) / (first - threshold)) ** 2
    return fall * _inside("se", first), fall * _inside("de", first)


# ---- shapes of the continuum


def _fill(density_edges: Array, mass: Array) -> Array:
    """Mass given between increasing edges [keV] put on the common bins."""
    running = np.concatenate([[0.0], np.cumsum(mass)])
    return np.diff(np.interp(EDGES_KEV, density_edges, running))


def _shoulder(energy_kev: float) -> Array:
    """Shape of double escape plus one Compton scatter of a 511 keV photon, sum 1."""
    electron = np.linspace(0.0, compton_edge_kev(M_E_KEV), 172)
    middle = (electron[:-1] + electron[1:]) / 2
    mass = klein_nishina_per_electron_energy(M_E_KEV, middle)
    return _fill(energy_kev - 2 * M_E_KEV + electron, mass / mass.sum())


_N_BELOW, _N_ABOVE = 330, 100


@dataclass(frozen=True)
class Shape:
    """Continuum without peaks on moving coordinates: masses below and above the Compton edge."""

    below: Array
    above: Array


@cache
def measured_shape(energy_kev: float) -> Shape:
    """The continuum of a tabulated histogram without its peaks and pair shoulder, smoothed."""
    edges, prob = histogram(energy_kev)
    smooth = prob.copy()
    centre = (edges[:-1] + edges[1:]) / 2
    table = crystal_table()
    de = float(np.interp(energy_kev, table.energy_kev, table.double_escape))
    width = edges[1] - edges[0]
    peaks = [(energy_kev - 1.5, energy_kev + 3.0), (energy_kev - 37.0, energy_kev - 25.0)]
    if energy_kev > 2 * M_E_KEV:
        peaks += [(energy_kev - k * M_E_KEV - 3.0, energy_kev - k * M_E_KEV + 3.0) for k in (1, 2)]
    for low, high in peaks:  # bridge each peak with its neighbours' mean
        hit = (edges[1:] > low) & (edges[:-1] < high)
        side = ((centre > low - 12) & (centre < low)) | ((centre > high) & (centre < min(high + 12, energy_kev - 3)))
        smooth[hit & ~side] = smooth[side].mean()
    smooth[centre > energy_kev - 1.5] = 0.0
    if energy_kev > 2 * M_E_KEV:
        part = np.interp(centre, CENTRES_KEV, _shoulder(energy_kev)) * width / BIN_KEV
        smooth = np.maximum(smooth - _SHOULDER * de * part, 0.2 * smooth)
    edge = compton_edge_kev(energy_kev)
    wide, narrow = (gaussian_filter1d(smooth, s, mode="nearest") for s in (8.0, 2.0))
    near = np.exp(-0.5 * ((centre - edge) / 0.04 / energy_kev) ** 2)
    running = np.concatenate([[0.0], np.cumsum(near * narrow + (1 - near) * wide)])
    below = np.linspace(0.0, edge, _N_BELOW + 1)
    above = np.linspace(edge, energy_kev, _N_ABOVE + 1)
    return Shape(np.diff(np.interp(below, edges, running)), np.diff(np.interp(above, edges, running)))


def _inside_survival(energy_kev: Array) -> Array:
    """Chance that a photon born inside the cube leaves it without another interaction (mean way
    0.42 cm; it was set so that the model below matches the independent code's 661.7 keV histogram).
    """
    mu = np.array([photoelectric_cm2_g(float(e)) + 0.95 * compton_cm2_g(float(e)) for e in energy_kev])
    return np.asarray(np.exp(-np.minimum(mu, 60.0) * 4.51 * 0.42))


@cache
def _survival_grid() -> tuple[Array, Array]:
    grid = np.geomspace(5.0, 3000.0, 300)
    return grid, _inside_survival(grid)


def single_scatter_shape(energy_kev: float) -> Shape:
    """Klein-Nishina electrons whose scattered photon escapes; the multiple-scatter part above the
    edge comes from the 661.7 keV histogram, its share scaled with the Compton cross section and escape.
    """
    edge = compton_edge_kev(energy_kev)
    x = (np.arange(_N_BELOW) + 0.5) / _N_BELOW
    electron = x * edge
    below = klein_nishina_per_electron_energy(energy_kev, electron)
    scattered = energy_kev - electron
    below = below * np.interp(scattered, *_survival_grid())
    below = gaussian_filter1d(below, 5.0, mode="nearest")
    reference = measured_shape(661.7)
    share = reference.above.sum() / reference.below.sum()
    # Binding and the photoelectric effect leave fewer second scatters at lower energies.
    share *= klein_nishina_total(energy_kev) / klein_nishina_total(661.7)
    share *= _survival_at(energy_kev * 0.6) / _survival_at(661.7 * 0.6)
    below = below / below.sum()
    return Shape(below, reference.above / reference.above.sum() * share)


def _survival_at(energy_kev: float) -> float:
    return float(np.interp(energy_kev, *_survival_grid()))


def _blend(first: Shape, second: Shape, weight: float) -> Shape:
    """(1 - weight) first + weight second, each of sum 1."""
    one, two = (shape.below.sum() + shape.above.sum() for shape in (first, second))
    return Shape(
        (1 - weight) * first.below / one + weight * second.below / two,
        (1 - weight) * first.above / one + weight * second.above / two,
    )


def _shape(energy_kev: float) -> Shape:
    if energy_kev < 661.7:
        weight = float(np.clip(np.log(energy_kev / 350.0) / np.log(661.7 / 350.0), 0, 1))
        return _blend(single_scatter_shape(energy_kev), measured_shape(661.7), weight)
    low, high = (661.7, 1460.8) if energy_kev < 1460.8 else (1460.8, 2614.5)
    weight = float(np.clip(np.log(energy_kev / low) / np.log(high / low), 0, 1))
    return _blend(measured_shape(low), measured_shape(high), weight)


# ---- all of it


def response(energy_kev: float) -> Response:
    """Response to photons of one energy, 25 to 2700 keV, per photon into 4 pi at 10 mm."""
    total, rest = _inside("total", energy_kev), _inside("rest", energy_kev)
    xray = _xray_escape(energy_kev)
    se, de = _pair_escapes(energy_kev)
    if energy_kev < crystal_table().energy_kev[1]:  # over the K edges no power law holds: take what is left
        full = total - rest - xray
    else:
        full = _inside("full", energy_kev)
        rest = total - full - xray - se - de
    single, several = np.zeros(N_BINS), np.zeros(N_BINS)
    if energy_kev <= 45.0:  # what is left are L X-rays escaping, about 4.5 keV
        several[int((energy_kev - 4.5) / BIN_KEV)] = rest
    else:
        shoulder = _SHOULDER * de
        if shoulder > 0:
            several += shoulder * _shoulder(energy_kev)
        shape = _shape(energy_kev)
        scale = (rest - shoulder) / (shape.below.sum() + shape.above.sum())
        edge = compton_edge_kev(energy_kev)
        below = _fill(np.linspace(0, edge, _N_BELOW + 1), shape.below * scale)
        above = _fill(np.linspace(edge, energy_kev - 0.5, _N_ABOVE + 1), shape.above * scale)
        # Below the edge mostly one electron, with a share of twofold scatters that grows towards it.
        twice = np.clip(0.08 + 0.2 * CENTRES_KEV / edge, 0.0, 0.28)
        single += (1 - twice) * below
        several += twice * below + above
    return Response(energy_kev, full, xray, se, de, single, several)
