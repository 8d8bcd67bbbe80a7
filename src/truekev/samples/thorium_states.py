"""Activities in thorium, per Bq of Th-232, as a function of the years since its last refining."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from truekev.errors import UnknownNameError
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.history import YEAR_S
from truekev.nuclides.names import nuclide, nuclide_name

__all__ = [
    "AGES_YEARS",
    "HALF_LIVES_THAT_MATTER",
    "carried",
    "member_index",
    "members",
    "refined_states",
    "without_radium",
]

FloatArray = npt.NDArray[np.float64]

HALF_LIVES_THAT_MATTER = ("Ra-228", "Th-228")  # all others are known far better, or hardly change in a lifetime
_N_PER_RANGE = ((1 / 365.25, 1.0, 160), (1.0, 20.0, 640), (20.0, 120.0, 220))

# From one day to 120 years; finest where the ratio of Ra-228 to Th-228 turns.
AGES_YEARS: FloatArray = np.unique(np.concatenate([np.geomspace(a, b, n) for a, b, n in _N_PER_RANGE]))
AGES_YEARS.setflags(write=False)


@cache
def _chain(longer: str = "") -> DecayChain:
    """The thorium series; with a name, that half-life longer by its standard uncertainty."""
    chain = DecayChain.of(["Th-232"])
    if not longer:
        return chain
    half_lives = chain.half_lives_s.copy()
    half_lives[chain.members.index(longer)] += nuclide(longer).u_half_life_s
    return chain.with_half_lives(half_lives)


def members() -> tuple[str, ...]:
    """Nuclides of the series, in the order of the columns of all states."""
    return _chain().members


def member_index(name: str) -> int:
    """Column of a member of the thorium series."""
    found = nuclide_name(name)
    if found not in members():
        raise UnknownNameError("member of the thorium series", name, members())
    return members().index(found)


@cache
def refined_states(longer: str = "") -> FloatArray:
    """Activities per Bq of Th-232 at all `AGES_YEARS` after refining, shape (ages, members).

    At the refining thorium keeps both its isotopes, in equilibrium, and loses all else (radium with it).
    """
    chain = _chain(longer)
    start = chain.vector({"Th-232": 1.0, "Th-228": 1.0})
    states = np.empty((len(AGES_YEARS), len(start)))
    before = 0.0
    for i, years in enumerate(AGES_YEARS):
        start = chain.activity_transfer((float(years) - before) * YEAR_S) @ start
        states[i], before = start, float(years)
    states.setflags(write=False)
    return states


def carried(states: FloatArray, days: float, longer: str = "") -> FloatArray:
    """`states`, shape (…, members), after `days` (0 or more) without any loss."""
    if days == 0:
        return states
    return states @ _chain(longer).activity_transfer(days * 86400.0).T


def without_radium(states: FloatArray, kept: FloatArray) -> FloatArray:
    """`states`, shape (ages, members), with the fractions `kept` of all radium: shape (ages, fractions, members).

    Actinium goes with radium (its 6 hours of Ac-228 matter for a day only); all else stays.
    """
    follows = np.array([nuclide(name).element in ("Ra", "Ac") for name in members()])
    return states[:, None, :] * np.where(follows, kept[:, None], 1.0)[None, :, :]
