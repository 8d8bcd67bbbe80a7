"""The demo's spectra: rebuilt byte for byte, said to be invented, and wrong at the ends as intended."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.truth import is_available
from tools import build_demo_spectrum as builder

from truekev.tables.loader import provenance, table_bytes, table_rows

NAMES = ("demo_rods.csv", "demo_background.csv", "demo_rods_later.csv", "demo_true_peaks.csv")


def _counts(name: str) -> np.ndarray:
    return np.array([int(row["counts"]) for row in table_rows(name)])


def _claimed_kev_per_channel(name: str) -> float:
    (line,) = [line for line in table_bytes(name).decode().splitlines() if "as-found energy scale" in line]
    return float(line.split("+")[1].removesuffix("ch"))


@pytest.mark.skipif(not is_available(), reason="the shared reference tables (../shared) are not here")
def test_files_are_what_the_builder_makes() -> None:
    files = builder.demo_files()
    assert set(files) == set(NAMES)
    for name in NAMES:
        assert files[name][0].encode() == table_bytes(name), name


@pytest.mark.parametrize("name", NAMES)
def test_files_say_that_they_are_invented(name: str) -> None:
    assert b"invented data, simulated" in table_bytes(name)
    assert "invented" in provenance(name).citation


def test_counts_and_channels() -> None:
    assert [_counts(name).size for name in NAMES[:3]] == [1024, 1024, 1024]
    assert 200_000 < _counts("demo_rods.csv").sum() < 240_000
    assert 3_700 < _counts("demo_rods_later.csv").sum() < 4_300


def test_claimed_scale_is_right_at_662_and_wrong_at_the_ends() -> None:
    slope = _claimed_kev_per_channel("demo_rods.csv")
    read = {float(row["energy_kev"]): slope * float(row["channel"]) for row in table_rows("demo_true_peaks.csv")}
    assert read[661.655] == pytest.approx(661.655, abs=0.1)
    assert read[59.541] > 1.05 * 59.541
    assert read[2614.511] < 0.98 * 2614.511


def test_peaks_stand_where_the_file_says() -> None:
    counts = _counts("demo_rods.csv").astype(float)
    smooth = np.convolve(counts, np.ones(7) / 7, mode="same")
    places = {float(row["energy_kev"]): float(row["channel"]) for row in table_rows("demo_true_peaks.csv")}
    for energy_kev, reach in ((238.632, 6), (583.187, 8), (2614.511, 20)):
        channel = places[energy_kev]
        near = np.arange(round(channel) - 2 * reach, round(channel) + 2 * reach + 1)
        assert abs(near[np.argmax(smooth[near])] - channel) <= 0.6 * reach


def test_later_gain_is_higher_by_its_factor() -> None:
    rows = [row for row in table_rows("demo_true_peaks.csv") if float(row["energy_kev"]) > 200]
    first, second = (np.array([float(row[key]) for row in rows]) for key in ("channel", "channel_later"))
    slope = np.polyfit(first, second, 1)[0]
    assert slope == pytest.approx(builder.LATER_GAIN, abs=1e-4)
