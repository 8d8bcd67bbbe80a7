"""How long to count: the time reaches the wanted limit, a little less does not, and what cannot be is refused."""

from __future__ import annotations

import pytest

from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured
from truekev.samples.counting_time import Background, counting_time, detection_limit_after

FACTOR = Measured(50.0, 2.5, "Bq")


@pytest.mark.parametrize("again", [True, False])
@pytest.mark.parametrize("wanted", [1.5, 4.0, 40.0, 400.0])
def test_the_time_is_enough_and_not_too_long(wanted: float, again: bool) -> None:
    background = Background(800, 3600.0, counted_again=again)
    plan = counting_time(wanted, background, FACTOR)
    assert plan.detection_limit <= wanted
    assert detection_limit_after(plan.time_s, background, FACTOR) == (plan.detection_limit, plan.exact)
    shorter = 0.97 if plan.exact else 0.999
    assert detection_limit_after(shorter * plan.time_s, background, FACTOR)[0] > wanted * (0.95 if plan.exact else 1)
    assert plan.total_time_s == pytest.approx((2 if again else 1) * plan.time_s)
    assert plan.exact == (min(plan.n_background_in_gross, plan.n_background_in_gross if again else 800) < 400)


def test_four_times_the_time_halves_the_limit() -> None:
    background = Background(100_000, 3600.0)
    one, two = (counting_time(wanted, background, Measured(1.0, 0.0, "Bq")).time_s for wanted in (0.2, 0.1))
    assert two / one == pytest.approx(4.0, rel=0.01)


def test_a_background_that_is_kept_sets_an_end() -> None:
    with pytest.raises(RefusedError, match="counted again"):
        counting_time(0.5, Background(800, 3600.0, counted_again=False), FACTOR)


def test_a_factor_too_uncertain() -> None:
    with pytest.raises(RefusedError, match="no detection limit"):
        counting_time(1.0, Background(800, 3600.0), Measured(50.0, 40.0, "Bq"))


def test_impossible_wishes() -> None:
    with pytest.raises(OutOfRangeError, match="above 0"):
        counting_time(0.0, Background(800, 3600.0), FACTOR)
    with pytest.raises(OutOfRangeError, match="at least one count"):
        Background(0, 3600.0)
