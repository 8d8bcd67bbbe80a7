"""The commands identify, assay, characterise, control and new sample: what they print, and what they refuse."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from tests.support.made_samples import N_CHANNELS, made_count, sample_scale

from truekev.cli.app import main
from truekev.samples.sample_file import read_sample, sample_template
from truekev.scale.energy_scale import write_scale
from truekev.spectra.spectrum import ClaimedScale
from truekev.spectra.write import write_spectrum


class Shell:
    """Runs the command line in a folder with a scale, a room and a count of 20 kBq Cs-137."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self.monkeypatch, self.capsys = folder, monkeypatch, capsys
        rng = np.random.default_rng(21)
        write_scale(sample_scale(), folder / "scale.json")
        start = datetime(2026, 3, 1, tzinfo=UTC)
        write_spectrum(replace(made_count({}, 3600.0, rng), start=start), folder / "room.csv")
        self.count = replace(made_count({"Cs-137": 20_000.0}, 1800.0, rng), start=start)
        write_spectrum(self.count, folder / "count.csv")
        (folder / "point.toml").write_text('name = "check source"\ndistance_mm = 100.0\n[body]\nform = "point"\n')

    def __call__(self, *args: str) -> tuple[int, str, str]:
        self.monkeypatch.chdir(self.folder)
        self.monkeypatch.setattr(sys, "argv", ["truekev", *args])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = self.capsys.readouterr()
        return int(ended.value.code or 0), out, err

    def rejects(self, code: int, *args: str) -> str:
        found, out, err = self(*args)
        lines = [line for line in err.splitlines() if not line.startswith("  ")]
        assert (found, out) == (code, ""), err
        assert len(lines) == 1
        return lines[0]


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(tmp_path, monkeypatch, capsys)


COMMON = ("--scale", "scale.json", "--background", "room.csv")


def test_identify_prints_what_it_recognised(shell: Shell) -> None:
    code, out, _ = shell("identify", "count.csv", *COMMON)
    assert code == 0
    assert "recognised: Cs-137" in out
    assert "662 keV" in out
    assert "not recognised: K-40 (limit" in out
    code, out, _ = shell("identify", "count.csv", *COMMON, "--json")
    answers = json.loads(out)["answers"]
    assert [a["name"] for a in answers if a["words"] == "recognised"] == ["Cs-137"]
    assert abs(answers[0]["activity"]["value"] - 20_000) < 3 * answers[0]["activity"]["u"]


def test_identify_reads_a_folder(shell: Shell) -> None:
    (shell.folder / "many").mkdir()
    for name in ("a.csv", "b.csv"):
        write_spectrum(shell.count, shell.folder / "many" / name)
    (shell.folder / "many" / "c.csv").write_text("no spectrum\n")
    code, out, _ = shell("identify", "many", *COMMON)
    assert code == 0
    lines = out.splitlines()
    assert [line.endswith(": Cs-137") for line in lines[:2]] == [True, True]
    assert lines[2].startswith("not read: ")


def test_assay_gives_limits_budget_and_time(shell: Shell) -> None:
    code, out, _ = shell("assay", "count.csv", *COMMON, "--sample", "point.toml", "--plan", "3000")
    assert code == 0
    for words in ("decision threshold", "detection limit", "best estimate", "coverage limits, 95 %", "distance"):
        assert words in out
    assert "count for" in out
    code, out, _ = shell("assay", "count.csv", *COMMON, "--sample", "point.toml", "--nuclide", "Co-60", "--json")
    (one,) = json.loads(out)["assayed"]
    assert one["name"] == "Co-60"
    assert not one["limits"]["recognised"]
    assert one["limits"]["decision_threshold"] < one["limits"]["detection_limit"]


def test_assay_tells_the_place_of_a_known_source(shell: Shell) -> None:
    code, out, _ = shell("assay", "count.csv", *COMMON, "--sample", "point.toml", "--known", "Cs-137:25kBq", "--json")
    assert code == 0
    place = json.loads(out)["place"]
    # a fifth less than known: about a tenth further away, seen from the crystal's middle at 105 mm
    assert place["extra_distance_mm"]["value"] == pytest.approx(12.5, abs=5.0)


