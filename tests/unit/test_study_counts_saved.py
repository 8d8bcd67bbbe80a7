"""Pieces of the study of counts saved: the rivals fit made peaks, and the counts for a target are read off rightly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from studies.counts_saved import needed, rms_and_share
from studies.peak_habits import BOOK_LINES_KEV, Wanted, fit_together, quadratic_of_bench
from studies.scale_inside import ENERGIES_KEV
from studies.thinned_counts import held_out_rms, thin
from tests.support.made_scale import made_scale

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.light import Pulse
from truekev.scale.sample import sample_of
from truekev.scale.search import MeasuredBackground
from truekev.sources.described import resolve_source

N = 1024


def _gauss(centre: float, sigma: float) -> np.ndarray:
    return np.diff(ndtr((np.arange(N + 1) - 0.5 - centre) / sigma))


def _wanted(energy: float, centre: float, sigma: float) -> Wanted:
    return Wanted(energy, 0.0, np.array([centre]), np.ones(1), np.array([sigma]))


@pytest.mark.parametrize("tied", [True, False])
@pytest.mark.parametrize("continuum", ["linear", "quadratic", "step"])
def test_two_peaks_on_each_continuum(continuum: str, tied: bool) -> None:
    at = np.arange(N, dtype=float)
    under = {
        "linear": 400.0 - 0.5 * (at - 300),
        "quadratic": 400.0 - 0.5 * (at - 300) + 0.01 * (at - 300) ** 2,
        "step": 150.0 + 250.0 * ndtr((300.0 - at) / 10.0) + 200.0 * ndtr((335.0 - at) / 10.0),
    }[continuum]
    made = under + 5000.0 * _gauss(300.0, 10.0) + 4000.0 * _gauss(335.0, 10.0)
    wanted = [_wanted(1.0, 303.0, 10.0 if tied else 11.5), _wanted(2.0, 332.0, 10.0 if tied else 11.5)]
    found = fit_together(made, np.zeros(N), wanted, continuum, tied=tied)
    assert found is not None
    assert [one.channel for one in found] == pytest.approx([300.0, 335.0], abs=0.05)
    assert [one.area for one in found] == pytest.approx([5000.0, 4000.0], rel=0.01)
    assert found[0].width_factor == pytest.approx(1.0 if tied else 1 / 1.15, rel=0.01)


def test_the_stated_uncertainty_of_a_place_is_its_spread() -> None:
    rng = np.random.default_rng(5)
    made = 30.0 + 900.0 * _gauss(300.0, 10.0)
    pulls = []
    for _ in range(200):
        found = fit_together(
            rng.poisson(made).astype(float), np.zeros(N), [_wanted(1.0, 302.0, 10.0)], "linear", tied=True
        )
        assert found is not None
        pulls.append((found[0].channel - 300.0) / found[0].u_channel)
    assert np.mean(pulls) == pytest.approx(0.0, abs=0.25)
    assert np.std(pulls) == pytest.approx(1.0, abs=0.2)


def test_a_window_beyond_the_spectrum_is_not_fitted() -> None:
    assert fit_together(np.ones(N), np.zeros(N), [_wanted(1.0, 1030.0, 10.0)], "linear", tied=True) is None


def _widths(pulse: Pulse, energy_kev: np.ndarray) -> np.ndarray:
    return 0.03 * np.sqrt(661.7 * energy_kev) * pulse.slope_per_kev(energy_kev)


def _spectrum(pulse: Pulse, counts: float) -> np.ndarray:
    lines = [e for group in BOOK_LINES_KEV for e in group]
    peaks = [_gauss(float(pulse.channel(e)), float(_widths(pulse, np.array([e]))[0])) for e in lines]
    return counts * (np.sum(peaks, axis=0) / len(lines) + 2e-4)


def test_bench_habit_waits_for_four_peaks_and_puts_a_quadratic_through_them() -> None:
    # Light in proportion to energy, with a quadratic loss: a quadratic E(ch) follows it to some per mil.
    straight = replace(made_scale(N).pulse, kappa=0.0)
    straight = replace(straight, gain=straight.gain * 960.0 / float(straight.channel(2614.5)), c0=0.0)
    guess = replace(straight, gain=straight.gain * 1.01)
    found = quadratic_of_bench(_spectrum(straight, 1e5), guess, _widths)
    assert found is not None
    coefficients, peaks = found
    assert len(peaks) == 8
    says = np.polynomial.polynomial.polyval(straight.channel(ENERGIES_KEV[1:]) / N, coefficients)
    assert says == pytest.approx(ENERGIES_KEV[1:], rel=0.005)
    assert quadratic_of_bench(_spectrum(straight, 100.0), guess, _widths) is None
    without_the_last = _spectrum(straight, 1e5)
    without_the_last[int(straight.channel(2300.0)) :] = 20.0
    assert quadratic_of_bench(without_the_last, guess, _widths) is None


def test_counts_needed_are_read_off_the_ladder() -> None:
    counts = (1e3, 1e4, 1e5)
    every = np.ones(3)
    # 2 % at 10,000 and 0.5 % at 100,000: 1 % half way in the logarithm
    assert needed(counts, np.array([4.0, 2.0, 0.5]), every) == pytest.approx(10**4.5)
    assert needed(counts, np.array([0.9, 0.5, 0.2]), every) == 1e3
    assert needed(counts, np.array([4.0, 2.0, 1.5]), every) == np.inf
    # good enough from the start, but only half have a scale at 10,000 and all at 100,000
    assert needed(counts, np.array([np.nan, 0.8, 0.5]), np.array([0.0, 0.5, 1.0])) == pytest.approx(10**4.8)


def test_rms_and_share_leave_out_trials_without_a_scale() -> None:
    one = {"errors": [{"whole": None}, {"whole": [3.0] + [0.0] * 5}]}
    other = {"errors": [{"whole": None}, {"whole": [3.0] + [1.0] * 5}]}
    rms, share = rms_and_share([one, other], "whole")
    assert share.tolist() == [0.0, 1.0]
    assert np.isnan(rms[0])
    assert rms[1] == pytest.approx(np.sqrt((9 + 9 + 5) / 12))
    assert rms_and_share([one, other], "whole", 200.0)[0][1] == pytest.approx(np.sqrt(0.5))


def test_thinning_keeps_its_share_and_the_background_as_it_was_measured() -> None:
    counts = np.full(N, 100.0)
    room = MeasuredBackground(np.full(N, 10.0), np.full(N, 20.0), 0.05)
    full = CountedSpectrum(counts, room, sample_of([resolve_source("Eu-152")]))
    found = thin(full, 0.25, np.random.default_rng(1))
    assert found.counts.sum() == pytest.approx(0.25 * counts.sum(), rel=0.02)
    assert np.all(found.counts <= counts)
    assert found.background is not None
    assert found.background.counts == pytest.approx(2.5)
    assert found.background.variance == pytest.approx(20.0 / 16)


def test_held_out_places_of_another_gain_are_no_error_and_of_another_shape_are() -> None:
    scale = made_scale(N)
    energy = np.array([239.0, 583.0, 911.0, 2614.5])
    moved = scale.channel(energy) * 1.03
    assert held_out_rms(scale, [(energy, moved, np.full(4, 0.1))]) == pytest.approx(0.0, abs=1e-6)
    bent = moved * (1.0 + 0.02 * (energy < 500))
    assert 0.5 < held_out_rms(scale, [(energy, bent, np.full(4, 0.1))]) < 2.0
