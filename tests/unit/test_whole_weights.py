"""V by its filter against V written out, decomposed by SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cholesky, solve_triangular

from truekev.scale.whole.weights import Weights

RNG = np.random.default_rng(3)
N = 60
WEIGHTS = Weights(
    own=np.full(N, 1.0),
    noise=RNG.uniform(1.0, 30.0, N),
    amplitude=RNG.uniform(0.0, 8.0, N),
    place=np.cumsum(RNG.uniform(0.01, 0.9, N)),
)
LOWER = cholesky(WEIGHTS.covariance, lower=True)


def test_covariance_is_noise_and_a_process_that_forgets() -> None:
    i, j = 10, 14
    apart = WEIGHTS.place[j] - WEIGHTS.place[i]
    expected = WEIGHTS.amplitude[i] * WEIGHTS.amplitude[j] * np.exp(-apart)
    assert WEIGHTS.covariance[i, j] == pytest.approx(expected)
    assert WEIGHTS.covariance[i, i] == pytest.approx(WEIGHTS.noise[i] + WEIGHTS.amplitude[i] ** 2)


def test_white_is_the_inverse_of_the_cholesky_factor() -> None:
    columns = RNG.standard_normal((N, 4))
    assert WEIGHTS.white(columns) == pytest.approx(solve_triangular(LOWER, columns, lower=True), rel=1e-9, abs=1e-12)
    assert WEIGHTS.white(columns[:, 0]) == pytest.approx(WEIGHTS.white(columns)[:, 0], rel=1e-12)


def test_transposed() -> None:
    values = RNG.standard_normal(N)
    expected = solve_triangular(LOWER, values, lower=True, trans=1)
    assert WEIGHTS.white_transposed(values) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_likely_error_takes_from_the_residuals_what_counting_does_not_explain() -> None:
    residuals = RNG.standard_normal(N) * 5.0
    error, weighted = WEIGHTS.likely_error(WEIGHTS.white(residuals))
    assert weighted == pytest.approx(np.linalg.solve(WEIGHTS.covariance, residuals), rel=1e-8, abs=1e-12)
    assert error == pytest.approx(residuals - WEIGHTS.own * weighted, rel=1e-8, abs=1e-9)


def test_volume() -> None:
    assert WEIGHTS.volume == pytest.approx(np.linalg.slogdet(WEIGHTS.covariance)[1] - np.log(WEIGHTS.own).sum())