def test_new_sample_reads_back(shell: Shell) -> None:
    code, out, _ = shell("new", "sample")
    assert code == 0
    assert out == sample_template()
    (shell.folder / "new.toml").write_text(out)
    sample = read_sample(shell.folder / "new.toml")
    assert sample.form == "cylinder"
    # 180 g in a cylinder of 60 mm by 50 mm
    assert sample.matter is not None
    assert sample.matter.density_g_cm3 == pytest.approx(180 / (np.pi / 4 * 6.0**2 * 5.0), rel=1e-6)


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ("mass_g = 900.0", "more than solid soil has"),
        ("density_g_cm3 = 9.0", "more than solid soil has"),
        ("mass_g = -1.0", "-1.0 was given"),
        ('material = "unobtainium"', "is not known"),
        ('formula = "CaCO3"', "needs density_g_cm3"),
        ('wall_material = "cardboard box"\nwall_mm = 1.0', "cardboard box"),
        ("colour = 3", "this key is not known"),
    ],
)
def test_a_sample_that_cannot_be_is_refused(shell: Shell, lines: str, says: str) -> None:
    text = (
        f'name = "jar"\ndistance_mm = 0.0\n[body]\nform = "cylinder"\ndiameter_mm = 60.0\nheight_mm = 50.0\n{lines}\n'
    )
    (shell.folder / "jar.toml").write_text(text)
    message = shell.rejects(2, "assay", "count.csv", *COMMON, "--sample", "jar.toml")
    assert "jar.toml" in message
    assert says in message


def test_without_a_scale_nothing_is_said(shell: Shell) -> None:
    for command in ("identify", "assay", "characterise"):
        assert "--scale is missing" in shell.rejects(2, command, "count.csv")


def test_a_missing_time_is_said(shell: Shell) -> None:
    write_spectrum(replace(shell.count, live_time_s=None), shell.folder / "timeless.csv")
    assert "no counting time" in shell.rejects(2, "identify", "timeless.csv", *COMMON)


def test_a_negative_time_is_said(shell: Shell) -> None:
    text = (shell.folder / "count.csv").read_text()
    (shell.folder / "negative.csv").write_text(text.replace("1800", "-1800"))
    message = shell.rejects(2, "identify", "negative.csv", *COMMON)
    assert "-1800" in message


def test_more_live_than_real_time_cannot_be(shell: Shell) -> None:
    write_spectrum(replace(shell.count, real_time_s=900.0), shell.folder / "odd.n42")
    assert "cannot be" in shell.rejects(2, "identify", "odd.n42", *COMMON)


def test_too_much_dead_time_is_refused(shell: Shell) -> None:
    write_spectrum(replace(shell.count, real_time_s=3600.0), shell.folder / "dead.n42")
    assert "dead for 50 %" in shell.rejects(3, "identify", "dead.n42", *COMMON)


def test_another_number_of_channels_is_said(shell: Shell) -> None:
    write_spectrum(replace(shell.count, counts=shell.count.counts[: N_CHANNELS // 2]), shell.folder / "half.csv")
    assert "256 channels" in shell.rejects(2, "identify", "half.csv", *COMMON)


def test_a_background_of_another_gain_is_relocked_and_said(shell: Shell) -> None:
    rng = np.random.default_rng(4)
    moved = sample_scale().with_gain(1.06, sample_scale().covariance)
    write_scale(moved, shell.folder / "room.json")
    write_spectrum(made_count({}, 3600.0, rng, gain=1.06), shell.folder / "moved.csv")
    files = ("--scale", "scale.json", "--background", "moved.csv")
    code, out, _ = shell("identify", "count.csv", *files, "--background-scale", "room.json")
    assert code == 0
    assert "re-locked by its own scale, as its gain differs by +6.0 %" in " ".join(out.split())
    assert "recognised: Cs-137" in out
    # the same from what the files claim
    for name, gain in (("count", 1.0), ("moved", 1.06)):
        old = shell.count if name == "count" else made_count({}, 3600.0, rng, gain=1.06)
        claimed = replace(old, claimed_scale=ClaimedScale((0.0, 6.0 / gain)))
        write_spectrum(claimed, shell.folder / f"{name}.n42")
    code, out, _ = shell("identify", "count.n42", "--scale", "scale.json", "--background", "moved.n42")
    assert code == 0
    assert "re-locked, as the scale in its file differs" in " ".join(out.split())


def test_characterise_and_control_refuse_what_they_cannot_read(shell: Shell) -> None:
    assert "is needed" in shell.rejects(2, "characterise", "count.csv", *COMMON, "--separated", "last week")
    assert "--oxide-mass" in shell.rejects(2, "characterise", "count.csv", *COMMON, "--oxide-mass", "two")
    assert "at least 5" in shell.rejects(3, "control", "count.csv", "--source", "Cs-137", *COMMON)
