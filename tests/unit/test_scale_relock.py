"""Re-lock: the gain comes back with an honest uncertainty, and what the shape does not know stays unknown."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from truekev.errors import RefusedError
from truekev.job.counted import Counted, count_of, read_background
from truekev.scale.calibrate import calibrate
from truekev.scale.crystal import crystal_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.relock import Relock, relock
from truekev.tables.loader import table_bytes, table_rows
from truekev.transport.detector import DEFAULT_DETECTOR

ENERGIES = np.array([60.0, 239.0, 583.0, 911.0, 2614.5])
NOT_GAIN = [0, *range(2, 12)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("demo")
    for name in ("demo_rods.csv", "demo_background.csv", "demo_rods_later.csv"):
        (place / name).write_bytes(table_bytes(name))
    return place


@pytest.fixture(scope="module")
def rods(folder: Path) -> Counted:
    room = read_background(folder / "demo_background.csv")
    return count_of(folder / "demo_rods.csv", ["thoriated-rods"], DEFAULT_DETECTOR, room)


@pytest.fixture(scope="module")
def scale(rods: Counted) -> EnergyScale:
    return calibrate([rods.counted], crystal_of(DEFAULT_DETECTOR)).scales[0]


@pytest.fixture(scope="module")
def later(folder: Path, scale: EnergyScale) -> Relock:
    room = read_background(folder / "demo_background.csv")
    counted = count_of(folder / "demo_rods_later.csv", ["thoriated-rods"], DEFAULT_DETECTOR, room).counted
    return relock(counted, scale, crystal_of(DEFAULT_DETECTOR))


def _true_ratio() -> float:
    rows = [row for row in table_rows("demo_true_peaks.csv") if float(row["energy_kev"]) > 200]
    first, second = (np.array([float(row[key]) for row in rows]) for key in ("channel", "channel_later"))
    return float(np.polyfit(first, second, 1)[0])


def test_the_gain_comes_back(later: Relock) -> None:
    assert later.gain_ratio.value == pytest.approx(_true_ratio(), abs=0.01)
    assert abs(later.gain_ratio.value - _true_ratio()) < 3 * later.gain_ratio.u
    assert later.gain_ratio.u < 0.02
    assert later.scale.method == "re-lock"
    assert later.scale.groups


def test_lines_of_the_later_spectrum_read_right(later: Relock) -> None:
    for row in table_rows("demo_true_peaks.csv"):
        energy = float(row["energy_kev"])
        if energy > 200:
            assert later.scale.at(float(row["channel_later"])).value == pytest.approx(energy, rel=0.015)


def test_only_the_gain_moves(scale: EnergyScale, later: Relock) -> None:
    old, new = scale.pulse, later.scale.pulse
    assert new.gain == pytest.approx(old.gain * later.gain_ratio.value)
    assert replace(new, gain=old.gain) == old
    kept = np.ix_(NOT_GAIN, NOT_GAIN)
    np.testing.assert_allclose(later.scale.covariance[kept], scale.covariance[kept], rtol=1e-12)


def test_covariance_is_one(scale: EnergyScale, later: Relock) -> None:
    for one in (scale, later.scale):
        np.testing.assert_allclose(one.covariance, one.covariance.T, rtol=1e-9, atol=1e-15)
        assert np.linalg.eigvalsh(one.covariance).min() > -1e-12 * np.trace(one.covariance)


def test_a_weak_spectrum_does_not_sharpen_the_scale(scale: EnergyScale, later: Relock) -> None:
    before = scale.u_energy_kev(ENERGIES) / ENERGIES
    after = later.scale.u_energy_kev(ENERGIES) / ENERGIES
    assert np.all(after > 0.5 * before)
    assert np.all(after < 0.05)


def test_the_same_spectrum_moves_nothing(rods: Counted, scale: EnergyScale) -> None:
    again = relock(rods.counted, scale, crystal_of(DEFAULT_DETECTOR))
    assert again.gain_ratio.value == pytest.approx(1.0, abs=0.004)
    np.testing.assert_allclose(again.scale.channel(ENERGIES), scale.channel(ENERGIES), rtol=0.005)


@pytest.mark.parametrize("moved", [0.8, 1.25])
def test_a_gain_far_away_is_found(rods: Counted, scale: EnergyScale, moved: float) -> None:
    # the scale is moved instead of the spectrum
    off = scale.with_gain(1 / moved, scale.covariance)
    off = replace(off, pulse=replace(off.pulse, c0=off.pulse.c0 / moved))
    again = relock(rods.counted, off, crystal_of(DEFAULT_DETECTOR))
    assert again.gain_ratio.value == pytest.approx(moved, rel=0.01)


def test_more_counts_know_the_gain_better(rods: Counted, scale: EnergyScale) -> None:
    rng = np.random.default_rng(8)
    counted = replace(rods.counted, background=None)
    us = []
    for share in (0.03, 0.3):
        thin = replace(counted, counts=rng.binomial(counted.counts.astype(int), share).astype(float))
        us.append(relock(thin, scale, crystal_of(DEFAULT_DETECTOR)).gain_ratio.u)
    assert us[1] < us[0]


def test_other_channels_are_refused(rods: Counted, scale: EnergyScale) -> None:
    half = replace(rods.counted, counts=rods.counted.counts.reshape(-1, 2).sum(axis=1), background=None)
    with pytest.raises(RefusedError, match="512 channels, the scale belongs to 1024"):
        relock(half, scale, crystal_of(DEFAULT_DETECTOR))


@pytest.mark.parametrize("word", ["Cs-137", "Eu-152"])
def test_another_source_is_refused(folder: Path, scale: EnergyScale, word: str) -> None:
    wrong = count_of(folder / "demo_rods.csv", [word], DEFAULT_DETECTOR).counted
    with pytest.raises(RefusedError) as refusal:
        relock(wrong, scale, crystal_of(DEFAULT_DETECTOR))
    assert word in str(refusal.value)


def test_noise_is_refused(rods: Counted, scale: EnergyScale) -> None:
    flat = np.random.default_rng(9).poisson(20.0, 1024).astype(float)
    with pytest.raises(RefusedError):
        relock(replace(rods.counted, counts=flat, background=None), scale, crystal_of(DEFAULT_DETECTOR))
