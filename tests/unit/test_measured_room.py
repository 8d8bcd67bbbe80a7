"""A measured background in a fit: moved, quieted, and told by the spectrum it lies under."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from tests.support.vial_counts import CRYSTAL, LOG_GAIN, SCATTER, SHAPE, counted

from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.align import align_whole
from truekev.scale.whole.bins import merged
from truekev.scale.whole.fit import fit_whole
from truekev.scale.whole.fit_start import start_of
from truekev.scale.whole.measured_room import MeasuredRoom, room_in_bins
from truekev.scale.whole.model import pulse_of
from truekev.scale.whole.prior import held_shape

N, STEP, C0 = 900, 3, 4.0
EDGES = np.arange(20, N - 60, STEP) - 0.5
PER_FWHM = np.full(EDGES.size - 1, 6.0)
SIGMA = 6.0 / 2.355 * STEP


def by_channel(log_ratio: float = 0.0, peak: float = 4_000.0) -> np.ndarray:
    """A falling continuum and a peak at channel 500, moved in gain."""
    edges = C0 + (np.arange(N + 1) - 0.5 - C0) * np.exp(-log_ratio)
    below = -3e4 * np.exp(-edges / 150.0) + peak * ndtr((edges - 500.0) / SIGMA)
    return np.asarray(np.diff(below))


def in_bins(values: np.ndarray) -> np.ndarray:
    starts = np.rint(EDGES + 0.5).astype(int)
    return np.add.reduceat(values[: starts[-1]], starts[:-1])


def room_of(counts: np.ndarray, times: float = 1.0) -> MeasuredRoom:
    return room_in_bins(MeasuredBackground(counts, counts / times, 0.05), EDGES, C0, PER_FWHM)


@pytest.mark.parametrize("log_ratio", [-0.03, 0.01, 0.04])
def test_moved_is_the_spectrum_of_another_gain(log_ratio: float) -> None:
    found = room_of(by_channel()).moved(log_ratio)
    assert found.counted == pytest.approx(in_bins(by_channel(log_ratio)), rel=0.01, abs=1.0)
    assert found.variance.sum() == pytest.approx(found.counted.sum(), rel=0.02)


@pytest.mark.parametrize("log_ratio", [-0.01, 0.01])
def test_a_small_step_needs_no_second_move(log_ratio: float) -> None:
    """Without the step the peak's flanks differ by a fifth of its height."""
    room = room_of(by_channel()).moved(0.02)
    truth = in_bins(by_channel(0.02 + log_ratio))
    off = np.abs(room.at(0.02 + log_ratio) - truth).max()
    assert off < 0.15 * np.abs(room.expected - truth).max()


def test_slope_is_the_derivative() -> None:
    room = room_of(np.random.default_rng(1).poisson(by_channel()).astype(float))
    numerical = (room.at(0.01 + 1e-5) - room.at(0.01 - 1e-5)) / 2e-5
    held = room.at(0.01) > 0
    assert room.slope_at(0.01)[held] == pytest.approx(numerical[held], rel=1e-5, abs=1e-3)


def test_overflow_stays_where_it_is() -> None:
    counts = by_channel()
    counts[-1] = 5_000.0
    moved = MeasuredBackground(counts, counts, 0.05).at_gain(-0.05, C0)
    assert moved.counts[1:] == pytest.approx(by_channel(-0.05)[1:], rel=0.02, abs=0.6)


def test_noise_passes_for_little_slope_and_a_peak_for_its_own() -> None:
    counts = np.random.default_rng(5).poisson(by_channel()).astype(float)
    exact, found = room_of(by_channel()), room_of(counts)
    truth = (in_bins(by_channel(1e-4)) - in_bins(by_channel(-1e-4))) / 2e-4
    near = np.abs(0.5 * (EDGES[1:] + EDGES[:-1]) - 500.0) < 2 * SIGMA
    far = np.abs(0.5 * (EDGES[1:] + EDGES[:-1]) - 500.0) > 4 * SIGMA
    off, raw = found.slope_at(0.0) - truth, found._slope_of(found.counted) - truth
    assert np.abs(exact.slope_at(0.0) - truth)[near].max() < 0.15 * np.abs(truth[near]).max()
    assert (off[far] ** 2).sum() < 0.02 * (raw[far] ** 2).sum()
    assert np.abs(off[near]).max() < 0.2 * np.abs(truth[near]).max()


