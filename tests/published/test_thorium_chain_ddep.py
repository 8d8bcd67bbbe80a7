"""The thorium series in time, against published half-lives and the closed Bateman solution.

Sources: half-lives and branching of the Decay Data Evaluation Project (LNHB decay files), of ENSDF and of ICRP
Publication 107, side by side; curves from the closed Bateman solution with DDEP half-lives, cross-checked with
radioactivedecay 0.6.1 by whoever gathered them. The numbers here are copied from those, not computed by this program.
"""

from __future__ import annotations

from datetime import date

import pytest
from scipy.optimize import brentq, minimize_scalar

from truekev.nuclides.chain import DecayChain, decay
from truekev.nuclides.history import History, Separation
from truekev.nuclides.names import nuclide, specific_activity_bq_g
from truekev.sources.components import aged_bq
from truekev.sources.stock import THORIUM_IN_THORIA, th232_bq_of_oxide

MIN, HOUR, DAY = 60.0, 3600.0, 86400.0
YEAR = 365.25 * DAY
SERIES = DecayChain.of(["Th-232"])
# Thorium separated from everything else at t = 0 with Th-228 = Th-232.
REFINED = {"Th-232": 1.0, "Th-228": 1.0}

HALF_LIVES = [
    # the unit in seconds, then three values: DDEP, ENSDF and ICRP-107 in this order; the tolerance last
    ("Th-232", 1e9 * YEAR, (14.02, 14.0, 14.05), 0.005),
    ("Ra-228", YEAR, (5.75, 5.75, 5.75), 0.007),
    ("Ac-228", HOUR, (6.15, 6.15, 6.15), 0.005),
    ("Th-228", YEAR, (1.9126, 1.9125, 1.9116), 0.0006),
    ("Ra-224", DAY, (3.631, 3.66, 3.66), 0.008),
    ("Rn-220", 1.0, (55.8, 55.6, 55.6), 0.005),
    ("Po-216", 1.0, (0.148, 0.1440, 0.145), 0.03),
    ("Pb-212", HOUR, (10.64, 10.622, 10.64), 0.002),
    ("Bi-212", MIN, (60.54, 60.55, 60.55), 0.001),
    ("Po-212", 1e-9, (300, 299, 299), 0.01),
    ("Tl-208", MIN, (3.058, 3.053, 3.053), 0.002),
]


@pytest.mark.parametrize(("name", "unit", "values", "tolerance"), HALF_LIVES, ids=[row[0] for row in HALF_LIVES])
def test_half_lives_agree_with_all_three_evaluations(
    name: str, unit: float, values: tuple[float, ...], tolerance: float
) -> None:
    for value in values:
        assert nuclide(name).half_life_s == pytest.approx(value * unit, rel=tolerance)
    assert nuclide(name).half_life_s == pytest.approx(values[0] * unit, rel=3e-4)


@pytest.mark.parametrize(
    ("name", "u", "unit"), [("Th-232", 0.06, 1e9 * YEAR), ("Ra-228", 0.04, YEAR), ("Ra-224", 0.002, DAY)]
)
def test_half_life_uncertainties_are_those_of_ddep(name: str, u: float, unit: float) -> None:
    assert nuclide(name).u_half_life_s == pytest.approx(u * unit, rel=0.05)


def test_alpha_branch_of_bi212() -> None:
    for published in (0.3593, 0.3594, 0.3594):  # DDEP, ENSDF, ICRP-107
        assert nuclide("Bi-212").daughters["Tl-208"] == pytest.approx(published, abs=0.001)


def test_specific_activity_of_thorium_and_thoria() -> None:
    assert specific_activity_bq_g("Th-232") == pytest.approx(4067, rel=0.005)
    assert pytest.approx(0.8788, rel=0.0005) == THORIUM_IN_THORIA
    assert th232_bq_of_oxide(1.0).value == pytest.approx(3573, rel=0.005)


def _refined(years: float, name: str) -> float:
    return SERIES.activities_bq(REFINED, years * YEAR)[name]


def _th228(years: float) -> float:
    return _refined(years, "Th-228")


