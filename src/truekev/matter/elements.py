"""Elements, their shells and X-rays, from the tables `elements.csv`, `atomic_shells.csv`, `xray_lines.csv`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from truekev.errors import OutOfRangeError, UnknownNameError
from truekev.tables import loader

__all__ = ["N_ELEMENTS", "Element", "Shell", "XrayLine", "atomic_number", "element", "shells", "xray_lines"]

N_ELEMENTS = 92


@dataclass(frozen=True)
class Element:
    """Atomic number, symbol, atomic weight [g/mol] and mean excitation energy [eV]."""

    z: int
    symbol: str
    atomic_weight: float
    mean_excitation_ev: float


@dataclass(frozen=True)
class Shell:
    """A shell: edge [keV], electrons, Compton profile at zero momentum per electron [1/atomic unit], X-ray yield."""

    name: str
    edge_kev: float
    n_electrons: float
    profile_at_zero: float
    fluorescence_yield: float


@dataclass(frozen=True)
class XrayLine:
    """An X-ray: the shell of the vacancy, the shell that fills it, energy [keV], probability per vacancy."""

    vacancy: str
    filled_from: str
    energy_kev: float
    probability: float


@cache
def _elements() -> tuple[Element, ...]:
    return tuple(
        Element(int(r["z"]), r["symbol"], float(r["atomic_weight"]), float(r["mean_excitation_ev"]))
        for r in loader.table_rows("elements.csv")
    )


@cache
def _by_symbol() -> dict[str, int]:
    return {e.symbol: e.z for e in _elements()}


def atomic_number(symbol: str) -> int:
    """Atomic number of the element with `symbol` (H to U).

    Raises
    ------
    UnknownNameError
        No such element among the first 92.
    """
    known = _by_symbol()
    if symbol not in known:
        raise UnknownNameError("element", symbol, known)
    return known[symbol]


def element(z: int) -> Element:
    """The element of atomic number `z`, 1 to 92."""
    if not 1 <= z <= N_ELEMENTS:
        raise OutOfRangeError(f"atomic number {z}: the tables hold the elements 1 to {N_ELEMENTS}.")
    return _elements()[z - 1]


@cache
def _all_shells() -> dict[int, tuple[Shell, ...]]:
    found: dict[int, list[Shell]] = {}
    for r in loader.table_rows("atomic_shells.csv"):
        shell = Shell(
            r["shell"],
            float(r["edge_kev"]),
            float(r["electrons"]),
            float(r["profile_at_zero"]),
            float(r["fluorescence_yield"]),
        )
        found.setdefault(int(r["z"]), []).append(shell)
    return {z: tuple(rows) for z, rows in found.items()}


@cache
def _all_lines() -> dict[int, tuple[XrayLine, ...]]:
    found: dict[int, list[XrayLine]] = {}
    for r in loader.table_rows("xray_lines.csv"):
        line = XrayLine(r["vacancy"], r["filled_from"], float(r["energy_kev"]), float(r["probability"]))
        found.setdefault(int(r["z"]), []).append(line)
    return {z: tuple(rows) for z, rows in found.items()}


def shells(z: int) -> tuple[Shell, ...]:
    """Shells of the element `z`, inner first."""
    return _all_shells()[element(z).z]


def xray_lines(z: int) -> tuple[XrayLine, ...]:
    """K and L X-rays of the element `z`; empty for the lightest."""
    return _all_lines().get(element(z).z, ())