def test_what_is_expected_has_the_least_sum_of_squares() -> None:
    """With V diagonal each bin is alone: B = (b / S + s y' / v) / (1 / S + s^2 / v), y' the rest of the spectrum."""
    room = room_of(by_channel(), times=2.0)
    rng = np.random.default_rng(2)
    strength, own = 1.1, 3.0 * room.counted + 5.0
    rest = strength * room.counted + np.sqrt(own) * rng.standard_normal(own.size)
    weighted = (rest - strength * room.counted) / (own + strength**2 * room.variance)
    found = room.told_by(0.0, strength, weighted)
    best = (room.counted / room.variance + strength * rest / own) / (1 / room.variance + strength**2 / own)
    assert found.expected == pytest.approx(np.maximum(best, 0.0), rel=1e-9, abs=1e-9)
    assert found.beyond == pytest.approx(strength * (found.expected - room.counted))


def test_strength_and_gain_of_a_noisy_background_are_not_drawn_towards_nothing() -> None:
    """Twelve counts, shape held: fitted over true. Noise taken for structure gave 0.93, and 0.4 of the gain."""
    prior = held_shape(SHAPE, width_u=1e-4)
    strengths, gains, pulls = [], [], []
    for seed in range(12):
        true = 0.03 if seed % 2 else -0.03
        one = counted("thorium-vial", "thorium-vial", 60_000, seed, room_gain=true)
        start = start_of(one, CRYSTAL, SCATTER, pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN), 0.08)
        fit = fit_whole([start], prior, SHAPE)
        found = fit.spectra[0]
        strengths.append(found.strengths[-1])
        gains.append(found.room_gain / true)
        pulls.append((found.room_gain - true) / np.sqrt(fit.covariance[-1, -1]))
    assert np.mean(strengths) == pytest.approx(1.0, abs=0.03)
    assert np.mean(gains) > 0.5
    assert np.sqrt(np.mean(np.square(pulls))) < 1.8


def test_slices_move_their_background_to_their_own_gain() -> None:
    """Fitted moves add up to the background's true one; the wrong way round they ran from it."""
    parts = [counted("thorium-vial", "thorium-vial", 20_000, seed, room_gain=0.03) for seed in (1, 2, 3)]
    counts = [one.counts for one in parts]
    rooms = [one.background for one in parts if one.background is not None]
    background = MeasuredBackground(sum(r.counts for r in rooms), sum(r.variance for r in rooms), 0.05)  # type: ignore[arg-type]
    found = align_whole(counts, np.arange(3.0), parts[0].sample, background, CRYSTAL, SCATTER)
    assert found.room_log_ratio == pytest.approx(0.03, abs=0.012)


def test_bins_hold_the_background() -> None:
    one = counted("thorium-vial", "thorium-vial", 5_000, 1)
    assert one.background is not None
    data = merged(one.counts, one.background, pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN), 0.08)
    assert data.room is not None
    whole = np.asarray(data.edges + 0.5, dtype=int)
    assert data.room.counted.sum() == pytest.approx(one.background.counts[whole[0] : whole[-1]].sum())
    assert data.further[:, 1] == pytest.approx(data.room.expected)


def test_a_bin_that_stayed_low_moves_as_its_neighbours_do() -> None:
    counts = by_channel(peak=0.0)
    room = room_of(np.random.default_rng(3).poisson(0.02 * counts).astype(float))
    truth = in_bins(by_channel(0.01, peak=0.0)) / in_bins(counts)
    off = np.abs(room.times_at(0.01) - truth)
    assert np.median(off[room.counted > 0]) < 0.02
    assert off[: off.size // 2].max() < 0.1
    assert off.max() < 0.7
