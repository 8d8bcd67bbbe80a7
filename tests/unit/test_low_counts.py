"""The exact test of few counts: it keeps its promise whatever the background, and its detection limit its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, poisson

from truekev.errors import OutOfRangeError, RefusedError
from truekev.samples.low_counts import (
    chance_of_pair,
    detection_limit_counts,
    pair_test,
    smallest_recognised_gross,
)


@pytest.mark.parametrize("ratio", [0.05, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("mean", [0.1, 1.0, 4.0, 25.0, 150.0])
def test_false_positives_never_exceed_alpha(mean: float, ratio: float) -> None:
    """Summed over all background counts, without drawing."""
    background = np.arange(0, int(poisson.ppf(1 - 1e-12, mean / ratio)) + 2)
    chance = poisson.sf(smallest_recognised_gross(background, ratio) - 1, mean)
    assert float(chance @ poisson.pmf(background, mean / ratio)) <= 0.05


@pytest.mark.parametrize(("n_gross", "n_background", "ratio"), [(7, 1, 1.0), (3, 12, 0.2), (20, 9, 1.5), (0, 4, 1.0)])
def test_chance_is_the_binomial_tail(n_gross: int, n_background: int, ratio: float) -> None:
    expected = binom.sf(n_gross - 1, n_gross + n_background, ratio / (1 + ratio))
    assert float(chance_of_pair(n_gross, n_background, ratio)) == pytest.approx(float(expected), rel=1e-10)


@pytest.mark.parametrize("ratio", [0.1, 1.0, 2.5])
def test_smallest_recognised_is_the_smallest(ratio: float) -> None:
    background = np.array([[0, 1, 2, 17], [17, 240, 3, 0]])
    smallest = smallest_recognised_gross(background, ratio)
    assert smallest.shape == background.shape
    assert np.all(chance_of_pair(smallest, background, ratio) <= 0.05)
    assert np.all(chance_of_pair(smallest - 1, background, ratio) > 0.05)


def test_pair_test_agrees_with_its_threshold() -> None:
    found = pair_test(9, 6, 0.5)
    assert found.recognised == (found.critical_net_counts < 9 - 0.5 * 6)
    assert found.recognised == (found.chance <= 0.05)


def test_detection_limit_without_any_background() -> None:
    """Five counts or more are recognised; a mean of 9.1535 gives them 95 times in 100."""
    assert detection_limit_counts(0.0) == pytest.approx(9.1535, abs=1e-3)
    assert float(poisson.sf(4, 9.1535)) == pytest.approx(0.95, abs=1e-5)


def test_detection_limit_grows_with_uncertainty_and_has_an_end() -> None:
    limits = [detection_limit_counts(10.0, relative_u_factor=u) for u in (0.0, 0.1, 0.3)]
    assert limits[0] < limits[1] < limits[2]
    with pytest.raises(RefusedError, match="80 %"):
        detection_limit_counts(10.0, relative_u_factor=0.8)


@pytest.mark.parametrize(("background", "ratio"), [(-1.0, 1.0), (5.0, 0.0), (5.0, -2.0)])
def test_impossible_input(background: float, ratio: float) -> None:
    with pytest.raises(OutOfRangeError):
        detection_limit_counts(background, ratio)
