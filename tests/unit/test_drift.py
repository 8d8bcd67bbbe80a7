"""Drift of slices: gains come back, nothing is lost, and a strange slice is told."""

from __future__ import annotations

import numpy as np
import pytest

from truekev.scale.whole.drift import ExpectedShape, aligned_sum, gains_of_slices, settled_walk

N = 512
EDGES = np.arange(10, 501, 4.0) - 0.5


def _density(ratio: float) -> np.ndarray:
    """Expected shares per channel of a made-up spectrum at a gain, by its exact integral."""
    at = (np.arange(N + 1) - 0.5) / ratio
    peaks = sum(
        area * 0.5 * (1 + np.tanh(0.8 * (at - middle) / width))
        for area, middle, width in ((0.2, 60, 8), (0.1, 150, 12), (0.05, 300, 18))
    )
    return np.diff(0.65 * (1 - np.exp(-np.maximum(at, 0) / 90.0)) + peaks)


def _binned(slices: np.ndarray) -> np.ndarray:
    starts = (EDGES + 0.5).astype(int)
    return np.add.reduceat(slices[:, : starts[-1]], starts[:-1], axis=1)


def test_gains_come_back_within_their_uncertainty() -> None:
    rng = np.random.default_rng(3)
    true = np.linspace(-0.06, 0.06, 60)
    slices = rng.poisson(20_000 * np.array([_density(float(np.exp(g))) for g in true])).astype(float)
    found = gains_of_slices(_binned(slices), EDGES, ExpectedShape(_density(1.0)))
    pulls = (found.log_ratio - true) / found.u_log_ratio
    assert 0.7 < pulls.std() < 1.3
    assert abs(pulls.mean()) < 4 / np.sqrt(60)
    assert found.chi2_per_dof.mean() == pytest.approx(1.0, abs=0.2)


def test_a_far_gain_is_found_and_an_empty_slice_tells_nothing() -> None:
    rng = np.random.default_rng(4)
    slices = rng.poisson(np.array([20_000 * _density(1.25), 0.0 * _density(1.0)])).astype(float)
    found = gains_of_slices(_binned(slices), EDGES, ExpectedShape(_density(1.0)))
    assert found.log_ratio[0] == pytest.approx(np.log(1.25), abs=0.01)
    assert np.isnan(found.log_ratio[1])


def test_something_else_does_not_look_alike() -> None:
    rng = np.random.default_rng(5)
    slices = rng.poisson(np.tile(20_000 / N, (1, N))).astype(float)
    found = gains_of_slices(_binned(slices), EDGES, ExpectedShape(_density(1.0)))
    assert found.chi2_per_dof[0] > 4


def test_neighbours_help_where_the_gain_moves_slowly() -> None:
    rng = np.random.default_rng(6)
    time_s = 600.0 * np.arange(144)
    true = 0.025 * np.sin(2 * np.pi * time_s / time_s[-1])
    u = np.full(144, 0.004)
    mean, u_mean = settled_walk(true + u * rng.standard_normal(144), u, time_s)
    assert np.sqrt(((mean - true) ** 2).mean()) < 0.5 * u[0]
    assert (np.abs(mean - true) < 1.96 * u_mean).mean() > 0.85


def test_a_sudden_step_stays_a_step() -> None:
    time_s = 600.0 * np.arange(40)
    true = np.where(np.arange(40) < 20, 0.0, 0.05)
    mean, _ = settled_walk(true, np.full(40, 0.002), time_s)
    assert np.abs(mean - true).max() < 0.004


def test_a_silent_slice_takes_its_neighbours_gain_with_more_doubt() -> None:
    values = np.array([0.0, 0.001, np.nan, 0.002, 0.003])
    mean, u = settled_walk(values, np.where(np.isnan(values), np.nan, 0.001), 600.0 * np.arange(5))
    assert 0.0 < mean[2] < 0.003
    assert u[2] > u[1]


@pytest.mark.parametrize("low", [-0.3, 0.0])
def test_no_count_is_lost(low: float) -> None:
    rng = np.random.default_rng(7)
    slices = rng.poisson(30.0, (25, 128)).astype(float)
    moves = np.linspace(low, 0.3, 25)
    found = aligned_sum(slices, moves)
    assert found.counts.sum() + found.above == pytest.approx(slices.sum(), abs=1e-6)
    assert found.complete_to == int(127.5 * np.exp(-0.3) - 0.5)
    assert found.variance.sum() <= slices.sum() + 1e-6


def test_nothing_moves_at_the_same_gain() -> None:
    slices = np.arange(40.0).reshape(2, 20)
    np.testing.assert_array_equal(aligned_sum(slices, np.zeros(2)).counts, slices.sum(axis=0))
