"""Control charts: limits with their own uncertainty, false alarms, changes that are seen, plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pytest

from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.job.has_it_changed import has_it_changed
from truekev.nuclides.history import History, Separation
from truekev.quantity import Measured
from truekev.samples.control import Reading, control_chart, limits_from_first_points, strength_at_reference
from truekev.samples.run_length import average_run_length, chance_of_run

START = date(2027, 3, 1)
CAESIUM = 30.05 * 365.25  # half-life of Cs-137 [d], DDEP


def points(values: Sequence[float], u: float = 0.0) -> list[Measured]:
    return [Measured(float(value), u, "keV") for value in values]


def readings(rng: np.random.Generator, n: int = 40, gain: float = 1.0, strength: float = 1.0) -> list[Reading]:
    """Weekly counts of a Cs-137 source; from the thirtieth on gain and strength are multiplied."""
    result = []
    for i in range(n):
        later = i >= 30
        decayed = 0.5 ** (7 * i / CAESIUM)
        result.append(
            Reading(
                START + timedelta(days=7 * i),
                Measured(float(rng.normal(0.11 * (gain if later else 1.0), 0.0003)), 0.0001, "1/keV"),
                Measured(float(rng.normal(0.075, 0.001)), 0.0005),
                Measured(float(rng.normal(1000.0 * decayed * (strength if later else 1.0), 8.0)), 5.0, "Bq"),
            )
        )
    return result


def test_centre_and_spread_with_their_uncertainties() -> None:
    """The stated uncertainties are those that many series of 12 points show."""
    rng = np.random.default_rng(3)
    found = [limits_from_first_points(points(rng.normal(10.0, 2.0, 12))) for _ in range(3000)]
    assert float(np.std([f.centre.value for f in found])) == pytest.approx(2.0 / math.sqrt(12), rel=0.05)
    assert float(np.mean([f.centre.u for f in found])) == pytest.approx(2.0 / math.sqrt(12), rel=0.05)
    assert float(np.mean([f.sigma.u / f.sigma.value for f in found])) == pytest.approx(
        float(np.std([f.sigma.value for f in found])) / 2.0, rel=0.05
    )


@pytest.mark.parametrize("n_first", [5, 20])
def test_chance_of_a_false_alarm_whatever_the_number_of_first_points(n_first: int) -> None:
    """0.27 % at the action limits, 4.55 % beyond the warning limits."""
    rng = np.random.default_rng(8)
    drawn = rng.normal(0.0, 1.0, (20_000, n_first + 1))
    centre, spread = drawn[:, :-1].mean(axis=1), drawn[:, :-1].std(axis=1, ddof=1)
    limits = limits_from_first_points(points(drawn[0, :-1]))
    for limit, chance in ((limits.action, 0.0027), (limits.warning, 0.0455)):
        share = float(np.mean(np.abs(drawn[:, -1] - centre) > limit * spread))
        assert share == pytest.approx(chance, abs=4 * math.sqrt(chance / len(drawn)))
    beyond = centre[0] + limits.action * spread[0]
    assert float(limits.score(beyond, 0.0)) == pytest.approx(3.0, abs=1e-6)
    assert float(limits.score(-beyond + 2 * centre[0], 0.0)) == pytest.approx(-3.0, abs=1e-6)


def test_many_first_points_give_two_and_three_sigma() -> None:
    limits = limits_from_first_points(points(np.random.default_rng(1).normal(0, 1, 5000)))
    assert (limits.warning, limits.action) == pytest.approx((2.0, 3.0), rel=0.005)


def test_a_short_count_has_wider_limits() -> None:
    limits = limits_from_first_points(points(np.random.default_rng(2).normal(100, 2.0, 30), u=1.0))
    assert limits.between == pytest.approx(math.sqrt(limits.sigma.value**2 - 1), rel=1e-6)
    assert abs(float(limits.score(110.0, 5.0))) < abs(float(limits.score(110.0, 1.0)))


@pytest.mark.parametrize("n_first", [4, 11])
def test_too_few_points_for_limits(n_first: int) -> None:
    with pytest.raises(RefusedError, match="at least 5"):
        limits_from_first_points(points(np.arange(10.0)), n_first=n_first)


def test_equal_points_for_limits() -> None:
    with pytest.raises(RefusedError, match="all equal"):
        limits_from_first_points(points([3.0] * 8))


def test_first_points_that_drift_are_told() -> None:
    rng = np.random.default_rng(4)
    drifting = np.linspace(0.0, 10.0, 20) + rng.normal(0.0, 0.3, 20)
    assert control_chart("gain", points(drifting), n_first=20).limits.drifting
    assert "drifted" in control_chart("gain", points(drifting), n_first=20).words
    assert not limits_from_first_points(points(rng.permutation(drifting))).drifting


def test_a_warning_asks_for_another_count_and_is_forgotten() -> None:
    first = list(np.tile([-1.0, 1.0], 20))
    warned = control_chart("gain", points([*first, 2.5]), n_first=40)
    assert (warned.verdict, warned.beyond_warning) == ("look again", (40,))
    assert "count once more" in warned.words
    calm = control_chart("gain", points([*first, 2.5, 0.2]), n_first=40)
    assert calm.verdict == "unchanged"


def test_the_first_signal_is_named() -> None:
    first = list(np.tile([99.0, 101.0], 20))
    chart = control_chart("gain", points([*first, 100.0, 106.0, 105.0, 102.0]), n_first=40)
    assert (chart.verdict, chart.changed_at, chart.beyond_action) == ("changed", 41, (41, 42))
    assert "point 42 lies 6 % above" in chart.words


def test_a_signal_that_later_points_do_not_bear_out_is_no_change() -> None:
    """At the time it is a change; three points later a false alarm, and said so."""
    series = [*np.tile([99.0, 101.0], 20), 103.5, 99.5, 100.0, 100.5]
    assert control_chart("gain", points(series[:41]), n_first=40).verdict == "changed"
    chart = control_chart("gain", points(series), n_first=40)
    assert (chart.verdict, chart.changed_at, chart.beyond_action) == ("unchanged", None, (40,))
    assert "Point 41 gave a signal that the points since do not bear out" in chart.words


def test_false_verdicts_stay_rare_over_years_and_a_small_shift_is_kept() -> None:
    """After 100 points: false in at most 3 % of charts; a shift of 1.5 standard deviations is known in nearly all."""
    rng = np.random.default_rng(27)
    false = found = 0
    for _ in range(300):
        drawn = rng.normal(0.0, 1.0, 120)
        false += control_chart("gain", points(drawn), n_first=20).verdict == "changed"
        drawn[60:] += 1.5
        found += control_chart("gain", points(drawn), n_first=20).verdict == "changed"
    assert false <= 9
    assert found >= 280


def test_a_point_far_away_has_a_finite_score() -> None:
    chart = control_chart("gain", points([*np.tile([99.0, 101.0], 20), 1e9]), n_first=40)
    assert math.isfinite(chart.scores[-1])
    assert chart.verdict == "changed"


def test_a_steady_instrument() -> None:
    report = has_it_changed(readings(np.random.default_rng(21)), "Cs-137")
    assert report.charts.verdict == "unchanged"
    assert report.charts.words.endswith("as it was when the limits were set.")
    assert report.record.settings["followed"] == "Cs-137"


def test_without_decay_correction_the_same_source_would_fall() -> None:
    """Two years of Cs-137 are 4.5 %: carried back, the strength stays."""
    series = readings(np.random.default_rng(22), n=104)
    back = strength_at_reference(series, lambda on: 0.5 ** ((on - START).days / CAESIUM))
    assert float(np.mean([s.value for s in back[-20:]])) == pytest.approx(1000.0, rel=0.006)
    assert float(np.mean([r.strength.value for r in series[-20:]])) < 970


@pytest.mark.parametrize(
    ("gain", "strength", "advice"),
    [(1.02, 1.0, "Re-lock the scale"), (1.0, 0.93, "source and distance"), (1.02, 0.93, "Do not read samples")],
)
def test_changes_are_seen_and_the_advice_fits(gain: float, strength: float, advice: str) -> None:
    report = has_it_changed(readings(np.random.default_rng(23), gain=gain, strength=strength), "Cs-137")
    charts = report.charts
    assert charts.verdict == "changed"
    assert advice in charts.words
    assert (charts.gain.verdict == "changed") == (gain != 1.0)
    assert (charts.strength.verdict == "changed") == (strength != 1.0)


def test_a_source_whose_parts_grow_in() -> None:
    """Thorium without its radium: Th-228 falls by a quarter in the first year, and the chart stays level."""
    history = History({"Th-232": 1000.0}, START, separations=(Separation(START, {"Ra": 0.0}),), aged=True)
    rng = np.random.default_rng(24)
    series = []
    for i in range(26):
        on = START + timedelta(days=30 * i)
        strength = history.plain_activities_bq(on)["Th-228"]
        series.append(
            Reading(
                on,
                Measured(float(rng.normal(0.11, 0.0003)), 0.0, "1/keV"),
                Measured(float(rng.normal(0.075, 0.001)), 0.0),
                Measured(float(rng.normal(strength, 5.0)), 5.0, "Bq"),
            )
        )
    assert series[0].strength.value - series[-1].strength.value > 400
    assert has_it_changed(series, history).charts.strength.verdict == "unchanged"


def test_bad_readings() -> None:
    series = readings(np.random.default_rng(25))
    with pytest.raises(InputError, match="order of time"):
        has_it_changed([series[1], series[0], *series[2:]], "Cs-137", reference=START)
    with pytest.raises(InputError, match="no reading"):
        has_it_changed([], "Cs-137")
    with pytest.raises(OutOfRangeError, match="above 0"):
        strength_at_reference(series, lambda on: 0.0)
    empty = History({"Th-232": 1000.0}, START)
    with pytest.raises(InputError, match="Ra-224 is not in this source"):
        has_it_changed(series, empty, member="Ra-224")


def test_run_length_against_drawn_charts() -> None:
    """One sigma of shift, limits and runs of nine, drawn point by point."""
    rng = np.random.default_rng(26)
    lengths = []
    for _ in range(3000):
        side = run = length = 0
        while True:
            length += 1
            x = rng.normal(1.0)
            run, side = (run + 1 if np.sign(x) == side else 1), int(np.sign(x))
            if abs(x) > 3 or run == 9:
                break
        lengths.append(length)
    expected = average_run_length(1.0, run_of=9)
    assert float(np.mean(lengths)) == pytest.approx(expected, abs=4 * float(np.std(lengths)) / math.sqrt(3000))


def test_runs_alone_and_impossible_charts() -> None:
    assert average_run_length(limit_sigma=math.inf, run_of=9) == pytest.approx(2**9 - 1)
    assert math.isinf(average_run_length(limit_sigma=math.inf))
    for given in ({"limit_sigma": 0.0}, {"run_of": 1}, {"shift_sigma": math.nan}):
        with pytest.raises(OutOfRangeError):
            average_run_length(**given)  # type: ignore[arg-type]
    with pytest.raises(OutOfRangeError):
        chance_of_run(0)