def test_minimum_of_th228() -> None:
    lowest = minimize_scalar(_th228, bounds=(3, 7), method="bounded", options={"xatol": 1e-8})
    assert lowest.fun == pytest.approx(0.4222, abs=0.001)
    assert lowest.x == pytest.approx(4.551, abs=0.01)
    # dTh/dt = 0 there, and Ra-228 reaches Th-228 through Ac-228, whose 6 h cost 1e-4
    assert _refined(lowest.x, "Ac-228") == pytest.approx(lowest.fun, rel=1e-6)


TH228_OVER_TH232 = [
    (0.5, 0.8393), (1, 0.7146), (2, 0.5484), (3, 0.4615), (5, 0.4246),
    (10, 0.5911), (15, 0.7609), (20, 0.8666), (30, 0.9598), (40, 0.9879), (50, 0.9964),
]  # fmt: skip


@pytest.mark.parametrize(("years", "ratio"), TH228_OVER_TH232)
def test_th228_after_refining(years: float, ratio: float) -> None:
    assert _th228(years) == pytest.approx(ratio, abs=0.001)


@pytest.mark.parametrize(("years", "ratio"), TH228_OVER_TH232)
def test_same_curve_when_aged_thorium_loses_its_radium(years: float, ratio: float) -> None:
    start = aged_bq("Th-232") | {"Ra-228": 0.0, "Ra-224": 0.0}
    # Ac-228 and everything below Ra-224 is gone within weeks; what Ac-228 was left makes 1e-4 of Th-228.
    assert SERIES.activities_bq(start, years * YEAR)["Th-228"] == pytest.approx(ratio, abs=0.001)


@pytest.mark.parametrize(
    ("years", "ratio"), [(1, 0.1136), (2, 0.2142), (5, 0.4527), (10, 0.7004), (20, 0.9103), (40, 0.9919)]
)
def test_ra228_grows_back(years: float, ratio: float) -> None:
    assert _refined(years, "Ra-228") == pytest.approx(ratio, abs=0.002)
    assert _refined(years, "Ac-228") == pytest.approx(ratio, abs=0.002)


@pytest.mark.parametrize(("ratio", "years"), [(0.90, 22.42), (0.95, 28.20), (0.99, 41.56)])
def test_time_for_th228_to_return(ratio: float, years: float) -> None:
    assert brentq(lambda t: _th228(t) - ratio, 5, 80) == pytest.approx(years, abs=0.05)


@pytest.mark.parametrize(("ratio", "years"), [(0.5, 5.75), (0.9, 19.10), (0.99, 38.20)])
def test_time_for_ra228_to_grow_in(ratio: float, years: float) -> None:
    assert brentq(lambda t: _refined(t, "Ra-228") - ratio, 0.1, 80) == pytest.approx(years, abs=0.05)


AC_TO_TL = [
    (0.5, 0.0697), (1, 0.1589), (2, 0.3906), (3, 0.6576), (4.551, 1.0000), (5, 1.0661),
    (10, 1.1850), (15, 1.0988), (20, 1.0504), (30, 1.0139), (40, 1.0041),
]  # fmt: skip


@pytest.mark.parametrize(("years", "ratio"), AC_TO_TL)
def test_ac228_to_tl208_ratio_over_its_equilibrium(years: float, ratio: float) -> None:
    assert _refined(years, "Ra-228") / _th228(years) == pytest.approx(ratio, rel=0.005)
    lines = _refined(years, "Ac-228") / (_refined(years, "Tl-208") / 0.3593)
    # Tl-208 runs 0.5 % ahead of Th-228 while that falls (the transient ratio 1.0052 of this source), so twice the width
    assert lines == pytest.approx(ratio, rel=0.01)


def test_maximum_of_the_ratio() -> None:
    highest = minimize_scalar(
        lambda t: -_refined(t, "Ra-228") / _th228(t), bounds=(5, 12), method="bounded", options={"xatol": 1e-8}
    )
    assert -highest.fun == pytest.approx(1.2104, rel=0.005)
    assert highest.x == pytest.approx(7.865, abs=0.02)


