"""Names of nuclides: the table's nuclides, and tolerant reading of how people write them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from truekev.errors import UnknownNameError
from truekev.tables.loader import table_rows

__all__ = ["Nuclide", "known_nuclides", "nuclide", "nuclide_name", "specific_activity_bq_g"]

_BETWEEN = re.compile(r"[\s_-]+")
_MASS_LAST = re.compile(r"([a-z]{1,2})(\d{1,3})(m?)")
_MASS_FIRST = re.compile(r"(\d{1,3})(m?[a-z]{1,2})")
_AVOGADRO = 6.02214076e23


@dataclass(frozen=True)
class Nuclide:
    """A radioactive nuclide of the tables.

    `daughters` maps daughter to share of the decays; a daughter that the tables do not hold is stable or
    ends the chain. `booked_with` names an isomer whose photons the evaluation gives under this parent.
    """

    name: str
    z: int
    a: int
    half_life_s: float
    u_half_life_s: float
    evaluation: str
    daughters: Mapping[str, float] = field(default_factory=dict)
    booked_with: str = ""

    @property
    def element(self) -> str:
        """Chemical symbol."""
        return self.name.partition("-")[0]

    @property
    def decay_constant_per_s(self) -> float:
        """Decay constant [1/s]."""
        return math.log(2) / self.half_life_s


@cache
def _all() -> dict[str, Nuclide]:
    nuclides = {}
    for row in table_rows("nuclides.csv"):
        shares = (entry.split(":") for entry in row["daughters"].split())
        nuclides[row["nuclide"]] = Nuclide(
            name=row["nuclide"],
            z=int(row["z"]),
            a=int(row["a"]),
            half_life_s=float(row["half_life_s"]),
            u_half_life_s=float(row["u_half_life_s"]),
            evaluation=row["evaluation"],
            daughters={name: float(share) for name, share in shares},
            booked_with=row["booked_with"],
        )
    return nuclides


@cache
def known_nuclides() -> tuple[str, ...]:
    """Names of all nuclides of the tables, by atomic and mass number."""
    return tuple(_all())


@cache
def nuclide_name(text: str) -> str:
    """The table's name for a nuclide as people write it: tl208, TL-208, 208Tl and Tl 208 are all Tl-208.

    Raises
    ------
    UnknownNameError
        Not a nuclide of the tables; the message offers near matches.
    """
    word = _BETWEEN.sub("", text.lower())
    readings = [text.strip()]
    if match := _MASS_LAST.fullmatch(word):
        readings = [f"{match[1].capitalize()}-{match[2]}{match[3]}"]
    elif match := _MASS_FIRST.fullmatch(word):
        mass, letters = match[1], match[2]
        # 99mo is molybdenum, 99mtc the isomer of technetium
        readings = [f"{letters.capitalize()}-{mass}", f"{letters[1:].capitalize()}-{mass}m"]
    for name in readings:
        if name in _all():
            return name
    raise UnknownNameError("nuclide", readings[0], _all(), "Write it as Tl-208.")


def nuclide(text: str) -> Nuclide:
    """Half-life, daughters and evaluation of a nuclide, its name read tolerantly."""
    return _all()[nuclide_name(text)]


def specific_activity_bq_g(text: str) -> float:
    """Activity of one gram of the pure nuclide [Bq/g].

    Notes
    -----
    ln 2 * N_A / (half-life * mass number): the mass number stands for the molar mass, which is right within 0.1 %
    for every nuclide from carbon up.
    """
    of = nuclide(text)
    return of.decay_constant_per_s * _AVOGADRO / of.a
