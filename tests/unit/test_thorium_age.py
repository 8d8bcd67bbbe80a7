"""One's own thorium: sets of ages, what settles them, radium kept, and saying "cannot tell"."""

from __future__ import annotations

import numpy as np
import pytest
from studies.thorium_age import SetUp, count_of, judge_refined

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.job.how_old import how_old
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.history import YEAR_S
from truekev.quantity import Measured
from truekev.samples.radium_kept import radium_kept_at
from truekev.samples.thorium_age import thorium_refined
from truekev.samples.thorium_count import ThoriumCount

CHAIN = DecayChain.of(["Th-232"])


def state(years: float, kept: float = 1.0, days: float = 0.0) -> dict[str, float]:
    """1000 Bq of Th-232 refined years ago, then with radium lost, then left alone for some days."""
    now = CHAIN.activities_bq({"Th-232": 1000.0, "Th-228": 1000.0}, years * YEAR_S)
    now = {name: a * (kept if name.startswith("Ra") else 1.0) for name, a in now.items()}
    return CHAIN.activities_bq(now, days * 86400.0)


def exact(
    of: dict[str, float], day: float = 0.0, u: float = 0.03, seen: tuple[str, str] = ("Ra-228", "Th-228")
) -> ThoriumCount:
    radium, thorium = (of[name] for name in seen)
    return ThoriumCount(Measured(radium, max(u * radium, 5.0), "Bq"), Measured(thorium, u * thorium, "Bq"), day, seen)


def test_a_young_source_has_one_age() -> None:
    found = thorium_refined([exact(state(2.0))])
    (solution,) = found.solutions
    assert found.verdict == "one age"
    assert solution.years == pytest.approx(2.0, rel=0.005)
    assert solution.low_years is not None
    assert solution.high_years is not None
    assert solution.low_years < 2.0 < solution.high_years
    assert solution.th232.value == pytest.approx(1000.0, rel=0.01)
    assert found.words.startswith("Refined 1.8")


@pytest.mark.parametrize("years", [5.5, 15.0])
def test_two_ages_and_what_settles_them(years: float) -> None:
    first = exact(state(years), u=0.01)
    alone = thorium_refined([first])
    assert alone.verdict == "cannot tell"
    assert len(alone.solutions) == 2
    assert alone.words.startswith("Cannot tell")
    weighed = thorium_refined([first], th232=Measured(1000.0, 20.0, "Bq"))
    later = thorium_refined([first, exact(state(years, days=500.0), 500.0, u=0.01)])
    for found in (weighed, later):
        assert len(found.solutions) == 1
        assert found.solutions[0].years == pytest.approx(years, rel=0.02)


def test_ages_around_the_maximum_run_together_and_are_no_single_age() -> None:
    found = thorium_refined([exact(state(7.8))])
    assert len(found.solutions) == 1
    assert found.verdict == "cannot tell"


def test_old_thorium_is_told_by_its_mass() -> None:
    found = thorium_refined([exact(state(60.0))], th232=Measured(1000.0, 30.0, "Bq"))
    (solution,) = found.solutions
    assert solution.high_years is None
    assert solution.low_years is not None
    assert solution.low_years > 15
    assert "more than" in found.words


def test_a_mass_that_contradicts() -> None:
    found = thorium_refined([exact(state(2.0))], th232=Measured(3000.0, 60.0, "Bq"))
    assert not found.fits
    assert found.verdict == "does not fit"


def test_counts_months_apart_contradict_a_wrong_history() -> None:
    """Radium removed from old thorium lately looks like young thorium once, not 400 days later."""
    counts = [exact(state(60.0, 0.3, days), days, u=0.01) for days in (30.0, 430.0)]
    assert thorium_refined(counts[:1]).verdict == "one age"
    assert thorium_refined(counts).verdict == "does not fit"
    kept = radium_kept_at(counts, 0.0)
    assert kept.verdict == "kept fraction found"
    assert kept.kept_interval[0] < 0.3 < kept.kept_interval[1]


def test_correlated_activities_tell_the_ratio_better() -> None:
    both = state(2.0)
    radium, thorium = Measured(both["Ra-228"], 0.05 * both["Ra-228"]), Measured(both["Th-228"], 0.05 * both["Th-228"])
    widths = []
    for correlation in (0.0, 0.9):
        (solution,) = thorium_refined([ThoriumCount(radium, thorium, correlation=correlation)]).solutions
        assert solution.low_years is not None
        assert solution.high_years is not None
        widths.append(solution.high_years - solution.low_years)
    assert widths[1] < 0.5 * widths[0]


