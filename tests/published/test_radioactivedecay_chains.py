"""Chains against radioactivedecay 0.6 (A. Malins and T. Lemoine, JOSS 7 (2022) 3318), a general-purpose decay solver.

It carries the half-lives and branchings of ICRP Publication 107. First its own constants are put into our solver, which
tests the solver alone; then both run with their own data, which tests the data within their spread.
"""

from __future__ import annotations

import numpy as np
import pytest
import radioactivedecay as rd

from truekev.nuclides.chain import DecayChain

YEAR = 365.2422 * 86400  # the year of radioactivedecay
SERIES = ["Th-232", "U-238", "U-235", "Np-237"]
# Where its floats suffice (they lose digits at short times), and where its many-digit arithmetic is needed.
TIMES_S = [30 * 86400.0, YEAR, 30 * YEAR, 1e4 * YEAR, 1e6 * YEAR]
SHORT_TIMES_S = [1.0, 3600.0]


def _with_their_constants(chain: DecayChain) -> DecayChain:
    shares = np.zeros_like(chain.shares)
    for j, name in enumerate(chain.members):
        theirs = rd.Nuclide(name)
        for daughter, share in zip(theirs.progeny(), theirs.branching_fractions(), strict=True):
            if daughter in chain.members:
                shares[chain.members.index(daughter), j] = share
    half_lives = np.array([rd.Nuclide(name).half_life("s") for name in chain.members])
    return DecayChain(chain.members, half_lives, shares)


def _compare(parent: str, seconds: float, theirs: dict[str, float]) -> None:
    chain = _with_their_constants(DecayChain.of([parent]))
    n_compared = 0
    for arithmetic in ("float", "decimal"):
        ours = chain.activities_bq({parent: 1.0}, seconds, arithmetic=arithmetic)  # type: ignore[arg-type]
        for name, activity in ours.items():
            if theirs.get(name, 0.0) > 1e-40:
                n_compared += 1
                assert activity == pytest.approx(theirs[name], rel=1e-6), (name, arithmetic)
    assert n_compared > 4


@pytest.mark.parametrize("parent", SERIES)
@pytest.mark.parametrize("seconds", TIMES_S)
def test_solver_with_their_constants(parent: str, seconds: float) -> None:
    theirs = rd.Inventory({parent: 1.0}, "Bq").decay(seconds, "s").activities("Bq")
    _compare(parent, seconds, {name: a for name, a in theirs.items() if a > 1e-9})


@pytest.mark.parametrize("seconds", SHORT_TIMES_S)
def test_solver_at_short_times_with_many_digits(seconds: float) -> None:
    _compare("Th-228", seconds, rd.InventoryHP({"Th-228": 1.0}, "Bq").decay(seconds, "s").activities("Bq"))


@pytest.mark.parametrize("parent", SERIES)
def test_own_data_agree_after_thirty_years(parent: str) -> None:
    ours = DecayChain.of([parent]).activities_bq({parent: 1.0}, 30 * YEAR)
    theirs = rd.Inventory({parent: 1.0}, "Bq").decay(30, "y").activities("Bq")
    strong = [name for name in ours if theirs.get(name, 0.0) > 1e-2]
    assert strong
    for name in strong:
        assert ours[name] == pytest.approx(theirs[name], rel=0.02), name
