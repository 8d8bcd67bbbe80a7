"""Properties of the decay solver; published curves are in tests/published."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import OutOfRangeError
from truekev.nuclides.chain import DecayChain, decay
from truekev.nuclides.names import known_nuclides, nuclide

HEADS = ("Th-232", "U-238", "U-235", "Np-237", "Mo-99", "Ba-140")
CHAINS = {head: DecayChain.of([head]) for head in HEADS}
heads = st.sampled_from(HEADS)
times = st.floats(-9, 18).map(lambda exponent: 10.0**exponent)


@st.composite
def chain_and_start(draw: st.DrawFn) -> tuple[DecayChain, dict[str, float]]:
    chain = CHAINS[draw(heads)]
    start = {name: draw(st.sampled_from([0.0, 1.0, 1e-3, 1e6])) for name in chain.members}
    return chain, start


@given(chain_and_start(), times)
@settings(max_examples=60, deadline=None)
def test_floats_agree_with_the_judge(case: tuple[DecayChain, dict[str, float]], seconds: float) -> None:
    chain, start = case
    ours = chain.activities_bq(start, seconds)
    judge = chain.activities_bq(start, seconds, arithmetic="decimal")
    for name, activity in judge.items():
        assert ours[name] == pytest.approx(activity, rel=1e-12, abs=1e-290)


@given(chain_and_start(), times)
@settings(max_examples=60, deadline=None)
def test_never_negative(case: tuple[DecayChain, dict[str, float]], seconds: float) -> None:
    chain, start = case
    assert min(chain.activities_bq(start, seconds).values()) >= 0


@given(chain_and_start(), times, times)
@settings(max_examples=60, deadline=None)
def test_two_steps_are_one(case: tuple[DecayChain, dict[str, float]], first: float, second: float) -> None:
    chain, start = case
    at_once = chain.activities_bq(start, first + second)
    in_two = chain.activities_bq(chain.activities_bq(start, first), second)
    for name, activity in at_once.items():
        # exp(-λt) turns a rounding of t (1e-16) into one of λt·1e-16
        tolerance = 1e-11 + 1e-15 * math.log(2) * (first + second) / nuclide(name).half_life_s
        if activity > 1e-250:
            assert in_two[name] == pytest.approx(activity, rel=min(tolerance, 1.0))


@given(heads, times)
@settings(max_examples=40, deadline=None)
def test_atoms_are_conserved(head: str, seconds: float) -> None:
    """With one stable end added by hand and every share summing to one, no atom is lost."""
    chain = CHAINS[head]
    n = len(chain.members)
    shares = np.zeros((n + 1, n + 1))
    shares[:n, :n] = chain.shares
    shares[n, :n] = 1 - chain.shares.sum(axis=0)
    closed = DecayChain((*chain.members, "end"), np.append(chain.half_lives_s, 1e300), shares)
    transfer = closed.transfer(seconds)
    assert np.allclose(transfer.sum(axis=0), 1.0, rtol=1e-9)


@given(heads, times, st.floats(0, 1e6), st.floats(0, 1e6))
@settings(max_examples=40, deadline=None)
def test_linear_in_the_start(head: str, seconds: float, a: float, b: float) -> None:
    chain = CHAINS[head]
    last = chain.members[-1]
    both = chain.activities_bq({head: a, last: b}, seconds)
    one = chain.activities_bq({head: a}, seconds)
    other = chain.activities_bq({last: b}, seconds)
    for name in chain.members:
        assert both[name] == pytest.approx(one[name] + other[name], rel=1e-12, abs=1e-290)


def test_shares_of_every_nuclide_add_up_to_one() -> None:
    for name in known_nuclides():
        total = sum(nuclide(name).daughters.values())
        expected = 0.96914 if name == "Cf-252" else 1.0  # the rest of Cf-252 is fission
        assert total == pytest.approx(expected, abs=0.005), name


def test_parents_stand_before_daughters() -> None:
    for head in HEADS:
        chain = CHAINS[head]
        assert np.all(np.triu(chain.shares) == 0)
        assert len(set(chain.members)) == len(chain.members)


def test_zero_time_changes_nothing() -> None:
    start = dict.fromkeys(CHAINS["U-238"].members, 3.0)
    assert CHAINS["U-238"].activities_bq(start, 0.0) == pytest.approx(start)


def test_equal_half_lives() -> None:
    """A closed form with 1/(λ1 - λ2) fails here; N2 = N1(0) λ t exp(-λ t)."""
    shares = np.array([[0.0, 0.0], [1.0, 0.0]])
    chain = DecayChain(("Tl-208", "Pb-212"), np.array([100.0, 100.0]), shares)
    rate = math.log(2) / 100.0
    expected = rate * 50.0 * math.exp(-rate * 50.0)
    for arithmetic in ("float", "decimal"):
        got = chain.activities_bq({"Tl-208": 1.0}, 50.0, arithmetic=arithmetic)  # type: ignore[arg-type]
        assert got["Pb-212"] == pytest.approx(expected, rel=1e-12)


def test_equilibrium_is_what_time_brings() -> None:
    for head in ("Th-228", "Ra-224", "Pb-212", "Ac-227"):
        chain = DecayChain.of([head])
        ratios = chain.equilibrium_ratios(head)
        late = chain.activities_bq({head: 1.0}, 30 * max(nuclide(n).half_life_s for n in chain.members[1:]))
        for name, ratio in ratios.items():
            assert late[name] / late[head] == pytest.approx(ratio, rel=1e-6)


def test_equilibrium_leaves_out_what_outlives_the_head() -> None:
    assert set(DecayChain.of(["Am-241"]).equilibrium_ratios("Am-241")) == {"Am-241"}


@pytest.mark.parametrize("fraction", [0.0, 0.3, 1.0])
def test_radon_escape_scales_all_that_radon_feeds(fraction: float) -> None:
    seconds = 5 * 86400.0
    kept = DecayChain.of(["Ra-224"]).activities_bq({"Ra-224": 1.0}, seconds)
    chain = DecayChain.of(["Ra-224"], radon_escape={"rn220": fraction})
    escaped = chain.activities_bq({"Ra-224": 1.0}, seconds)
    assert escaped["Ra-224"] == kept["Ra-224"]
    for name in ("Rn-220", "Pb-212", "Tl-208"):
        assert escaped[name] == pytest.approx((1 - fraction) * kept[name], rel=1e-12, abs=1e-15)


@pytest.mark.parametrize(("name", "fraction"), [("Rn-220", -0.1), ("Rn-220", 1.01), ("Ra-224", 0.1)])
def test_radon_escape_refuses(name: str, fraction: float) -> None:
    with pytest.raises(OutOfRangeError):
        DecayChain.of(["Ra-224"], radon_escape={name: fraction})


@pytest.mark.parametrize("seconds", [-1.0, math.nan, math.inf])
def test_time_refuses(seconds: float) -> None:
    with pytest.raises(OutOfRangeError, match="decay time"):
        decay({"Tl-208": 1.0}, seconds)


@pytest.mark.parametrize("activity", [-1.0, math.nan, math.inf])
def test_activity_refuses(activity: float) -> None:
    with pytest.raises(OutOfRangeError, match="activity at the start"):
        decay({"Tl-208": activity}, 1.0)
