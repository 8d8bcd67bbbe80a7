"""The age function against the thorium series in time.

Closed Bateman solution with DDEP half-lives (Ra-228 5.75 a, Th-228 1.9126 a), cross-checked with radioactivedecay 0.6.1
by whoever gathered the numbers; none comes from this program.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize_scalar

from truekev.quantity import Measured
from truekev.samples.radium_kept import radium_kept_at
from truekev.samples.thorium_age import Refined, thorium_refined
from truekev.samples.thorium_count import ThoriumCount
from truekev.samples.thorium_states import AGES_YEARS, carried, member_index, refined_states, without_radium


def curve(name: str) -> CubicSpline:
    return CubicSpline(AGES_YEARS, refined_states()[:, member_index(name)])


def aged(radium: float, thorium: float, u: float = 0.004, th232: Measured | None = None) -> Refined:
    count = ThoriumCount(Measured(radium, u * radium, "Bq"), Measured(thorium, u * thorium, "Bq"))
    return thorium_refined([count], th232=th232)


def test_minimum_of_th228() -> None:
    lowest = minimize_scalar(curve("Th-228"), bounds=(3, 7), method="bounded", options={"xatol": 1e-8})
    assert lowest.fun == pytest.approx(0.4222, abs=0.001)
    assert lowest.x == pytest.approx(4.551, abs=0.01)
    assert curve("Ac-228")(lowest.x) == pytest.approx(lowest.fun, rel=1e-6)


TH228 = [
    (0.5, 0.8393), (1, 0.7146), (2, 0.5484), (3, 0.4615), (5, 0.4246),
    (10, 0.5911), (15, 0.7609), (20, 0.8666), (30, 0.9598), (40, 0.9879), (50, 0.9964),
]  # fmt: skip
RA228 = [(1, 0.1136), (2, 0.2142), (5, 0.4527), (10, 0.7004), (20, 0.9103), (40, 0.9919)]


@pytest.mark.parametrize(("years", "value"), TH228)
def test_th228_per_th232(years: float, value: float) -> None:
    assert curve("Th-228")(years) == pytest.approx(value, abs=0.001)


@pytest.mark.parametrize(("years", "value"), RA228)
def test_ra228_per_th232(years: float, value: float) -> None:
    assert curve("Ra-228")(years) == pytest.approx(value, abs=0.002)


@pytest.mark.parametrize(("ratio", "years"), [(0.90, 22.42), (0.95, 28.20), (0.99, 41.56)])
def test_return_of_th228(ratio: float, years: float) -> None:
    assert brentq(lambda t: float(curve("Th-228")(t)) - ratio, 5, 80) == pytest.approx(years, abs=0.05)


@pytest.mark.parametrize(("ratio", "years"), [(0.5, 5.75), (0.9, 19.10), (0.99, 38.20)])
def test_ingrowth_of_ra228(ratio: float, years: float) -> None:
    assert brentq(lambda t: float(curve("Ra-228")(t)) - ratio, 0.1, 80) == pytest.approx(years, abs=0.05)


# Ages with a ratio below 1 are found alone; their thorium activity follows from that of Th-228.
@pytest.mark.parametrize(("years", "ratio", "th228"), [(1, 0.1589, 0.7146), (2, 0.3906, 0.5484), (3, 0.6576, 0.4615)])
def test_age_and_thorium_from_a_ratio_below_one(years: float, ratio: float, th228: float) -> None:
    found = aged(1000 * ratio * th228, 1000 * th228)
    assert found.verdict == "one age"
    assert found.solutions[0].years == pytest.approx(years, rel=0.01)
    assert found.solutions[0].th232.value == pytest.approx(1000, rel=0.01)


# Between 1 and 1.21 every ratio has two ages; the row names one, the other is wherever the curve has it again.
@pytest.mark.parametrize(
    ("years", "ratio", "th228"), [(5, 1.0661, 0.4246), (10, 1.1850, 0.5911), (15, 1.0988, 0.7609), (20, 1.0504, 0.8666)]
)
def test_two_ages_from_a_ratio_above_one_and_one_with_the_mass(years: float, ratio: float, th228: float) -> None:
    found = aged(1000 * ratio * th228, 1000 * th228)
    assert found.verdict == "cannot tell"
    assert len(found.solutions) == 2
    assert min(abs(solution.years - years) for solution in found.solutions) < 0.05 * years
    weighed = aged(1000 * ratio * th228, 1000 * th228, th232=Measured(1000.0, 20.0, "Bq"))
    assert weighed.verdict == "one age"
    assert weighed.solutions[0].years == pytest.approx(years, rel=0.05)


def test_equilibrium_ratio_is_met_at_4_55_years_and_at_great_age() -> None:
    found = aged(1000.0, 1000.0)
    assert found.verdict == "cannot tell"
    assert found.solutions[0].years == pytest.approx(4.551, abs=0.05)
    assert found.solutions[-1].high_years is None


def test_maximum_of_the_ratio() -> None:
    ratio = CubicSpline(
        AGES_YEARS, refined_states()[:, member_index("Ra-228")] / refined_states()[:, member_index("Th-228")]
    )
    highest = minimize_scalar(lambda t: -ratio(t), bounds=(5, 12), method="bounded", options={"xatol": 1e-8})
    assert -highest.fun == pytest.approx(1.2104, rel=0.005)
    assert highest.x == pytest.approx(7.865, abs=0.02)
    assert not aged(1.30 * 500, 500.0).fits


# The Ac-228 to Tl-208 line ratio over its equilibrium value
@pytest.mark.parametrize(
    ("years", "ratio"),
    [(0.5, 0.0697), (1, 0.1589), (2, 0.3906), (3, 0.6576), (4.551, 1.0), (10, 1.1850), (30, 1.0139), (40, 1.0041)],
)
def test_ratio_of_both(years: float, ratio: float) -> None:
    assert curve("Ra-228")(years) / curve("Th-228")(years) == pytest.approx(ratio, rel=0.005)


PB212 = [
    (1, 0.0878), (2, 0.2282), (3, 0.3582), (5, 0.5600), (7, 0.6979), (10, 0.8262), (14, 0.9129), (28, 0.9728),
]  # fmt: skip


@pytest.mark.parametrize(("days", "value"), PB212)
def test_pb212_after_all_radium_is_lost(days: float, value: float) -> None:
    """In aged thorium; Pb-212 and Bi-212 that were there decay within days and are taken out here."""
    old = refined_states()[-1:].copy()
    for name in ("Rn-220", "Po-216", "Pb-212", "Bi-212", "Tl-208", "Po-212"):
        old[:, member_index(name)] = 0.0
    fresh = without_radium(old, np.array([0.0]))
    assert carried(fresh, float(days))[0, 0, member_index("Pb-212")] == pytest.approx(value, abs=0.002)


def test_radium_lost_a_week_ago_is_seen_in_lines_out_of_equilibrium() -> None:
    """Pb-212 at 70 % of Th-228 and hardly any Ac-228, seven days after aged thorium lost its radium: none was kept."""
    seen = ThoriumCount(Measured(2.3, 5.0, "Bq"), Measured(697.9, 10.0, "Bq"), 7.0, ("Ac-228", "Pb-212"))
    rods = ThoriumCount(Measured(5000.0, 100.0, "Bq"), Measured(5000.0, 100.0, "Bq"), 0.0)
    found = radium_kept_at([seen], 0.0, before=rods)
    assert found.kept_interval[0] == 0.0
    assert found.kept_interval[1] < 0.05
    assert found.verdict == "kept fraction found"
