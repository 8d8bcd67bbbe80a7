"""Decision threshold, detection limit, best estimate and limits: properties, far tails, refusals, coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm, truncnorm
from studies.decision_limits import SetUp, judge

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured
from truekev.samples.currie import currie_critical_level, currie_detection_limit
from truekev.samples.limits import (
    best_estimate,
    characteristic_limits,
    decision_threshold,
    detection_limit,
    shortest_limits,
    symmetric_limits,
)
from truekev.samples.net_count import NetCount


@pytest.mark.parametrize("relative", [0.0, 0.1, 0.3, 0.59])
def test_detection_limit_solves_its_equation(relative: float) -> None:
    counts = NetCount(0, 100.0, 250, 400.0, Measured(3.0, 3.0 * relative, "Bq"))
    limit = detection_limit(counts.u_of_true, alpha=0.05, beta=0.1)
    threshold = decision_threshold(counts.u_of_true)
    assert limit == pytest.approx(threshold + 1.2815515655 * counts.u_of_true(limit), rel=1e-9)
    assert limit > threshold


def test_with_an_exact_factor_it_is_that_of_currie() -> None:
    counts = NetCount(0, 1.0, 300, 1.0, Measured(1.0, 0.0, "1/s"))
    assert decision_threshold(counts.u_of_true) == pytest.approx(currie_critical_level(300), rel=1e-12)
    assert detection_limit(counts.u_of_true) == pytest.approx(currie_detection_limit(300), rel=1e-9)


def test_an_uncertain_factor_has_no_detection_limit() -> None:
    counts = NetCount(900, 100.0, 400, 100.0, Measured(1.0, 0.61, "Bq"))
    with pytest.raises(RefusedError, match="better than 61 %"):
        detection_limit(counts.u_of_true)
    found = characteristic_limits(counts.estimate, counts.u_of_true)
    assert found.detection_limit is None
    assert "no detection limit" in found.remarks[0]
    assert found.decision_threshold > 0


def test_an_uncertainty_that_jumps_is_still_solved() -> None:
    """The iteration swings between two values; the change of sign is found all the same."""

    def u(true: float) -> float:
        return 1.0 if true < 3.0 else 0.2

    limit = detection_limit(u)
    assert limit == pytest.approx(3.0, rel=1e-6)


def test_a_threshold_of_nothing_is_refused() -> None:
    with pytest.raises(RefusedError, match="not empty"):
        detection_limit(lambda true: true)


@pytest.mark.parametrize("estimate", [-8.0, -2.0, 0.0, 1.5, 6.0])
def test_best_estimate_is_mean_and_spread_of_the_cut_normal(estimate: float) -> None:
    mean, spread = best_estimate(estimate, 1.0)
    expected = truncnorm(-estimate, math.inf, loc=estimate)
    assert float(mean) == pytest.approx(float(expected.mean()), rel=1e-9)
    assert float(spread) == pytest.approx(float(expected.std()), rel=1e-7)


def test_best_estimate_is_smooth_where_the_series_takes_over() -> None:
    mean, spread = best_estimate([-199.999, -200.001], 1.0)
    assert mean[0] == pytest.approx(mean[1], rel=2e-5)
    assert spread[0] == pytest.approx(spread[1], rel=2e-5)
    # as far down as one goes the cut normal is an exponential of mean u²/|y|
    assert best_estimate(-1e6, 1.0)[0] == pytest.approx(1e-6, rel=1e-6)


@pytest.mark.parametrize("estimate", [-30.0, -3.0, 0.0, 1.0, 2.5, 40.0])
def test_intervals_hold_the_stated_probability(estimate: float) -> None:
    total = norm.sf(0, loc=estimate)
    for limits in (symmetric_limits, shortest_limits):
        low, high = (float(end) for end in limits(estimate, 1.0, coverage=0.9))
        inside = (norm.sf(low, loc=estimate) - norm.sf(high, loc=estimate)) / total
        assert inside == pytest.approx(0.9, abs=1e-6)
        assert low >= 0
    low, high = (float(end) for end in symmetric_limits(estimate, 1.0, coverage=0.9))
    assert norm.sf(high, loc=estimate) / total == pytest.approx(0.05, abs=1e-6)
    short_low, short_high = (float(end) for end in shortest_limits(estimate, 1.0, coverage=0.9))
    assert short_high - short_low <= high - low + 1e-12


def test_far_above_zero_nothing_is_cut() -> None:
    found = characteristic_limits(Measured(100.0, 1.0, "Bq"), lambda true: 1.0)
    assert found.best_estimate.value == pytest.approx(100.0)
    assert found.symmetric_limits == pytest.approx((98.04004, 101.95996), abs=1e-5)
    assert found.shortest_limits == pytest.approx(found.symmetric_limits, abs=1e-9)


@pytest.mark.parametrize(("alpha", "beta", "coverage"), [(0.0, 0.05, 0.95), (0.05, 0.5, 0.95), (0.05, 0.05, 1.0)])
def test_impossible_probabilities(alpha: float, beta: float, coverage: float) -> None:
    with pytest.raises(OutOfRangeError):
        characteristic_limits(Measured(1.0, 1.0), lambda true: 1.0, alpha=alpha, beta=beta, coverage=coverage)


def test_an_uncertainty_of_nothing() -> None:
    with pytest.raises(OutOfRangeError, match="above 0"):
        best_estimate(1.0, 0.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"n_gross": -1}, "gross counts -1"),
        ({"n_background": 2.5}, "background counts 2.5"),
        ({"gross_time_s": 0.0}, "gross counting time"),
        ({"background_time_s": math.nan}, "background counting time"),
        ({"factor": Measured(0.0, 0.0)}, "calibration factor"),
    ],
)
def test_counts_that_cannot_be(change: dict[str, object], words: str) -> None:
    good: dict[str, object] = {
        "n_gross": 5,
        "gross_time_s": 10.0,
        "n_background": 3,
        "background_time_s": 10.0,
        "factor": Measured(1.0, 0.0),
    }
    with pytest.raises(OutOfRangeError, match=words):
        NetCount(**(good | change))  # type: ignore[arg-type]


@pytest.mark.parametrize("set_up", [SetUp(400.0, 1.0, 0.05), SetUp(400.0, 0.1, 0.1), SetUp(10_000.0, 1.0, 0.0)])
def test_promises_hold_in_simulation(set_up: SetUp) -> None:
    """The study of docs/validation/decision_limits.md, thinned."""
    shares = judge(set_up, 20_000, np.random.default_rng(20261126))
    assert 0.04 <= shares["false_positives"]["iso"] <= 0.06
    assert shares["false_positives"]["exact"] <= 0.055
    assert 0.93 <= shares["detections"]["iso"] <= 0.97
    assert 0.93 <= shares["detections"]["exact"] <= 0.97
    assert min(shares["coverages"]["symmetric"]) >= 0.93
    assert max(shares["coverages"]["symmetric"]) <= 0.985
    assert min(shares["coverages"]["shortest"]) >= 0.92
