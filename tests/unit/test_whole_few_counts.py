"""Bins with few counts over a measured background, and strengths integrated out: against SciPy and sums over a grid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import nbinom, poisson
from tests.support.vial_counts import CRYSTAL, LOG_GAIN, SCATTER, SHAPE, counted

from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.few_counts import FewCounts, _few_deviance
from truekev.scale.whole.fit import fit_whole
from truekev.scale.whole.fit_start import start_of
from truekev.scale.whole.likelihood import NearLikelihood, _left_open, parameters_of
from truekev.scale.whole.measured_room import room_in_bins
from truekev.scale.whole.model import pulse_of
from truekev.scale.whole.prior import held_shape
from truekev.scale.whole.strengths import Solved, deviance_of

PRIOR = held_shape(SHAPE, width_u=1e-4)


def spectrum(counts: list[float], room: list[float], times: float) -> BinnedSpectrum:
    n = len(counts)
    events = np.array(room)
    edges = np.arange(n + 1) - 0.5
    background = MeasuredBackground(events / times, events / times**2, 0.05)
    # Each bin a peak's width of its own: no neighbour tells its variance.
    there = room_in_bins(background, edges, 0.0, np.full(n, 0.1))
    return BinnedSpectrum(edges, np.array(counts), there, np.zeros(n))


def test_probabilities_add_up_and_are_those_of_scipy() -> None:
    """P(n) = sum over k of NB(k) Poisson(n - k); what the background expects is gamma(r + 1, t + 1 / level)."""
    times, events, source = 3.0, 4.0, 1.7
    total = 0.0
    for n in range(26):
        shape, per_count = FewCounts(spectrum([float(n)], [events], times))._background
        deviance = _few_deviance(n, source, float(shape[0]), float(per_count[0]))
        found = np.exp(-0.5 * deviance) * (poisson.pmf(n, n) if n else 1.0)
        level = events / times
        rate = times + 1.0 / level
        k = np.arange(n + 1)
        expected = float((nbinom.pmf(k, events + 1.0, rate / (1.0 + rate)) * poisson.pmf(n - k, source)).sum())
        assert found == pytest.approx(expected, rel=1e-9)
        total += found
    assert total == pytest.approx(1.0, abs=1e-6)


def test_many_counts_and_no_background_are_left_to_the_normal_approximation() -> None:
    assert FewCounts(spectrum([3.0, 60.0], [2.0, 2.0], 3.0)).bins.tolist() == [True, False]
    bare = replace(spectrum([3.0, 60.0], [0.0, 0.0], 3.0), room=None)
    assert not FewCounts(bare).bins.any()


def test_where_the_background_is_well_known_it_is_the_poisson_deviance() -> None:
    one = counted("thorium-vial", "thorium-vial", 3_000, 8)
    start_pulse = pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN)
    assert one.background is not None
    known = replace(one.background, variance=one.background.variance * 1e-6)
    start = start_of(replace(one, background=known), CRYSTAL, SCATTER, start_pulse, 0.08)
    fit = fit_whole([start], PRIOR, SHAPE)
    near = NearLikelihood(fit, [start], PRIOR, None)
    (solved,) = near.solved(parameters_of(fit))
    data = fit.spectra[0].data
    few = FewCounts(data)
    assert few.bins.sum() > 50
    weights, room_gain = fit.spectra[0].weights, fit.spectra[0].room_gain
    plain = deviance_of(data, solved, weights)
    # An empty bin of a background that was counted for ever expects nothing; the model holds it above a small part.
    assert few.deviance(solved, weights, room_gain) == pytest.approx(plain, abs=0.02 * few.bins.sum())


@pytest.mark.parametrize(("target", "within"), [((3.0, 2.5), 0.05), ((3.0, -0.5), 0.12), ((0.4, 0.2), 0.3)])
def test_strengths_integrated_out(target: tuple[float, float], within: float) -> None:
    """-2 ln of the integral over strengths that are not negative, on a grid (no source: arithmetic).

    Each is cut at zero for itself, which is exact for one that is alone near zero, and near for two.
    """
    white = np.array([[1.0, 0.15], [0.1, 0.8]])
    values = np.array(target)
    fine = np.linspace(0.0, 14.0, 1401)
    x, y = np.meshgrid(fine, fine, indexing="ij")
    square = (values[0] - white[0, 0] * x - white[0, 1] * y) ** 2 + (values[1] - white[1, 0] * x - white[1, 1] * y) ** 2
    edge = np.where(fine == 0.0, 0.5, 1.0)
    integral = float((np.exp(-0.5 * square) * edge[:, None] * edge[None, :]).sum()) * (fine[1] - fine[0]) ** 2
    at = np.unravel_index(int(square.argmin()), square.shape)
    strengths = np.array([fine[at[0]], fine[at[1]]])
    residual = values - white @ strengths
    one = Solved(None, strengths, values, white, residual, float(residual @ residual))  # type: ignore[arg-type]
    found = float(residual @ residual) + _left_open(one) - 2.0 * np.log(2.0 * np.pi)
    assert found == pytest.approx(-2.0 * np.log(integral), abs=within)
