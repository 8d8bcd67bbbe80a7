"""From calibrate over re-lock to identify on open spectra (SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md).

The same as a practitioner does it: a scale file from Eu-152 alone, re-locked on the spectrum with its source declared,
then identification without a hint of what it holds.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from studies.open_spectra import FOLDER

from truekev.job.calibrate_spectra import calibrate_files
from truekev.job.relock_spectrum import relock_file
from truekev.job.sample_count import SampleFiles
from truekev.job.what_is_it import what_is_it
from truekev.scale.energy_scale import write_scale

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")

ROOM = str(FOLDER / "background-office-1h.csv")


@pytest.mark.parametrize(
    ("name", "word", "background", "held"),
    [
        ("cs137-10min-b", "Cs-137", True, "Cs-137"),
        ("radon-progeny-10min", "radon-progeny", False, "radon progeny"),
        ("potassium-fertiliser-12min", "K-40", True, "K-40"),
    ],
)
def test_from_calibration_to_an_answer(name: str, word: str, background: bool, held: str, tmp_path: Path) -> None:
    room = ROOM if background else None
    base = tmp_path / "eu.json"
    write_scale(calibrate_files([FOLDER / "eu152-1h.csv"], ["Eu-152"]).spectra[0].scale, base)
    file = FOLDER / f"{name}.csv"
    write_scale(relock_file(file, base, sources=[word], background=room).scale, tmp_path / "now.json")
    report = what_is_it(file, SampleFiles(str(tmp_path / "now.json"), room))
    assert [answer.name for answer in report.answers if not answer.what.startswith("room")] == [held]
    assert not report.unknown
    assert report.n_candidates >= 75
    if held == "radon progeny":
        assert "do not open it" in " ".join(report.cautions).lower()
