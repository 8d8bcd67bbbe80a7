"""Dead time: the two textbook models and the two-source method.

G. F. Knoll, Radiation Detection and Measurement, chapter on counting statistics and dead time (formulas from memory);
numbers worked out by hand: m = n / (1 + n τ), m = n exp(-n τ).
"""

from __future__ import annotations

import math

import pytest

from truekev.errors import RefusedError
from truekev.quantity import Measured
from truekev.samples.dead_time import observed_rate, paralysable_rates, true_rate, two_source_dead_time


@pytest.mark.parametrize(
    ("observed", "tau", "non_paralysable", "paralysable"),
    [(10_000.0, 10e-6, 11_111.1, 11_183.3), (5_000.0, 50e-6, 6_666.7, 7_148.1)],
)
def test_true_rates(observed: float, tau: float, non_paralysable: float, paralysable: float) -> None:
    assert true_rate(observed, tau, "non-paralysable") == pytest.approx(non_paralysable, abs=0.1)
    assert true_rate(observed, tau, "paralysable") == pytest.approx(paralysable, abs=0.1)


def test_maximum_of_the_paralysable_model() -> None:
    tau = 10e-6
    assert observed_rate(1 / tau, tau, "paralysable") == pytest.approx(36_788, abs=1)
    assert paralysable_rates(36_787.9, tau) == pytest.approx((1 / tau, 1 / tau), rel=0.01)
    with pytest.raises(RefusedError, match="36787"):
        paralysable_rates(36_789.0, tau)


def test_two_sources() -> None:
    first, second, both = (Measured(rate, math.sqrt(rate / 600), "1/s") for rate in (10_000.0, 11_000.0, 19_000.0))
    tau = two_source_dead_time(first, second, both)
    assert tau.value == pytest.approx(10.05e-6, abs=0.02e-6)
    assert tau.unit == "s"
