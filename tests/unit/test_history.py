"""Activities through dated separations."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import OutOfRangeError
from truekev.nuclides.history import History, Separation, date_after, seconds_between
from truekev.nuclides.names import nuclide

DAY_0 = date(2000, 1, 1)
days = st.integers(0, 20000)
fractions = st.floats(0, 1)


@st.composite
def histories(draw: st.DrawFn) -> tuple[History, date]:
    gaps = draw(st.lists(days, max_size=4))
    day, separations = DAY_0, []
    for gap in gaps:
        day += timedelta(days=gap)
        separations.append(Separation(day, {"Th": 1.0, "Ra": draw(fractions)}, draw(fractions)))
    history = History({"Th-232": 100.0}, DAY_0, separations=tuple(separations), aged=True)
    return history, day + timedelta(days=draw(days))


@given(histories())
@settings(max_examples=30, deadline=None)
def test_arithmetics_agree_and_nothing_is_negative(case: tuple[History, date]) -> None:
    history, on = case
    ours, judge = history.plain_activities_bq(on), history.plain_activities_bq(on, arithmetic="decimal")
    for name, activity in judge.items():
        assert ours[name] >= 0
        assert ours[name] == pytest.approx(activity, rel=1e-11, abs=1e-280)


@given(histories())
@settings(max_examples=15, deadline=None)
def test_values_with_and_without_uncertainty_agree(case: tuple[History, date]) -> None:
    history, on = case
    plain = history.plain_activities_bq(on)
    for name, measured in history.activities_on(on).items():
        assert measured.value == pytest.approx(plain[name], rel=1e-10, abs=1e-280)


@given(days, days, fractions, fractions)
@settings(max_examples=30, deadline=None)
def test_separations_of_one_day_may_be_swapped(gap: int, wait: int, radium: float, thorium: float) -> None:
    day = DAY_0 + timedelta(days=gap)
    one, other = Separation(day, {"Ra": radium}), Separation(day, {"Th": thorium, "Pb": 0.5})
    on = day + timedelta(days=wait)
    start = {"Th-232": 1.0}
    a = History(start, DAY_0, separations=(one, other), aged=True).plain_activities_bq(on)
    b = History(start, DAY_0, separations=(other, one), aged=True).plain_activities_bq(on)
    assert a == pytest.approx(b, rel=1e-12)


@given(days, st.integers(0, 5000))
@settings(max_examples=20, deadline=None)
def test_a_separation_that_keeps_all_changes_nothing(gap: int, wait: int) -> None:
    day = DAY_0 + timedelta(days=gap)
    on = day + timedelta(days=wait)
    start = {"Ra-226": 1.0}
    touched = History(start, DAY_0, separations=(Separation(day),)).plain_activities_bq(on)
    untouched = History(start, DAY_0).plain_activities_bq(on)
    assert touched == pytest.approx(untouched, rel=1e-12)


def test_aged_material_stays_in_equilibrium() -> None:
    for name, measured in History({"Th-232": 50.0}, DAY_0, aged=True).activities_on(date(2090, 1, 1)).items():
        share = {"Tl-208": 0.3593, "Po-212": 0.6407}.get(name, 1.0)
        assert measured.value == pytest.approx(50.0 * share, rel=1e-6)


def test_half_life_uncertainty_by_the_closed_form() -> None:
    """A = A0 exp(-ln2 t/T): u(A) = A ln2 t/T · u(T)/T."""
    one = nuclide("Cs-137")
    got = History({"Cs-137": 1000.0}, DAY_0).activities_on(date(2030, 1, 1))["Cs-137"]
    exponent = 0.6931471805599453 * (date(2030, 1, 1) - DAY_0).days * 86400 / one.half_life_s
    assert got.u == pytest.approx(got.value * exponent * one.u_half_life_s / one.half_life_s, rel=1e-6)


def test_half_life_and_activity_uncertainty_add_in_quadrature() -> None:
    on = date(2010, 1, 1)
    start = {"Co-60": 1000.0}
    clean = History(start, DAY_0).activities_on(on)["Co-60"]
    both = History(start, DAY_0, u_activities_bq={"Co-60": 30.0}).activities_on(on)["Co-60"]
    assert both.u**2 == pytest.approx(clean.u**2 + (0.03 * clean.value) ** 2, rel=1e-9)


def test_uncertainty_of_ingrowth_by_monte_carlo() -> None:
    """Ra-228 growing in: u from sampled half-lives (fixed seed) against the first-order one."""
    import numpy as np

    refined = History({"Th-232": 1000.0}, DAY_0, separations=(Separation(DAY_0, {"Th": 1.0}, 0.0),))
    on = date(2005, 1, 1)
    chain = refined.chain()
    rng = np.random.default_rng(5)
    at = chain.members.index("Ra-228")
    draws = []
    for _ in range(400):
        half_lives = chain.half_lives_s.copy()
        half_lives[at] += rng.normal() * nuclide("Ra-228").u_half_life_s
        varied = chain.with_half_lives(half_lives)
        draws.append((varied.activity_transfer((on - DAY_0).days * 86400.0) @ varied.vector({"Th-232": 1000.0}))[at])
    assert refined.activities_on(on)["Ra-228"].u == pytest.approx(np.std(draws), rel=0.1)


def test_uncertainty_of_kept_fractions_is_that_of_drawn_ones() -> None:
    def of(radium: float, lead: float) -> History:
        separations = (
            Separation(DAY_0, {"Ra": radium, "Pb": lead}, u_kept={"Ra": 0.05, "Pb": 0.1}),
            Separation(date(2000, 1, 5), {"Pb": 0.5}, u_kept={"Pb": 0.2}),
        )
        return History({"Th-232": 1000.0}, DAY_0, separations=separations, aged=True)

    on = date(2000, 1, 6)
    rng = np.random.default_rng(7)
    known = of(0.7, 0.7).activities_on(on)
    drawn = [of(rng.normal(0.7, 0.05), min(rng.normal(0.7, 0.1), 1.0)) for _ in range(300)]
    radium = [history.plain_activities_bq(on)["Ra-228"] for history in drawn]
    assert known["Ra-228"].u == pytest.approx(np.std(radium), rel=0.1)
    # lead was halved give or take two fifths the day before: nearly all of its uncertainty comes from there
    assert known["Pb-212"].relative_u > 0.04
    assert known["Th-232"].relative_u < 0.01


def test_an_uncertainty_needs_its_fraction() -> None:
    with pytest.raises(OutOfRangeError, match="no fraction kept"):
        Separation(DAY_0, {"Th": 1.0}, u_kept={"Ra": 0.1})


@pytest.mark.parametrize("fraction", [-0.01, 1.01])
def test_kept_fraction_outside_its_range(fraction: float) -> None:
    with pytest.raises(OutOfRangeError, match="kept fraction"):
        Separation(DAY_0, {"Ra": fraction})
    with pytest.raises(OutOfRangeError, match="others"):
        Separation(DAY_0, others_kept=fraction)


def test_dates_out_of_order() -> None:
    with pytest.raises(OutOfRangeError, match="comes before"):
        History({"Th-232": 1.0}, DAY_0, separations=(Separation(date(1999, 12, 31)),))
    history = History({"Th-232": 1.0}, DAY_0, separations=(Separation(date(2001, 1, 1)),))
    assert history.last_date == date(2001, 1, 1)
    assert history.activities_on(date(2001, 1, 1))["Th-232"].value == pytest.approx(1.0)
    with pytest.raises(OutOfRangeError, match="lies before"):
        history.activities_on(date(2000, 12, 31))


def test_negative_activity() -> None:
    with pytest.raises(OutOfRangeError, match="not negative"):
        History({"Th-232": -1.0}, DAY_0)


def test_radium_free_thorium_is_back_after_weeks_and_decades() -> None:
    lost = History({"Th-232": 1.0}, DAY_0, separations=(Separation(DAY_0, {"Ra": 0.0}),), aged=True)
    series = lost.days_to_equilibrium(DAY_0)
    assert set(series) == {"Th-232"}
    assert series["Th-232"] == pytest.approx(41.56 * 365.25, rel=0.01)  # 0.99 of Th-228, closed Bateman solution
    waits = lost.days_to_equilibrium(DAY_0, groups={"Th-228": ("Ra-224", "Pb-212", "Tl-208")})
    assert waits["Th-228"] is not None
    assert 20 < waits["Th-228"] < 32


def test_equilibrium_now_and_never() -> None:
    assert History({"Th-232": 1.0}, DAY_0, aged=True).days_to_equilibrium(DAY_0) == {"Th-232": 0.0}
    assert History({"U-238": 1.0}, DAY_0).days_to_equilibrium(DAY_0) == {"U-238": None}
    assert History({"Co-60": 1.0}, DAY_0).days_to_equilibrium(DAY_0) == {}


def test_seconds_between_days_and_times() -> None:
    assert seconds_between(DAY_0, date(2000, 1, 3)) == 2 * 86400
    assert seconds_between(DAY_0, datetime(2000, 1, 1, 1, 30)) == 5400
    with pytest.raises(OutOfRangeError, match="offset"):
        seconds_between(DAY_0, datetime(2000, 1, 1, tzinfo=UTC))


def test_date_after() -> None:
    assert date_after(DAY_0, 1.2) == date(2000, 1, 3)
    assert date_after(DAY_0, 2.0) == date(2000, 1, 3)
    assert date_after(DAY_0, 1e9) is None
