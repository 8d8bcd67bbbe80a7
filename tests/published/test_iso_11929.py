"""Characteristic limits after ISO 11929-1, model y = w (r_g - r_0).

ISO 11929-1:2019 (scope: non-negative measurand, decision threshold, detection limit, limits of coverage intervals). The
numbers were worked out from the model outside this project. The data of the first row are remembered from an annex of
the 2010 edition (from memory, not looked up); those of the others are invented.
"""

from __future__ import annotations

import dataclasses

import pytest

from truekev.quantity import Measured
from truekev.samples.limits import CharacteristicLimits, characteristic_limits
from truekev.samples.net_count import NetCount


def limits_of(counts: NetCount) -> CharacteristicLimits:
    return characteristic_limits(counts.estimate, counts.u_of_true)


NET_RATE = NetCount(2591, 360.0, 41782, 7200.0, Measured(1.0, 0.0, "1/s"))
ACTIVITY = NetCount(1000, 3600.0, 800, 3600.0, Measured(50.0, 2.5, "Bq"))
BELOW_ZERO = NetCount(95, 1000.0, 100, 1000.0, Measured(10.0, 1.0, "Bq"))
SMALL = NetCount(120, 1000.0, 100, 1000.0, Measured(10.0, 1.0, "Bq"))


@pytest.mark.parametrize(
    ("counts", "estimate", "u", "threshold", "limit"),
    [
        (NET_RATE, 1.3942, 0.1442, 0.2140, 0.4355),
        (ACTIVITY, 2.7778, 0.6054, 0.9138, 1.8779),
        (BELOW_ZERO, -0.0500, 0.1397, 0.2326, 0.5060),
        (SMALL, 0.2000, 0.1497, 0.2326, 0.5060),
    ],
)
def test_estimate_threshold_and_limit(
    counts: NetCount, estimate: float, u: float, threshold: float, limit: float
) -> None:
    found = limits_of(counts)
    assert found.estimate.value == pytest.approx(estimate, abs=1e-4)
    assert found.estimate.u == pytest.approx(u, abs=1e-4)
    assert found.decision_threshold == pytest.approx(threshold, abs=1e-4)
    assert found.detection_limit == pytest.approx(limit, abs=1e-4)
    assert found.recognised == (estimate > threshold)


@pytest.mark.parametrize(
    ("counts", "best", "u_best", "low", "high"),
    [(BELOW_ZERO, 0.0951, 0.0756, 0.0034, 0.2805), (SMALL, 0.2269, 0.1277, 0.0192, 0.4994)],
)
def test_best_estimate_and_symmetric_limits(
    counts: NetCount, best: float, u_best: float, low: float, high: float
) -> None:
    found = limits_of(counts)
    assert found.best_estimate.value == pytest.approx(best, abs=1e-4)
    assert found.best_estimate.u == pytest.approx(u_best, abs=1e-4)
    assert found.symmetric_limits == pytest.approx((low, high), abs=1e-4)


def test_all_that_the_scope_names_is_reported() -> None:
    """Decision threshold, detection limit, coverage limits and best estimate, of a measurand that is not negative."""
    found = limits_of(BELOW_ZERO)
    names = {field.name for field in dataclasses.fields(found)}
    assert {"decision_threshold", "detection_limit", "best_estimate", "symmetric_limits", "shortest_limits"} <= names
    assert found.estimate.value < 0
    assert min(found.best_estimate.value, *found.symmetric_limits) > 0
    assert found.shortest_limits[0] == 0
