"""Line groups: which lines are one, and whether a simulated group is found where it stands."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from truekev.scale.groups import GroupFit, LineGroup, fit_group, form_groups

FWHM = 2.3548200450309493
N = 400


def _form(energies: list[float], areas: list[float], fwhm: float, **options: float) -> list[LineGroup]:
    energy = np.array(energies)
    names = [f"N{i}" for i in range(energy.size)]
    return form_groups(energy, np.array(areas), names, np.full(energy.size, fwhm), **options)


def test_near_lines_are_one_group_at_their_mean() -> None:
    (group,) = _form([238.6, 241.0], [10.0, 1.0], 30.0)
    assert group.centroid_kev == pytest.approx((238.6 * 10 + 241.0) / 11)
    assert group.weight.sum() == pytest.approx(1.0)
    assert group.area == pytest.approx(11.0)
    assert group.name.startswith("N0+N1 238.8")
    assert 0 < group.u_centroid_kev < 0.5


def test_lines_far_apart_stay_apart_and_in_order() -> None:
    groups = _form([911.2, 238.6, 583.2], [1.0, 10.0, 3.0], 40.0)
    assert [g.centroid_kev for g in groups] == [238.6, 583.2, 911.2]
    assert all(g.u_centroid_kev == 0 for g in groups)


@pytest.mark.parametrize(("distance", "n_groups"), [(0.8, 1), (0.95, 2)])
def test_lines_part_at_nine_tenths_of_a_width(distance: float, n_groups: int) -> None:
    assert len(_form([500.0, 500.0 + distance * 40.0], [2.0, 1.0], 40.0)) == n_groups


def test_another_distance_may_be_asked_for() -> None:
    assert len(_form([500.0, 536.0], [2.0, 1.0], 40.0, apart=0.5)) == 2


def test_weak_lines_weigh_but_are_not_named_and_lines_without_area_are_left_out() -> None:
    groups = _form([500.0, 505.0, 900.0], [100.0, 0.1, 0.0], 40.0)
    assert [g.name for g in groups] == ["N0 500.0 keV"]
    assert groups[0].energy_kev.size == 2


def _fitted(
    rng: np.random.Generator, place: float, *, expected: float = 200.0, area: float = 4000.0
) -> GroupFit | None:
    sigma = 6.0
    group = LineGroup("simulated", np.array([600.0, 610.0]), np.array([0.7, 0.3]), area, 0.0)
    away = np.array([0.0, 3.0])  # channels from the first line to the second

    def counts_of(first: float) -> np.ndarray:
        z = (np.arange(N + 1)[:, None] - 0.5 - first - away) / sigma
        return np.diff(ndtr(z), axis=0) @ group.weight

    continuum = 300.0 * np.exp(-np.arange(N) / 300.0)
    counts = rng.poisson(area * counts_of(place - 0.9) + continuum).astype(float)
    return fit_group(counts, group, expected - 0.9 + away, np.array([sigma, sigma]), continuum)


def test_pulls_of_a_simulated_group() -> None:
    # expected places lie up to half a width off, as in a first round
    rng = np.random.default_rng(11)
    places = 200.0 + rng.uniform(-5.0, 5.0, 150)
    fits = [f for f in (_fitted(rng, place) for place in places) if f is not None]
    assert len(fits) == places.size
    pulls = np.array([(f.channel - place) / f.u_statistical for f, place in zip(fits, places, strict=True)])
    assert abs(pulls.mean()) < 0.35
    assert 0.75 < pulls.std() < 1.3
    area_pulls = np.array([(f.area - 4000.0) / f.u_area for f in fits])
    assert abs(area_pulls.mean()) < 0.35
    assert 0.7 < area_pulls.std() < 1.3
    assert all(f.u_channel >= f.u_statistical for f in fits)
    assert np.mean([f.width_factor for f in fits]) == pytest.approx(1.0, abs=0.03)


def test_a_weak_group_is_not_found_or_says_that_it_is_weak() -> None:
    fits = [_fitted(np.random.default_rng(seed), 200.0, area=60.0) for seed in range(20)]
    assert sum(f is None or f.significance < 4.0 for f in fits) >= 19


def test_windows_that_leave_the_spectrum_are_not_fitted() -> None:
    group = LineGroup("at the edge", np.array([600.0]), np.ones(1), 1000.0, 0.0)
    counts = np.full(N, 100.0)
    for place in (5.0, N - 5.0):
        assert fit_group(counts, group, np.array([place]), np.array([6.0]), counts) is None


def test_noise_of_a_background_widens_the_uncertainty() -> None:
    group = LineGroup("on a background", np.array([600.0]), np.ones(1), 2000.0, 0.0)
    z = (np.arange(N + 1) - 0.5 - 200.0) / 6.0
    continuum = np.full(N, 200.0)
    counts = 2000.0 * np.diff(ndtr(z)) + continuum
    place, sigma = np.array([200.0]), np.array([6.0])
    quiet = fit_group(counts, group, place, sigma, continuum)
    noisy = fit_group(counts, group, place, sigma, continuum, extra_variance=3.0 * continuum)
    assert quiet is not None
    assert noisy is not None
    assert noisy.u_statistical > 1.4 * quiet.u_statistical
    assert noisy.u_area > 1.4 * quiet.u_area
