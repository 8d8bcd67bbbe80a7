"""Photon lines of the nuclides: energy, photons per decay, and the standard uncertainty of both."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from truekev.nuclides.names import known_nuclides, nuclide_name
from truekev.tables.loader import table_rows

__all__ = ["PhotonLine", "known_nuclides", "photon_lines"]


@dataclass(frozen=True)
class PhotonLine:
    """One photon line.

    Parameters
    ----------
    nuclide : str
        The nuclide whose decay it belongs to; empty for a line that no decay makes directly.
    energy_kev, u_energy_kev : float
        Energy and its standard uncertainty [keV].
    intensity, u_intensity : float
        Photons per decay and its standard uncertainty; may exceed 1 (annihilation).
    kind : str
        gamma, x-ray, annihilation, or "x-ray made in the body".
    evaluation : str
        Where the numbers come from.
    """

    nuclide: str
    energy_kev: float
    u_energy_kev: float
    intensity: float
    u_intensity: float
    kind: str
    evaluation: str


@cache
def _lines_by_nuclide() -> dict[str, tuple[PhotonLine, ...]]:
    lines: dict[str, list[PhotonLine]] = {}
    for row in table_rows("photon_lines.csv"):
        line = PhotonLine(
            nuclide=row["nuclide"],
            energy_kev=float(row["energy_kev"]),
            u_energy_kev=float(row["u_energy_kev"]),
            intensity=float(row["intensity"]),
            u_intensity=float(row["u_intensity"]),
            kind=row["kind"],
            evaluation=row["evaluation"],
        )
        lines.setdefault(line.nuclide, []).append(line)
    return {name: tuple(sorted(rows, key=lambda r: r.energy_kev)) for name, rows in lines.items()}


def photon_lines(nuclide: str, *, min_intensity: float = 0.0) -> tuple[PhotonLine, ...]:
    """Photon lines of one nuclide from 10 keV up, sorted by energy.

    Parameters
    ----------
    nuclide : str
        Its name, read tolerantly (see `nuclide_name`).
    min_intensity : float
        Lines with fewer photons per decay are left out.

    Returns
    -------
    tuple of PhotonLine
        Empty for a nuclide without photons above 10 keV (Sr-90). Descendants are not included, except
        a short-lived isomer that the evaluation books with its parent (Cs-137 holds the 661.7 keV line of
        Ba-137m).

    Raises
    ------
    UnknownNameError
        The nuclide is not in the tables.

    References
    ----------
    DDEP (LNHB decay files), ENSDF where DDEP is silent; see the table's provenance.
    """
    lines = _lines_by_nuclide().get(nuclide_name(nuclide), ())
    return tuple(line for line in lines if line.intensity >= min_intensity)
