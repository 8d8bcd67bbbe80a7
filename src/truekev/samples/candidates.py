"""What a spectrum is searched for: nuclides, segments of the natural series, and radiation that no decay makes itself.

A candidate is a set of activities in a fixed ratio. The natural series come in the segments into which chemistry and
radon break them, so that a series out of step shows as some of its segments and not as the series.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from truekev.errors import InputError, UnknownNameError
from truekev.matter.elements import atomic_number, xray_lines
from truekev.matter.materials import mixture
from truekev.matter.photons import partial_cross_sections
from truekev.nuclides.lines import photon_lines
from truekev.nuclides.names import known_nuclides, nuclide_name
from truekev.scale.templates import LineSet
from truekev.sources.components import aged_bq, short_progeny_bq

__all__ = [
    "NATURAL",
    "NATURAL_URANIUM",
    "RADON_PROGENY",
    "ROOM",
    "Candidate",
    "candidate",
    "candidates",
    "lines_of",
    "room_parts",
]

LOWEST_KEV, HIGHEST_KEV = 20.0, 2990.0
_LEAST_SHARE = 0.003  # of a candidate's strongest line; weaker ones only cost time
_LEAST_INTENSITY = 1e-4

_NUCLIDES = (
    *("Be-7", "Na-22", "Na-24", "Al-26", "K-40", "Sc-46", "Cr-51", "Mn-54", "Mn-56", "Fe-59", "Co-56", "Co-57"),
    *("Co-58", "Co-60", "Zn-65", "Ga-67", "Ge-68", "Se-75", "Kr-85", "Sr-85", "Y-88", "Zr-89", "Zr-95", "Nb-95"),
    *("Mo-99", "Tc-99m", "Ru-106", "Ag-108m", "Ag-110m", "Cd-109", "In-111", "Sn-113", "Sb-124", "Sb-125", "I-123"),
    *("I-124", "I-125", "I-131", "Te-132", "Xe-133", "Cs-134", "Cs-137", "Ba-133", "Ba-140", "La-138", "La-140"),
    *("Ce-139", "Ce-141", "Ce-144", "Sm-153", "Eu-152", "Eu-154", "Eu-155", "Gd-153", "Ho-166m", "Yb-169", "Lu-176"),
    *("Lu-177", "Ta-182", "Ir-192", "Au-198", "Hg-203", "Tl-201", "Bi-207", "Np-237", "Np-239", "Am-241", "Am-243"),
    *("Cm-243", "Th-229", "Pa-231"),
)
# Segments of the series by their heads: what follows the head within a year goes with it.
_SEGMENTS = {
    "Ra-228 part": ("Ra-228", "radium-228 and actinium-228, thorium series"),
    "Th-228 part": ("Th-228", "thorium-228 down to thallium-208, thorium series"),
    "Ra-226 part": ("Ra-226", "radium-226 with radon and its short-lived progeny, uranium series"),
    "U-238 part": ("U-238", "uranium-238 with thorium-234 and protactinium-234m, as in uranium cleaned chemically"),
    "U-235 part": ("U-235", "uranium-235 with thorium-231"),
    "Ac-227 part": ("Ac-227", "actinium-227 with its progeny, actinium series"),
    "Pb-210": ("Pb-210", "lead-210, uranium series below radon"),
}
RADON_PROGENY, ANNIHILATION = "radon progeny", "annihilation radiation"
_XRAYS = {"tungsten K X-rays": "W", "lead K X-rays": "Pb"}
NATURAL = frozenset({"K-40", "Ra-228 part", "Th-228 part", "Ra-226 part", RADON_PROGENY, "Pb-210"})
NATURAL_URANIUM = frozenset({"U-238 part", "U-235 part", "Ac-227 part", "Pa-231"})
ROOM = ("room: K-40", "room: uranium series", "room: thorium series")
_ALIASES = {"th-232": "Th-228 part", "thorium": "Th-228 part", "u-238": "U-238 part", "uranium": "U-238 part"}


@dataclass(frozen=True)
class Candidate:
    """Something a spectrum may hold.

    Parameters
    ----------
    name, what : str
        Its short name, and what it is in words.
    head : str
        The nuclide whose activity stands for it; empty for radiation that is counted in photons.
    activities_bq : mapping
        Activity of every member per Bq of the head.
    photons : mapping
        Energy [keV] to photons per second at strength 1, for radiation without a nuclide.
    """

    name: str
    what: str
    head: str
    activities_bq: Mapping[str, float] = field(default_factory=dict)
    photons: Mapping[float, float] = field(default_factory=dict)

    @property
    def unit(self) -> str:
        """Bq, or photons per second."""
        return "Bq" if self.head else "1/s"


def lines_of(one: Candidate) -> LineSet:
    """Photons per second at strength 1 between 20 and 2990 keV; weak lines beside strong ones are left out."""
    rows = [(energy, rate, one.name) for energy, rate in one.photons.items()]
    for name, activity in one.activities_bq.items():
        for line in photon_lines(name, min_intensity=_LEAST_INTENSITY):
            rows.append((line.energy_kev, line.intensity * activity, name))
    rows = sorted(row for row in rows if LOWEST_KEV <= row[0] <= HIGHEST_KEV)
    strongest = max((row[1] for row in rows), default=0.0)
    rows = [row for row in rows if row[1] >= _LEAST_SHARE * strongest]
    return LineSet(one.name, np.array([r[0] for r in rows]), np.array([r[1] for r in rows]), tuple(r[2] for r in rows))


def _x_rays(name: str, element: str) -> Candidate:
    rows = [row for row in xray_lines(atomic_number(element)) if row.vacancy == "K"]
    total = sum(row.probability for row in rows)
    what = f"{name}, made in matter by other radiation"
    return Candidate(name, what, "", photons={row.energy_kev: row.probability / total for row in rows})


@cache
def _all() -> dict[str, Candidate]:
    found = {name: Candidate(name, name, name, short_progeny_bq(name)) for name in _NUCLIDES}
    found |= {name: Candidate(name, what, head, short_progeny_bq(head)) for name, (head, what) in _SEGMENTS.items()}
    progeny = {"Pb-214": 1.0, "Bi-214": 1.0}
    found[RADON_PROGENY] = Candidate(RADON_PROGENY, "progeny of radon-222 without its radium", "Pb-214", progeny)
    pairs = "annihilation radiation, as of F-18 and all that emits positrons and little else"
    found[ANNIHILATION] = Candidate(ANNIHILATION, pairs, "", photons={510.99895: 1.0})
    found |= {name: _x_rays(name, element) for name, element in _XRAYS.items()}
    return {name: one for name, one in found.items() if lines_of(one).energy_kev.size}


def candidates() -> tuple[Candidate, ...]:
    """All that is searched for."""
    return tuple(_all().values())


def candidate(text: str) -> Candidate:
    """A candidate by its name; a nuclide that is not searched for on its own becomes one with what follows it.

    Raises
    ------
    UnknownNameError
        Neither a candidate nor a nuclide.
    InputError
        A nuclide without photons in the range.
    """
    wanted = text.strip()
    for name, one in _all().items():
        if wanted.lower() == name.lower() or wanted.lower() == name.removesuffix(" part").lower():
            return one
    wanted = _ALIASES.get(wanted.lower(), wanted)
    if wanted in _all():
        return _all()[wanted]
    try:
        name = nuclide_name(wanted)
    except UnknownNameError:
        raise UnknownNameError("candidate", wanted, [*_all(), *known_nuclides()], "Write it as Cs-137.") from None
    if name in _all():
        return _all()[name]
    if f"{name} part" in _all():
        return _all()[f"{name} part"]
    made = Candidate(name, name, name, short_progeny_bq(name))
    if not lines_of(made).energy_kev.size:
        raise InputError(f"{name} sends no photon between {LOWEST_KEV:.0f} and {HIGHEST_KEV:.0f} keV to be seen by.")
    return made


def _from_walls(name: str, activities: Mapping[str, float]) -> LineSet:
    """Lines as thick walls send them: what leaves a thick body unscattered goes as one over its attenuation."""
    lines = lines_of(Candidate(name, name, "wall", activities))
    concrete = mixture("concrete", 2.3, {"SiO2": 0.7, "CaO": 0.15, "Al2O3": 0.08, "H2O": 0.07})
    depth = partial_cross_sections(concrete, lines.energy_kev).total
    at_1_mev = float(partial_cross_sections(concrete, np.array([1000.0])).total[0])
    return LineSet(name, lines.energy_kev, lines.rate * at_1_mev / depth, lines.makers)


@cache
def room_parts() -> tuple[LineSet, ...]:
    """Natural lines of a room by series, for a spectrum without a background."""
    radium: Sequence[str] = [n for n in aged_bq("Ra-226") if n not in ("Pb-210", "Bi-210", "Po-210")]
    activities: dict[str, Mapping[str, float]] = {
        ROOM[0]: {"K-40": 1.0},
        ROOM[1]: dict.fromkeys(radium, 1.0),
        ROOM[2]: aged_bq("Th-232"),
    }
    return tuple(_from_walls(name, of) for name, of in activities.items())
