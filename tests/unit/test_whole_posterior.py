"""The mean over all that few counts allow: against integration on a grid, and the best fit where that is enough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.support.vial_counts import CRYSTAL, LOG_GAIN, SCATTER, SHAPE, counted

from truekev.scale.whole.fit import fit_whole
from truekev.scale.whole.fit_start import start_of
from truekev.scale.whole.likelihood import NearLikelihood
from truekev.scale.whole.model import N_SHAPE, pulse_of
from truekev.scale.whole.posterior import averaged
from truekev.scale.whole.prior import held_shape
from truekev.scale.whole.strengths import Start

PRIOR = held_shape(SHAPE, width_u=1e-4)


def start_with(counts: int, seed: int) -> Start:
    one = counted("thorium-vial", "thorium-vial", counts, seed)
    return start_of(one, CRYSTAL, SCATTER, pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN), 0.08)


def test_few_counts_against_a_grid() -> None:
    """Mean and standard deviation of ln g by summing exp(-deviance / 2) over a grid (no source: arithmetic)."""
    start = start_with(400, 3)
    fit = fit_whole([start], PRIOR, SHAPE)
    found = averaged([fit], [start], PRIOR)
    one = fit.spectra[0]
    near = NearLikelihood(fit, [start], PRIOR, None)
    u = float(np.sqrt(fit.covariance[N_SHAPE, N_SHAPE]))
    grid = one.log_gain + u * np.linspace(-6.0, 6.0, 121)
    deviance = []
    for log_gain in grid:
        theta = np.concatenate([fit.shape, [log_gain, one.room_gain]])
        deviance.append(near.marginal(theta))
    likely = np.exp(-0.5 * (np.array(deviance) - min(deviance)))
    likely /= likely.sum()
    mean = float(likely @ grid)
    spread = float(np.sqrt(likely @ (grid - mean) ** 2))
    assert found.spectra[0].log_gain == pytest.approx(mean, abs=0.25 * spread)
    assert float(np.sqrt(found.covariance[N_SHAPE, N_SHAPE])) == pytest.approx(spread, rel=0.25)


def test_many_counts_give_the_best_fit() -> None:
    start = start_with(200_000, 4)
    fit = fit_whole([start], PRIOR, SHAPE)
    found = averaged([fit], [start], PRIOR)
    u = float(np.sqrt(fit.covariance[N_SHAPE, N_SHAPE]))
    assert abs(found.spectra[0].log_gain - fit.spectra[0].log_gain) < 0.25 * u
    assert float(np.sqrt(found.covariance[N_SHAPE, N_SHAPE])) == pytest.approx(u, rel=0.25)


def test_the_same_spectrum_gives_the_same_scale() -> None:
    start = start_with(2_000, 5)
    fit = fit_whole([start], PRIOR, SHAPE)
    first, second = (averaged([fit], [start], PRIOR) for _ in range(2))
    assert first.spectra[0].log_gain == second.spectra[0].log_gain
    assert np.array_equal(first.covariance, second.covariance)


def test_shares_of_an_earlier_count_narrow_the_gain() -> None:
    start = start_with(2_000, 6)
    long = fit_whole([start_with(1_000_000, 7)], PRIOR, SHAPE).spectra[0].strengths[:-1]
    free, known = (fit_whole([one], PRIOR, SHAPE) for one in (start, replace(start, shares=long / long.sum())))
    assert known.covariance[N_SHAPE, N_SHAPE] < free.covariance[N_SHAPE, N_SHAPE]
    assert known.spectra[0].strengths[:-1] / known.spectra[0].strengths[:-1].sum() == pytest.approx(
        long / long.sum(), abs=0.06
    )
