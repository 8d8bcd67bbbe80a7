"""Photon cross sections from 1 keV to 5 MeV on NIST XCOM numbers, interpolated between edges and never across one."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.matter.elements import element
from truekev.matter.materials import Material
from truekev.tables import loader

__all__ = [
    "AVOGADRO",
    "ELECTRON_KEV",
    "KEV_ANGSTROM",
    "MAX_KEV",
    "MIN_KEV",
    "PartialCrossSections",
    "absorption_edges_kev",
    "element_cross_sections_barn",
    "klein_nishina_barn",
    "partial_cross_sections",
    "scattering_tables",
    "shell_shares",
]

Array = npt.NDArray[np.float64]

ELECTRON_KEV = 510.99895  # CODATA 2018
KEV_ANGSTROM = 12.39841984
AVOGADRO = 6.02214076e23
MIN_KEV = 1.0
MAX_KEV = 5000.0
_PAIR_KEV = 2 * ELECTRON_KEV
_TRIPLET_KEV = 4 * ELECTRON_KEV
_CLASSICAL_RADIUS_CM = 2.8179403262e-13


@dataclass(frozen=True)
class PartialCrossSections:
    """Mass attenuation by process [cm2/g], each of the shape of the energies asked for.

    `pair` is the sum of pair production in the nuclear and the electron field.
    """

    photoelectric: Array
    incoherent: Array
    coherent: Array
    pair: Array

    @property
    def total(self) -> Array:
        """Sum of all four: attenuation with coherent scattering [cm2/g]."""
        total: Array = self.photoelectric + self.incoherent + self.coherent + self.pair
        return total


@cache
def _archive(name: str) -> dict[str, npt.NDArray[np.float64]]:
    with np.load(io.BytesIO(loader.table_bytes(name))) as archive:
        return {key: archive[key] for key in archive.files}


def _curve(process: str, z: int) -> tuple[Array, Array]:
    table = _archive("photon_cross_sections.npz")
    first, last = (int(i) for i in table[f"{process}_start"][z - 1 : z + 1])
    return table[f"{process}_ln_kev"][first:last], table[f"{process}_ln_barn"][first:last].astype(float)


@cache
def _pieces(z: int) -> tuple[tuple[Array, Array], ...]:
    """Photoelectric curve cut at its edges, lowest piece first."""
    x, y = _curve("photo", z)
    cuts = np.flatnonzero(np.diff(x) < 1e-7) + 1
    return tuple(zip(np.split(x, cuts), np.split(y, cuts), strict=True))


def absorption_edges_kev(z: int) -> tuple[float, ...]:
    """Energies [keV] above 1 keV at which the photoelectric cross section of element `z` jumps, rising."""
    return tuple(float(np.exp(x[0])) for x, _ in _pieces(element(z).z)[1:])


def _photoelectric_barn(z: int, ln_kev: Array) -> Array:
    pieces = _pieces(z)
    if len(pieces) == 1:
        return np.exp(np.interp(ln_kev, *pieces[0]))
    starts = np.array([x[0] for x, _ in pieces[1:]])
    # 1e-9: an energy that is the edge itself belongs above it
    which = np.searchsorted(starts, ln_kev + 1e-9, side="right")
    values = np.empty_like(ln_kev)
    for number, (x, y) in enumerate(pieces):
        here = which == number
        if not here.any():
            continue
        if len(x) == 1:
            values[here] = y[0]
            continue
        values[here] = np.exp(np.interp(ln_kev[here], x, y))
    return values


def _pair_barn(process: str, threshold_kev: float, z: int, kev: Array) -> Array:
    x, y = _curve(process, z)
    # (1 - threshold/E)^3 takes the rise above the threshold out, as XCOM itself does; what is left is smooth
    node_kev = np.exp(x)
    smooth = y - 3 * np.log1p(-threshold_kev / node_kev)
    values = np.zeros_like(kev)
    above = kev > threshold_kev
    rise = 1 - threshold_kev / kev[above]
    values[above] = np.exp(np.interp(np.log(kev[above]), x, smooth)) * rise**3
    return values


def _checked(energy_kev: npt.ArrayLike) -> Array:
    kev = np.asarray(energy_kev, dtype=float)
    if not np.all((kev >= MIN_KEV) & (kev <= MAX_KEV)):
        raise OutOfRangeError(
            f"photon energy {kev.min():g} to {kev.max():g} keV: the cross sections reach from {MIN_KEV:g} to "
            f"{MAX_KEV:g} keV."
        )
    return kev


def element_cross_sections_barn(z: int, energy_kev: npt.ArrayLike) -> tuple[Array, Array, Array, Array]:
    """Photoelectric, incoherent, coherent and pair cross section [barn per atom] of element `z`."""
    kev = np.atleast_1d(_checked(energy_kev)).astype(float)
    ln_kev = np.log(kev)
    pair = _pair_barn("pair", _PAIR_KEV, z, kev) + _pair_barn("triplet", _TRIPLET_KEV, z, kev)
    return (
        _photoelectric_barn(z, ln_kev),
        np.exp(np.interp(ln_kev, *_curve("compton", z))),
        np.exp(np.interp(ln_kev, *_curve("rayleigh", z))),
        pair,
    )


def partial_cross_sections(material: Material, energy_kev: npt.ArrayLike) -> PartialCrossSections:
    """Mass attenuation of a material by process [cm2/g].

    Parameters
    ----------
    material : Material
        What the photons pass through.
    energy_kev : array_like
        Photon energy [keV], 1 to 5000.

    Raises
    ------
    OutOfRangeError
        An energy outside the table.

    Notes
    -----
    Log-log interpolation of the XCOM grid between absorption edges; at an edge the upper value. XCOM itself is good to
    1 to 2 % (5 % just above edges); the interpolation adds less than 0.5 % above 10 keV.

    References
    ----------
    NIST Standard Reference Database 8. Checked by tests/published/test_nist_srd126.py and test_xraylib_attenuation.py.
    """
    kev = _checked(energy_kev)
    sums = [np.zeros(kev.size) for _ in range(4)]
    for z, weight in material.mass_fractions:
        per_gram = weight * AVOGADRO * 1e-24 / element(z).atomic_weight
        for total, barn in zip(sums, element_cross_sections_barn(z, kev.ravel()), strict=True):
            total += per_gram * barn
    return PartialCrossSections(*(total.reshape(kev.shape) for total in sums))


def klein_nishina_barn(energy_kev: npt.ArrayLike) -> Array:
    """Klein-Nishina cross section of a free electron [barn]; checked by tests/published/test_photon_closed_forms.py."""
    k = np.asarray(energy_kev, dtype=float) / ELECTRON_KEV
    ln = np.log1p(2 * k)
    bracket = (1 + k) / k**2 * (2 * (1 + k) / (1 + 2 * k) - ln / k) + ln / (2 * k) - (1 + 3 * k) / (1 + 2 * k) ** 2
    return np.asarray(2 * np.pi * _CLASSICAL_RADIUS_CM**2 * 1e24 * bracket)


def shell_shares(z: int, energy_kev: npt.ArrayLike) -> Array:
    """Share of K, L1, L2, L3 in the photoelectric absorption of element `z`, shape (4, N); 0 below an edge.

    Above 199 keV the share at 199 keV is kept (it changes by less than 0.5 % per doubling there).
    """
    table = _archive("photoelectric_shares.npz")
    kev = np.atleast_1d(np.asarray(energy_kev, dtype=float))
    left = np.ones_like(kev)
    shares = np.zeros((4, kev.size))
    for shell in range(4):
        grid = table["energy_kev"][z - 1, shell]
        if grid[0] == 0:
            continue
        edge = grid[0] / 1.0005
        part = np.interp(kev, grid, table["share"][z - 1, shell].astype(float))
        shares[shell] = np.where(kev > edge, left * part, 0.0)
        left = left - shares[shell]
    return shares


def scattering_tables(material: Material) -> tuple[Array, Array, Array]:
    """Grid x [1/angstrom], incoherent scattering function per electron, squared form factor per atom."""
    table = _archive("scattering_functions.npz")
    x = table["x_per_angstrom"]
    incoherent = np.zeros_like(x)
    squared_form = np.zeros_like(x)
    electrons = atoms = 0.0
    for z, weight in material.mass_fractions:
        n = weight / element(z).atomic_weight
        incoherent += n * table["incoherent"][z - 1]
        squared_form += n * table["form_factor"][z - 1].astype(float) ** 2
        electrons += n * z
        atoms += n
    return x, incoherent / electrons, squared_form / atoms
