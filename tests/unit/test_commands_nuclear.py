"""The commands lines, chain and new: what they print, and exit code 2 with one line for wrong input."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from truekev.cli.app import main


def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["truekev", *args])
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


@pytest.fixture
def source_file(tmp_path: Path) -> Path:
    from truekev.sources.template import source_template

    file = tmp_path / "rods.toml"
    file.write_text(source_template())
    return file


def test_lines(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(monkeypatch, capsys, "lines", "tl208", "--min-intensity", "0.1", "--range", "30:2700")
    assert (code, err) == (0, "")
    assert "583.1870 ± 0.0020" in out
    assert "99.7550 ± 0.0040" in out
    assert "763" not in out


def test_lines_say_when_an_isomer_is_included(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(monkeypatch, capsys, "lines", "cs137", "co60", "--min-intensity", "0.5")
    assert "The lines of Cs-137 include those of Ba-137m" in out
    assert "Co-60 include" not in out


def test_lines_of_a_word_as_json(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(monkeypatch, capsys, "lines", "thorium-vial", "--json", "--range", "2000:2700")
    assert code == 0
    entry = json.loads(out)["source_lines"][-1]
    assert entry["component"] == "Th-228 part"
    assert entry["line"]["photons_per_s"] == pytest.approx(0.3584, rel=0.005)


def test_chain(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], source_file: Path) -> None:
    code, out, err = run(monkeypatch, capsys, "chain", str(source_file), "--on", "2027-03-01")
    assert (code, err) == (0, "")
    assert "Th-228 part" in out
    assert "all that descends from Th-232" in out
    code, out, _ = run(monkeypatch, capsys, "chain", str(source_file), "--on", "2027-03-01", "--json")
    report = json.loads(out)
    assert code == 0
    assert report["on"] == "2027-03-01"
    assert report["components"][0]["activities"]["Th-232"]["unit"] == "Bq"


def test_new_source(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from truekev.sources.template import source_template

    assert run(monkeypatch, capsys, "new", "source") == (0, source_template(), "")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("lines", "Tl-209x"), "Tl-209"),
        (("lines", "Tl-208", "--range", "30-60"), "two energies"),
        (("lines", "Tl-208", "--range", "1:2:3"), "two energies"),
        (("lines", "Tl-208", "--range", "60:30"), "the first must be lower"),
        (("lines", "Tl-208", "--range", "nan:30"), "the first must be lower"),
        (("lines", "Tl-208", "--range", "3000:3300"), "no photon line"),
        (("lines", "Tl-208", "--min-intensity", "-1"), "must not be negative"),
        (("lines", "nothere.toml"), "No such file"),
        (("lines", "gas-mantle", "--on", "soon"), "a date is needed"),
        (("chain", "nothere.toml", "--on", "2027-03-01"), "No such file"),
        (("chain", "nothere.toml", "--on", "1.3.2027"), "a date is needed"),
        (("new", "sauce"), "source"),
    ],
)
def test_wrong_input(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], args: tuple[str, ...], words: str
) -> None:
    code, out, err = run(monkeypatch, capsys, *args)
    assert (code, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1
