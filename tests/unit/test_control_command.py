"""Control charts from invented counts of one source: gain, resolution and strength, and what has changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.support.made_samples import made_count, sample_scale

from truekev.errors import InputError, RefusedError
from truekev.job.control_charts import control_charts
from truekev.samples.control import Reading
from truekev.scale.energy_scale import write_scale
from truekev.spectra.write import write_spectrum

START = datetime(2026, 1, 5, 9, tzinfo=UTC)
# Cs-137: 30.05 a (DDEP), so it falls by 0.63 permille in ten days
PER_DAY = np.log(2) / (30.05 * 365.25)


def _files(folder: Path, gains: list[float], strengths: list[float]) -> list[str]:
    rng = np.random.default_rng(3)
    write_scale(sample_scale(), folder / "scale.json")
    write_spectrum(made_count({}, 3600.0, rng), folder / "room.csv")
    names = []
    for i, (gain, strength) in enumerate(zip(gains, strengths, strict=True)):
        bq = strength * np.exp(-PER_DAY * 30 * i)
        count = made_count({"Cs-137": bq}, 600.0, rng, gain=gain)
        write_spectrum(replace(count, start=START + timedelta(days=30 * i)), folder / f"c{i:02}.csv")
        names.append(str(folder / f"c{i:02}.csv"))
    return names


def _charts(folder: Path, files: list[str], n_first: int) -> tuple[tuple[Reading, ...], str, tuple[str, ...]]:
    found = control_charts(
        files, str(folder / "scale.json"), "Cs-137", background=str(folder / "room.csv"), n_first=n_first
    )
    charts = found.report.charts
    return found.readings, charts.verdict, (charts.gain.verdict, charts.resolution.verdict, charts.strength.verdict)


def test_a_gain_that_moved_is_seen_and_nothing_else(tmp_path: Path) -> None:
    jitter = 1 + 0.002 * np.random.default_rng(5).standard_normal(9)
    files = _files(tmp_path, [*jitter[:8].tolist(), 1.03], [200_000.0] * 9)
    readings, verdict, each = _charts(tmp_path, files, 8)
    assert verdict == "changed"
    assert each[0] == "changed"
    assert each[2] == "unchanged"
    assert readings[-1].gain.value / readings[0].gain.value == pytest.approx(1.03 / jitter[0], abs=0.006)
    assert readings[0].resolution.value == pytest.approx(sample_scale().fwhm_662, rel=0.06)


def test_a_source_that_was_moved_is_seen_in_its_strength(tmp_path: Path) -> None:
    files = _files(tmp_path, [1.0] * 8, [200_000.0] * 7 + [170_000.0])
    _, verdict, each = _charts(tmp_path, files, 7)
    assert verdict == "changed"
    assert each[2] == "changed"


def test_decay_alone_is_no_change(tmp_path: Path) -> None:
    files = _files(tmp_path, [1.0] * 8, [200_000.0] * 8)
    _, verdict, _ = _charts(tmp_path, files[::-1], 7)
    assert verdict in ("unchanged", "look again")


def test_what_cannot_be_charted_is_refused(tmp_path: Path) -> None:
    files = _files(tmp_path, [1.0] * 3, [200_000.0] * 3)
    with pytest.raises(RefusedError, match="at least 5"):
        _charts(tmp_path, files, 3)
    with pytest.raises(InputError, match="--scale is missing"):
        control_charts(files, None, "Cs-137")
    bare = tmp_path / "bare.csv"
    write_spectrum(made_count({"Cs-137": 1e5}, 600.0, np.random.default_rng(1)), bare)
    with pytest.raises(RefusedError, match="does not say when"):
        control_charts([bare], str(tmp_path / "scale.json"), "Cs-137")