def test_a_common_efficiency_widens_thorium_and_not_the_age() -> None:
    plain, common = (thorium_refined([exact(state(2.0))], u_common=u).solutions[0] for u in (0.0, 0.10))
    assert plain.low_years == common.low_years
    assert common.th232.u == pytest.approx(np.hypot(plain.th232.u, 100.0), rel=0.01)


def test_half_lives_keep_a_perfect_count_from_being_perfect() -> None:
    (solution,) = thorium_refined([exact(state(2.0), u=1e-5)]).solutions
    assert solution.high_years is not None
    assert solution.low_years is not None
    assert solution.high_years - solution.low_years > 0.01


@pytest.mark.parametrize("kept", [0.0, 0.4, 1.0])
def test_rods_before_and_the_vial_after(kept: float) -> None:
    """A third of the thorium was recovered; a week later the vial's lines are out of equilibrium."""
    rods = exact(state(12.0))
    seen = ("Ac-228", "Pb-212")
    vial = exact({name: a / 3 for name, a in state(12.0, kept, 7.0).items()}, 7.0, seen=seen)
    found = radium_kept_at([vial], 0.0, before=rods)
    assert found.verdict == "kept fraction found"
    assert found.kept == pytest.approx(kept, abs=0.03)
    assert found.kept_interval[0] <= kept <= found.kept_interval[1]
    assert found.th232_bq[0] < 1000 / 3 < found.th232_bq[1]
    assert any(low <= 12.0 <= high for low, high in found.age_before_years)


def test_without_rods_or_mass_the_kept_fraction_cannot_be_told() -> None:
    found = radium_kept_at([exact(state(30.0, 0.5, 20.0), 20.0)], 0.0)
    assert found.verdict == "cannot tell"
    assert found.kept_interval[0] < 0.5 < found.kept_interval[1]
    assert "Cannot tell" in found.words


def test_more_radium_than_there_can_be() -> None:
    found = radium_kept_at([ThoriumCount(Measured(2000.0, 20.0), Measured(1000.0, 20.0), 30.0)], 0.0)
    assert found.verdict == "does not fit"


def test_job_says_that_one_count_cannot_tell_histories_apart() -> None:
    one = how_old([exact(state(2.0))])
    assert one.separated is None
    assert "cannot tell this from" in one.words
    two = how_old([exact(state(2.0)), exact(state(2.0, days=300.0), 300.0)])
    assert two.words == two.refined.words
    known = how_old([exact(state(60.0, 0.3, 30.0), 30.0)], separated_on_day=0.0, before=exact(state(60.0)))
    assert known.separated is not None
    assert known.words == known.separated.words


def test_bad_input() -> None:
    good = exact(state(2.0))
    with pytest.raises(InputError, match="no count"):
        thorium_refined([])
    with pytest.raises(InputError, match="must lie on it or after it"):
        radium_kept_at([good], 5.0)
    with pytest.raises(InputError, match="on it or before it"):
        radium_kept_at([exact(state(2.0), 9.0)], 5.0, before=exact(state(2.0), 6.0))
    with pytest.raises(OutOfRangeError, match="uncertainty must be above 0"):
        ThoriumCount(Measured(1.0, 0.0), Measured(1.0, 0.1))
    with pytest.raises(UnknownNameError, match="thorium series"):
        ThoriumCount(Measured(1.0, 0.1), Measured(1.0, 0.1), seen_as=("Ra-226", "Th-228"))
    with pytest.raises(OutOfRangeError, match="balance"):
        thorium_refined([good], th232=Measured(1000.0, 0.0))
    with pytest.raises(OutOfRangeError, match="correlation"):
        ThoriumCount(Measured(1.0, 0.1), Measured(1.0, 0.1), correlation=1.0)
    with pytest.raises(OutOfRangeError, match="coverage"):
        thorium_refined([good], coverage=1.0)


@pytest.mark.parametrize("set_up", [SetUp(1.0, 0.05), SetUp(12.0, 0.02, "mass"), SetUp(4.55, 0.02)])
def test_ages_cover_the_truth(set_up: SetUp) -> None:
    """The study of docs/validation/thorium_age.md, thinned: 95 %, with the noise of 150 draws."""
    shares = judge_refined(set_up, 150, np.random.default_rng(9))
    assert shares["covered"] >= 0.90
    assert shares["wrong"] <= 0.10


def test_counts_of_the_study_are_drawn_about_the_truth() -> None:
    rng = np.random.default_rng(10)
    drawn = [count_of((400.0, 800.0), 0.0, 0.05, rng) for _ in range(500)]
    assert float(np.std([c.radium.value for c in drawn])) == pytest.approx(20.0, rel=0.1)
    assert float(np.mean([c.thorium.value for c in drawn])) == pytest.approx(800.0, abs=8.0)
