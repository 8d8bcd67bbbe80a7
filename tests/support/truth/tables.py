"""Reads the numbers that the independent truth is built from, out of ../shared beside the project.

Everything here is an outside number: the tables of an independent transport code (shared/reference),
evaluated photon lines, NIST attenuation and the plausibility bands of the light yield (shared/check-values).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

ROOT = Path(__file__).resolve().parents[3]
SHARED = ROOT.parent / "shared"

LOWEST_LINE_KEV = 25.0  # below it the crystal's window and trigger leave nothing


def is_available() -> bool:
    """True where the shared reference tables lie beside the project."""
    return (SHARED / "reference" / "csi10_bare_10mm.csv").is_file() and (SHARED / "check-values").is_dir()


def _rows(file: Path) -> list[dict[str, str]]:
    lines = [line for line in file.read_text().splitlines() if line and not line.startswith("#")]
    return list(csv.DictReader(lines))


@dataclass(frozen=True)
class CrystalTable:
    """Answers of the independent transport code for the bare CsI cube of 10 mm at 10 mm, per photon
    into 4 pi: full-energy peak, total, single and double escape, K X-ray escape. Arrays over energy.
    """

    energy_kev: Array
    full_energy: Array
    total: Array
    single_escape: Array
    double_escape: Array
    xray_escape: Array


@cache
def crystal_table() -> CrystalTable:
    """The table of csi10_bare_10mm.csv."""
    rows = _rows(SHARED / "reference" / "csi10_bare_10mm.csv")
    columns = ("E_keV", "fep", "total", "se", "de", "xesc_26_36keV")
    return CrystalTable(*(np.array([float(row[name]) for row in rows]) for name in columns))


@cache
def histogram(energy_kev: float) -> tuple[Array, Array]:
    """Bin edges [keV] and probability per bin of deposited energy, for 661.7, 1460.8 or 2614.5 keV."""
    rows = _rows(SHARED / "reference" / f"hist_csi10_10mm_{energy_kev}.csv")
    low = np.array([float(row["E_low_keV"]) for row in rows])
    return np.append(low, float(rows[-1]["E_high_keV"])), np.array([float(row["prob"]) for row in rows])


@dataclass(frozen=True)
class Lines:
    """Photon lines of one nuclide: energy [keV] and photons per decay of the nuclide."""

    energy_kev: Array
    per_decay: Array


@cache
def _all_lines() -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = {}
    for name in ("th232_lines.csv", "other_lines.csv"):
        for row in _rows(SHARED / "check-values" / name):
            found.setdefault(row["nuclide"], []).append(row)
    return found


def nuclides() -> tuple[str, ...]:
    """Names of the nuclides with lines."""
    return tuple(sorted(_all_lines()))


@cache
def nuclide_lines(nuclide: str) -> Lines:
    """Lines of a nuclide from DDEP; from ENSDF only where DDEP has nothing for the nuclide at all
    (single ENSDF rows beside DDEP ones are known to be wrong, see the notes of CHECK_VALUES.md).
    """
    rows = _all_lines()[nuclide]
    evaluation = "ddep" if any(row["I_ddep_pct"] for row in rows) else "ensdf"
    energy, percent = f"E_{evaluation}_keV", f"I_{evaluation}_pct"
    pairs = [(float(row[energy]), float(row[percent])) for row in rows if row[percent]]
    pairs = [(e, i) for e, i in pairs if e >= LOWEST_LINE_KEV]
    return Lines(np.array([e for e, _ in pairs]), np.array([i / 100 for _, i in pairs]))


# K edges [keV] that lie between tabulated energies; interpolation must not cross them.
_K_EDGE_KEV = {"W": 69.525, "ThO2": 109.65, "U": 115.606}


def attenuation_cm2_g(material: str, energy_kev: npt.ArrayLike) -> Array:
    """Mass attenuation coefficient, log-log between tabulated energies and never across a K edge."""
    grid, values = _attenuation(material)
    energy = np.asarray(energy_kev, float)
    result = np.empty_like(energy)
    edge = _K_EDGE_KEV.get(material, 0.0)
    for above in (False, True):
        side = grid > edge if above else grid <= edge
        wanted = energy > edge if above else energy <= edge
        if not wanted.any():
            continue
        x, y = np.log(grid[side]), np.log(values[side])
        at = np.log(energy[wanted])
        i = np.clip(np.searchsorted(x, at) - 1, 0, x.size - 2)
        result[wanted] = np.exp(y[i] + (at - x[i]) * (y[i + 1] - y[i]) / (x[i + 1] - x[i]))
    return result


@cache
def _attenuation(material: str) -> tuple[Array, Array]:
    rows = [r for r in _rows(SHARED / "check-values" / "attenuation.csv") if r["material"] == material]
    pairs = sorted((float(row["E_keV"]), float(row["mu_rho_cm2_g"])) for row in rows)
    return np.array([e for e, _ in pairs]), np.array([m for _, m in pairs])


@dataclass(frozen=True)
class LightBand:
    """Plausibility band of the relative light yield of CsI(Tl): energy [keV], middle, half width."""

    energy_kev: Array
    middle: Array
    half_width: Array


@cache
def light_band(probe: str) -> LightBand:
    """Band for `probe` 'photon' or 'electron' (from memory of published figures: plausibility only)."""
    rows = [
        row
        for row in _rows(SHARED / "check-values" / "nonproportionality.csv")
        if row["material"] == "CsI(Tl)" and row["probe"] == probe
    ]
    columns = ("E_keV", "rel_light_yield", "band_half_width")
    return LightBand(*(np.array([float(row[name]) for row in rows]) for name in columns))
