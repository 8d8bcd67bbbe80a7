"""The open spectra (SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md) read as their documentation says.

Times are those of the files' own comment lines; channels, scale and the overflowing last channel those of SOURCES.md.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from truekev.spectra import read_spectrum, write_spectrum
from truekev.spectra.redistribution import why_rebinned

FOLDER = Path(__file__).parents[3] / "shared" / "open-spectra"
COUNTING_TIME_S = {
    "am241-10min": 633,
    "am241-1h": 3648,
    "background-office-1h": 4333,
    "background-office-20min": 1255,
    "cs137-10min-a": 730,
    "cs137-10min-b": 625,
    "cs137-10min-c": 621,
    "cs137-1h": 3682,
    "eu152-10min": 653,
    "eu152-1h": 3645,
    "potassium-fertiliser-12min": 704,
    "radon-progeny-10min": 630,
    "radon-progeny-1h": 3853,
    "thorium-bearing-norm-10min": 637,
    "thorium-bearing-norm-1h": 3925,
    "thorium-bearing-norm-2h": 7245,
}

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")


def test_every_open_spectrum_is_listed() -> None:
    assert {f.stem for f in FOLDER.glob("*.csv")} == set(COUNTING_TIME_S)


@pytest.mark.parametrize("name", COUNTING_TIME_S)
def test_an_open_spectrum_reads(name: str) -> None:
    spectrum = read_spectrum(FOLDER / f"{name}.csv")
    assert spectrum.n_channels == 256
    assert spectrum.counting_time_s == COUNTING_TIME_S[name]
    assert spectrum.live_time_s is None
    assert spectrum.real_time_s is None
    assert spectrum.claimed_scale is not None
    assert spectrum.claimed_scale.coefficients_kev == (1.906077, 9.459420, 0.00813342)
    assert np.all(spectrum.counts[:2] == 0)
    assert spectrum.counts[2] > 0
    assert spectrum.last_channel_stands_out
    assert spectrum.overflow == 0
    assert not spectrum.rebinned
    assert spectrum.detector.startswith("CsI(Tl) cube 10 x 10 x 10 mm")


def test_published_totals() -> None:
    # SOURCES.md: the office background has 27,605 counts, the fertiliser 5,338
    assert read_spectrum(FOLDER / "background-office-1h.csv").counts.sum() == 27605
    assert read_spectrum(FOLDER / "potassium-fertiliser-12min.csv").counts.sum() == 5338


@pytest.mark.parametrize("name", COUNTING_TIME_S)
@pytest.mark.parametrize("ending", ["n42", "csv"])
def test_an_open_spectrum_written_reads_back(tmp_path: Path, name: str, ending: str) -> None:
    spectrum = read_spectrum(FOLDER / f"{name}.csv")
    back = read_spectrum(write_spectrum(spectrum, tmp_path / f"copy.{ending}"))
    assert replace(back, file=spectrum.file, sha256=spectrum.sha256) == spectrum


@pytest.mark.parametrize("name", COUNTING_TIME_S)
def test_measured_counts_prove_no_redistribution(name: str) -> None:
    assert why_rebinned(read_spectrum(FOLDER / f"{name}.csv").counts) == ""


@pytest.mark.parametrize("width", [1 / 3, 0.61, 0.9, 1.3, 1.7])
def test_whole_channels_moved_to_another_axis_are_found_out(width: float) -> None:
    # each channel goes whole to the new one, `width` old ones wide, that holds its middle; spectra with enough counts
    found = []
    for name in COUNTING_TIME_S:
        counts = read_spectrum(FOLDER / f"{name}.csv").counts
        if np.count_nonzero(counts >= 60) >= 60:
            target = np.floor((np.arange(counts.size) + 0.5) / width).astype(int)
            found.append(bool(why_rebinned(np.bincount(target, weights=counts))))
    assert len(found) == 10
    assert sum(found) >= 9
