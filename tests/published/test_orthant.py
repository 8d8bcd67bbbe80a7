"""The integral of a normal density over an orthant, against closed forms and against brute force.

Two dimensions: 1/4 + asin(rho) / (2 pi) (Sheppard 1899, Phil. Trans. R. Soc. A 192, 101); three: 1/8 + the sum of the
asin(rho) / (4 pi) (David 1953, Biometrika 40, 458); equal correlations of 1/2 in n dimensions: 1 / (n + 1) (Ruben 1954,
Biometrika 41, 200). Others by scipy's integration (Genz 1992, J. Comput. Graph. Statist. 1, 141).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import log_ndtr
from scipy.stats import multivariate_normal

from truekev.scale.whole.orthant import log_volume


def probability(covariance: np.ndarray, mean: np.ndarray) -> float:
    """By `log_volume`, about the nearest point of the orthant's own."""
    information = np.linalg.inv(covariance)
    at = np.maximum(mean, 0.0)
    off = at - mean
    whole = log_volume(information, at, -information @ off) - 0.5 * off @ information @ off
    return float(np.exp(whole - 0.5 * np.linalg.slogdet(covariance)[1]))


def equal(n: int, rho: float) -> np.ndarray:
    return np.full((n, n), rho) + (1.0 - rho) * np.eye(n)


@pytest.mark.parametrize("rho", [-0.9, -0.5, 0.0, 0.5, 0.8])
def test_two_dimensions(rho: float) -> None:
    exact = 0.25 + np.arcsin(rho) / (2.0 * np.pi)
    assert probability(equal(2, rho), np.zeros(2)) == pytest.approx(exact, rel=0.015)


@pytest.mark.parametrize("rho", [(0.3, 0.3, 0.3), (-0.4, 0.2, 0.1), (0.6, -0.2, 0.4)])
def test_three_dimensions(rho: tuple[float, float, float]) -> None:
    covariance = np.eye(3)
    covariance[[0, 0, 1], [1, 2, 2]] = covariance[[1, 2, 2], [0, 0, 1]] = rho
    exact = 0.125 + float(np.arcsin(rho).sum()) / (4.0 * np.pi)
    assert probability(covariance, np.zeros(3)) == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("n", [4, 8, 20])
def test_equal_correlations_of_a_half(n: int) -> None:
    """To 1 % a dimension: what is compared between samples changes far less."""
    assert np.log(probability(equal(n, 0.5), np.zeros(n))) == pytest.approx(-np.log(n + 1.0), abs=0.01 * n)


def test_no_correlation_is_exact() -> None:
    mean = np.array([-30.0, -7.0, -1.0, 0.0, 3.0])
    information = np.eye(5)
    at = np.maximum(mean, 0.0)
    found = log_volume(information, at, -(at - mean)) - 0.5 * ((at - mean) ** 2).sum()
    assert found == pytest.approx(log_ndtr(mean).sum(), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_strengths_that_are_correlated_and_partly_at_zero(seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = np.abs(rng.standard_normal((40, 6))) + 0.5
    covariance = np.linalg.inv(columns.T @ columns)
    size = np.sqrt(np.diag(covariance))
    covariance /= np.outer(size, size)
    mean = rng.uniform(-0.7, 3.0, 6)
    exact = multivariate_normal(-mean, covariance, abseps=1e-7, releps=1e-4, maxpts=2_000_000, seed=1).cdf(np.zeros(6))
    assert np.log(probability(covariance, mean)) == pytest.approx(np.log(exact), abs=0.03)


def test_a_part_without_any_column_is_left_out() -> None:
    information = np.diag([2.0, 0.0, 5.0])
    rising = np.zeros(3)
    kept = log_volume(np.diag([2.0, 5.0]), np.zeros(2), np.zeros(2))
    assert log_volume(information, np.zeros(3), rising) == pytest.approx(kept, rel=1e-12)


def test_two_parts_that_are_the_same() -> None:
    """Their sum s is told, its split is not: every s may be split in s ways. Brute force over the sum."""
    rng = np.random.default_rng(0)
    columns = np.abs(rng.standard_normal((50, 6)))
    columns[:, 5] = columns[:, 4]
    at = np.array([1.0, 0.0, 2.0, 3.0, 1.0, 1.0])
    found = log_volume(100.0 * columns.T @ columns, at, np.zeros(6))
    apart = 100.0 * columns[:, :5].T @ columns[:, :5]
    drawn = rng.multivariate_normal(np.array([1.0, 0.0, 2.0, 3.0, 2.0]), np.linalg.inv(apart), 400_000)
    splits = np.where(np.all(drawn >= 0.0, axis=1), drawn[:, 4], 0.0)
    exact = np.log(splits.mean()) - 0.5 * np.linalg.slogdet(apart)[1] - 0.5 * np.log(2.0 * np.pi)
    assert found == pytest.approx(exact, abs=0.15)


def test_a_split_that_nothing_tells_takes_no_digits() -> None:
    """Strengths known to a thousandth of what their split is: the same in another order, and as smooth."""
    columns = np.abs(np.random.default_rng(0).standard_normal((50, 6)))
    columns[:, 5] = columns[:, 4]
    information = 1e6 * columns.T @ columns
    at, rising = np.array([10.0, 0.0, 20.0, 30.0, 10.0, 10.0]), np.array([0.0, -5.0, 0.0, 0.0, 0.0, 0.0])
    order = np.array([3, 5, 0, 4, 1, 2])
    found = log_volume(information, at, rising)
    assert log_volume(information[np.ix_(order, order)], at[order], rising[order]) == pytest.approx(found, abs=0.02)
    assert log_volume(information, at * 1.0001, rising) == pytest.approx(found, abs=0.02)