PB212_AFTER_RADIUM_LOSS = [
    (1, 0.0878), (2, 0.2282), (3, 0.3582), (5, 0.5600), (7, 0.6979), (10, 0.8262), (14, 0.9129), (28, 0.9728),
]  # fmt: skip


@pytest.mark.parametrize(("days", "ratio"), PB212_AFTER_RADIUM_LOSS)
def test_pb212_in_radium_free_thorium(days: float, ratio: float) -> None:
    assert decay({"Th-228": 1.0}, days * DAY)["Pb-212"] == pytest.approx(ratio, abs=0.002)


@pytest.mark.parametrize(("days", "ratio"), [(1, 0.0799), (2, 0.2197), (3, 0.3509), (5, 0.5549)])
def test_bi212_and_tl208_in_radium_free_thorium(days: float, ratio: float) -> None:
    activities = decay({"Th-228": 1.0}, days * DAY)
    assert activities["Bi-212"] == pytest.approx(ratio, abs=0.002)
    # while it grows, Tl-208 lags by its own 3 min: 0.5 % on the first day
    assert activities["Tl-208"] == pytest.approx(0.3593 * activities["Bi-212"], rel=0.007)


def test_transient_ratios() -> None:
    th228 = DecayChain.of(["Th-228"]).equilibrium_ratios("Th-228")
    ra224 = DecayChain.of(["Ra-224"]).equilibrium_ratios("Ra-224")
    pb212 = DecayChain.of(["Pb-212"]).equilibrium_ratios("Pb-212")
    assert th228["Ra-224"] == pytest.approx(1.0052, abs=0.0005)
    assert ra224["Pb-212"] == pytest.approx(1.1391, abs=0.0005)
    assert pb212["Bi-212"] == pytest.approx(1.1048, abs=0.0005)


def test_bi212_maximum_in_pure_pb212() -> None:
    highest = minimize_scalar(
        lambda h: -decay({"Pb-212": 1.0}, h * HOUR)["Bi-212"], bounds=(1, 8), method="bounded", options={"xatol": 1e-8}
    )
    assert highest.x == pytest.approx(3.788, abs=0.01)


def test_pb212_maximum_in_pure_ra224() -> None:
    highest = minimize_scalar(
        lambda h: -decay({"Ra-224": 1.0}, h * HOUR)["Pb-212"],
        bounds=(10, 80),
        method="bounded",
        options={"xatol": 1e-8},
    )
    assert highest.x == pytest.approx(36.8, abs=0.1)


def test_unsupported_pb212_after_a_day() -> None:
    assert decay({"Pb-212": 1.0}, DAY)["Pb-212"] == pytest.approx(0.2094, abs=0.0005)


def test_arc_melting_removes_radium_228() -> None:
    """Two arc meltings of thorium metal remove essentially all Ra-228 (R. E. Cofield, Health Physics, January 1962,
    abstract): a sign test, the metal afterwards shows no Ac-228 but keeps its Th-228.
    """
    melted = date(2020, 5, 1)
    metal = History({"Th-232": 1000.0}, melted, separations=(Separation(melted, {"Ra": 0.0}),), aged=True)
    soon = metal.activities_on(date(2020, 5, 31))
    assert soon["Ac-228"].value < 0.02 * soon["Th-228"].value
    assert soon["Th-228"].value > 0.95 * 1000.0


def test_gamma_output_depends_on_years_since_purification() -> None:
    """P. Frame, ORAU health physics collection, thorium: the gamma output of a thoriated object depends on the years
    since the thorium was purified. A sign test: Tl-208 falls at first and returns later.
    """
    refined = date(1980, 1, 1)
    rod = History({"Th-232": 1000.0}, refined, separations=(Separation(refined, {"Th": 1.0}, 0.0),), aged=True)
    month, five_years, forty_years = (
        rod.activities_on(day)["Tl-208"].value for day in (date(1980, 2, 15), date(1985, 1, 1), date(2020, 1, 1))
    )
    assert five_years < 0.5 * month
    assert forty_years > 2 * five_years
