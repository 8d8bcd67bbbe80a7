"""Photons of one decay that come together, and so may add up to one pulse."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from truekev.nuclides.names import nuclide_name
from truekev.tables.loader import table_rows

__all__ = ["CascadePair", "cascade_pairs"]


@dataclass(frozen=True)
class CascadePair:
    """Two photons of one cascade.

    Parameters
    ----------
    nuclide : str
    first_kev, second_kev : float
        Their energies [keV], those of `photon_lines`; the first is emitted first.
    share : float
        Photons of the second for each photon of the first.
    """

    nuclide: str
    first_kev: float
    second_kev: float
    share: float


@cache
def _by_nuclide() -> dict[str, tuple[CascadePair, ...]]:
    pairs: dict[str, list[CascadePair]] = {}
    for row in table_rows("cascades.csv"):
        pair = CascadePair(row["nuclide"], float(row["first_kev"]), float(row["second_kev"]), float(row["share"]))
        pairs.setdefault(pair.nuclide, []).append(pair)
    return {name: tuple(found) for name, found in pairs.items()}


def cascade_pairs(nuclide: str) -> tuple[CascadePair, ...]:
    """Pairs of gamma rays of one nuclide that follow one another within a microsecond, positrons' photons included.

    Pairs below one in ten thousand decays or a thousandth of the nuclide's strongest are left out, and so are X-rays.
    The two directions are taken as independent (true to some ten per cent). Descendants are not included.

    Raises
    ------
    UnknownNameError
        The nuclide is not in the tables.

    References
    ----------
    Level schemes and conversion coefficients of ENSDF; see the table's provenance.
    """
    return _by_nuclide().get(nuclide_name(nuclide), ())
