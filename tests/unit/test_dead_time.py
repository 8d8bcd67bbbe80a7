"""Dead time: both models there and back, two sources, and where a correction is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured
from truekev.samples.dead_time import (
    Model,
    corrected_rate,
    judge_dead_time,
    observed_rate,
    paralysable_rates,
    pile_up_fraction,
    true_rate,
    two_source_dead_time,
)

MODELS: tuple[Model, ...] = ("non-paralysable", "paralysable")
TAU = 2e-5


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("rate", [0.0, 1.0, 3000.0, 45_000.0])
def test_there_and_back(model: Model, rate: float) -> None:
    assert true_rate(observed_rate(rate, TAU, model), TAU, model) == pytest.approx(rate, rel=1e-9)


def test_upper_branch() -> None:
    rate = 3.0 / TAU
    low, high = paralysable_rates(observed_rate(rate, TAU, "paralysable"), TAU)
    assert high == pytest.approx(rate, rel=1e-9)
    assert observed_rate(low, TAU, "paralysable") == pytest.approx(observed_rate(high, TAU, "paralysable"))
    assert paralysable_rates(0.0, TAU) == (0.0, math.inf)


def simulated(model: Model, rate: float, rng: np.random.Generator) -> int:
    """Recorded pulses of a second of Poisson arrivals, one by one."""
    arrivals = np.sort(rng.uniform(0.0, 1.0, rng.poisson(rate)))
    recorded, blind_until = 0, -1.0
    for at in arrivals:
        if at >= blind_until:
            recorded += 1
            blind_until = at + TAU
        elif model == "paralysable":
            blind_until = at + TAU
    return recorded


@pytest.mark.parametrize("model", MODELS)
def test_models_are_those_of_pulses_one_by_one(model: Model) -> None:
    rng = np.random.default_rng(5)
    recorded = simulated(model, 40_000.0, rng)
    assert recorded == pytest.approx(observed_rate(40_000.0, TAU, model), abs=4 * math.sqrt(recorded))


@pytest.mark.parametrize("model", MODELS)
def test_uncertainty_is_that_of_the_spread(model: Model) -> None:
    rng = np.random.default_rng(6)
    observed, tau = Measured(8000.0, 40.0, "1/s"), Measured(TAU, 5e-7, "s")
    drawn = [
        true_rate(m, t, model)
        for m, t in zip(rng.normal(observed.value, observed.u, 4000), rng.normal(tau.value, tau.u, 4000), strict=True)
    ]
    assert corrected_rate(observed, tau, model).u == pytest.approx(float(np.std(drawn)), rel=0.05)


@pytest.mark.parametrize("model", MODELS)
def test_two_sources_give_back_the_dead_time(model: Model) -> None:
    background = 80.0
    true = (5000.0 + background, 6000.0 + background, 11_000.0 + background, background)
    rates = [Measured(observed_rate(rate, TAU, model), 2.0, "1/s") for rate in true]
    found = two_source_dead_time(*rates, model=model)
    assert found.value == pytest.approx(TAU, rel=1e-6)
    rng = np.random.default_rng(7)
    drawn = []
    for _ in range(1500):
        one, two, both, blank = (Measured(float(rng.normal(rate.value, rate.u)), 0.0) for rate in rates)
        drawn.append(two_source_dead_time(one, two, both, blank, model=model).value)
    assert found.u == pytest.approx(float(np.std(drawn)), rel=0.08)


def test_no_dead_time_may_come_out_negative_within_its_uncertainty() -> None:
    rates = (Measured(100.0, 1.0), Measured(100.0, 1.0), Measured(200.5, 1.0))
    for model in MODELS:
        found = two_source_dead_time(*rates, model=model)
        assert -2 * found.u < found.value < 0


def test_two_sources_that_no_dead_time_explains() -> None:
    rates = (Measured(10_000.0, 1.0), Measured(10_000.0, 1.0), Measured(6000.0, 1.0))
    for model in MODELS:
        with pytest.raises(RefusedError):
            two_source_dead_time(*rates, model=model)
    with pytest.raises(OutOfRangeError, match="more than the background"):
        two_source_dead_time(Measured(10.0, 1.0), Measured(10.0, 1.0), Measured(20.0, 1.0), Measured(12.0, 1.0))


def test_pile_up() -> None:
    assert pile_up_fraction(1000.0, 1e-5) == pytest.approx(1 - math.exp(-0.01), rel=1e-12)
    assert pile_up_fraction(0.0, 1e-5) == 0.0


def test_nothing_to_correct() -> None:
    found = judge_dead_time(10_000, 1000.0, dead_time_s=Measured(TAU, 1e-6, "s"))
    assert found.verdict == "nothing to correct"
    assert found.true_rate.value == pytest.approx(10.002, abs=1e-4)


def test_an_unknown_model_widens_the_uncertainty() -> None:
    tau = Measured(TAU, 0.0, "s")
    found = judge_dead_time(7_000_000, 1000.0, dead_time_s=tau, resolving_time_s=1e-6)
    low, high = (true_rate(7000.0, TAU, model) for model in MODELS)
    assert found.verdict == "corrected"
    assert found.true_rate.value == pytest.approx((low + high) / 2)
    assert found.true_rate.u > (high - low) / 2
    known = judge_dead_time(7_000_000, 1000.0, dead_time_s=tau, model="paralysable", resolving_time_s=1e-6)
    assert known.true_rate.value == pytest.approx(high)
    assert known.true_rate.u < found.true_rate.u


def test_live_time_is_used_as_it_is() -> None:
    found = judge_dead_time(90_000, 1000.0, live_time_s=900.0)
    assert found.verdict == "live time given"
    assert found.true_rate.value == pytest.approx(100.0)
    assert found.dead_fraction == pytest.approx(0.1)
    assert found.pile_up_fraction is None


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "neither a live time nor a dead time"),
        ({"dead_time_s": Measured(3e-5, 0.0, "s")}, "falling branch"),
        ({"live_time_s": 700.0}, "lost its shape"),
        ({"dead_time_s": Measured(1e-5, 0.0, "s")}, "resolving time"),
    ],
)
def test_refusals(given: dict[str, object], words: str) -> None:
    with pytest.raises(RefusedError, match=words):
        judge_dead_time(9_000_000, 1000.0, **given)  # type: ignore[arg-type]


def test_more_than_can_be_recorded() -> None:
    with pytest.raises(RefusedError, match="fill"):
        true_rate(60_000.0, TAU, "non-paralysable")
    with pytest.raises(RefusedError, match="at most"):
        true_rate(20_000.0, TAU, "paralysable")


@pytest.mark.parametrize(
    ("counts", "real", "live"), [(-1, 10.0, None), (5, 0.0, None), (5, 10.0, 11.0), (5, 10.0, 0.0)]
)
def test_impossible_times(counts: float, real: float, live: float | None) -> None:
    with pytest.raises(OutOfRangeError):
        judge_dead_time(counts, real, live_time_s=live)
