"""The bench's commands: exit codes, text and JSON, cautions that no option hides, files whole or absent."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest

from truekev.bench.settings import batch_template
from truekev.cli.app import main
from truekev.safety.cautions import cautions_for


class Commands:
    """Runs commands in a folder of their own."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._monkeypatch, self._capsys = folder, monkeypatch, capsys
        monkeypatch.chdir(folder)
        (folder / "batch.toml").write_text(batch_template())

    def __call__(self, *words: str) -> tuple[int, str, str]:
        self._monkeypatch.setattr(sys, "argv", ["truekev", *words])
        code = 0
        try:
            main()
        except SystemExit as stop:
            code = int(stop.code or 0)
        said = self._capsys.readouterr()
        return code, said.out, said.err

    def files(self) -> set[str]:
        return {path.name for path in self.folder.iterdir()}


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(tmp_path, monkeypatch, capsys)


def _squeezed(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def _shows(text: str, *steps: str) -> bool:
    return all(_squeezed(c.text) in _squeezed(text) for c in cautions_for(*steps))


def test_new_batch_prints_the_template(run: Commands) -> None:
    code, out, _ = run("new", "batch")
    assert code == 0
    assert out == batch_template()


def test_plan_in_words(run: Commands) -> None:
    code, out, _ = run("plan", "--quick", "batch.toml", "--picture", "run.png")
    assert code == 0
    assert (run.folder / "run.png").read_bytes().startswith(b"\x89PNG")
    assert out.index("Worth it") < out.index("What it takes") < out.index("Steps")
    assert _shows(out, "before", "dissolve", "setup", "lift", "run", "unattended", "settle")
    assert "Ask your authority first; reply no. ____" in _squeezed(out)


def test_plan_in_json(run: Commands) -> None:
    code, out, _ = run("plan", "--quick", "batch.toml", "--json")
    document = json.loads(out)
    assert code == 0
    assert next(iter(document)) == "opening"
    assert document["figures"]["charge_ah"]["unit"] == "Ah"
    assert document["record"]["inputs"][0]["name"] == "batch.toml"
    texts = [c["text"] for step in document["steps"] for c in step["cautions"]]
    assert all(c.text in texts for c in cautions_for("before", "dissolve", "setup", "run", "settle"))
    assert "NaN" not in out


def test_plan_backwards(run: Commands) -> None:
    code, out, _ = run("plan", "--quick", "batch.toml", "--activity", "5000", "--write", "larger.toml")
    assert code == 0
    assert "6 rods" in _squeezed(out)
    assert run("plan", "--quick", "larger.toml")[0] == 0
    code, out, _ = run("plan", "--quick", "batch.toml", "--line", "2614.5", "--rate", "500")
    assert code == 0
    assert "Tl-208" in out
    code, out, _ = run("plan", "--quick", "batch.toml", "--done-by", "2026-10-06T08:00")
    assert code == 0
    assert "To finish by 2026-10-06 08:00" in out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("plan", "none.toml"), 2, "cannot be read"),
        (("plan", "--quick", "batch.toml", "--done-by", "tomorrow"), 2, "--done-by"),
        (("plan", "--quick", "batch.toml", "--line", "2614.5"), 2, "needs both"),
        (("plan", "--quick", "batch.toml", "--done-by", "2026-10-05T11:00", "--write", "x.toml"), 3, "it cannot be"),
        (("plan", "--quick", "batch.toml", "--picture", "run.bmp"), 2, ".png"),
        (("plan", "--quick", "batch.toml", "--picture", "none/run.png"), 1, "cannot be written"),
        (("recover", "batch.toml", "--picture", "s.bmp"), 2, ".png"),
        (("note", "batch.toml", "amps=1"), 2, "not known"),
        (("follow", "batch.toml"), 2, "no reading yet"),
        (("follow", "batch.toml", "none.csv"), 2, "cannot be read"),
        (("cleanup", "batch.toml", "--dose", "50mL 30%"), 3, "outright"),
        (("cleanup", "batch.toml", "--dose", "50mL 5%", "--picture", "c.png"), 3, "can run away"),
        (("cleanup", "batch.toml", "--dose", "some"), 2, "write volume and strength"),
        (("dose", "--source", "thorium-vial"), 3, "not known"),
        (("dose", "--source", "thorium-vail", "--activity", "5"), 2, "thorium-vial"),
        (("dose", "--source", "thorium-vial", "--at", "near", "--activity", "5"), 2, "with its unit"),
        (("new", "batsch"), 2, "batch"),
    ],
)
def test_exit_codes_and_nothing_written(run: Commands, words: tuple[str, ...], code: int, says: str) -> None:
    batch = run.folder / "batch.toml"
    batch.write_text(batch.read_text().replace("_out = false", "_out = true"))
    before = run.files()
    got, _, err = run(*words)
    assert got == code
    assert says in err
    assert len(err.strip().splitlines()) == 1
    assert run.files() == before


def test_a_refused_batch(run: Commands) -> None:
    text = batch_template().replace('cover = "none"  ', 'cover = "lid"  ')
    (run.folder / "lid.toml").write_text(text)
    for words in (("plan", "--quick", "lid.toml"), ("recover", "lid.toml"), ("waste", "lid.toml")):
        code, out, err = run(*words)
        assert code == 3
        assert not out
        assert "hydrogen" in err
    assert run.files() == {"batch.toml", "lid.toml"}


def test_note_and_follow(run: Commands) -> None:
    for when, volts in (("09:30", "2.3"), ("12:00", "2.4"), ("16:00", "2.4"), ("20:00", "0.5")):
        code, out, _ = run("note", "batch.toml", "current=1.2", f"voltage={volts}", "--time", f"2026-10-05T{when}")
        assert code == 0
        assert "noted" in out
    assert len((run.folder / "batch.readings.csv").read_text().splitlines()) == 5
    code, out, _ = run("follow", "batch.toml", "--picture", "now.png")
    assert code == 0
    assert "touches the cathode" in _squeezed(out)
    assert _shows(out, "lift", "run", "unattended")
    assert (run.folder / "now.png").exists()
    document = json.loads(run("follow", "batch.toml", "--json")[1])
    assert document["standing"]["n_readings"] == 4
    assert document["standing"]["notices"][0]["urgent"]
    assert document["cautions"]


def test_note_without_a_time_is_now(run: Commands) -> None:
    code, out, _ = run("note", "batch.toml", "current=1.2", "--json")
    assert code == 0
    assert json.loads(out)["values"] == {"current": 1.2}


def test_recover_writes_the_source(run: Commands) -> None:
    code, out, _ = run("recover", "batch.toml", "--picture", "s.png")
    assert code == 0
    assert {"batch.source.toml", "s.png"} <= run.files()
    assert _shows(out, "settle", "wash", "peroxide", "dry", "seal")
    code, out, _ = run("recover", "batch.toml", "--write", "vial.toml", "--json")
    assert json.loads(out)["washing"]["n_washes"] >= 1
    (run.folder / "vial.toml").write_text("mine")
    assert run("recover", "batch.toml", "--write", "vial.toml")[0] == 2
    assert (run.folder / "vial.toml").read_text() == "mine"


def test_recover_again_once_the_oxide_is_weighed(run: Commands) -> None:
    assert run("recover", "batch.toml")[0] == 0
    first = (run.folder / "batch.source.toml").read_text()
    batch = run.folder / "batch.toml"
    batch.write_text(batch.read_text().replace("# oxide_dry_g = 0.75", "oxide_dry_g = 0.74"))
    for _ in range(2):
        code, out, _ = run("recover", "batch.toml")
        assert code == 0
        assert "97 % of what the rods held" in out
        assert "written: batch.source-2.toml" in out
    assert (run.folder / "batch.source.toml").read_text() == first
    assert "batch.source-3.toml" not in run.files()


def test_recover_of_a_run_that_is_not_over_says_so(run: Commands) -> None:
    run("note", "batch.toml", "current=1.2", "--time", "2026-10-05T09:00")
    run("note", "batch.toml", "current=1.2", "--time", "2026-10-05T21:00")
    code, out, _ = run("recover", "batch.toml")
    assert code == 0
    assert "of the planned tungsten gone: yield, activity and label are those of a run that stopped there" in (
        _squeezed(out)
    )


def test_a_sheet_of_a_batch_file_says_the_way(run: Commands) -> None:
    code, _, err = run("sheet", "batch.toml", "--which", "waste")
    assert code == 2
    assert "truekev book add batch batch.toml" in err


def test_dipped_rods_tell_their_stubs(run: Commands) -> None:
    batch = run.folder / "batch.toml"
    changed = batch.read_text().replace('holder = "basket"', 'holder = "dipped"').replace("# dipped_mm", "dipped_mm")
    batch.write_text(changed)
    out = run("plan", "--quick", "batch.toml")[1]
    assert re.search(r"stubs above the liquid\s+15\.3\d ± 0\.31 g \(3 of 60 mm\)", out)


def test_cleanup_of_an_unedited_batch_asks_for_the_basket_first(run: Commands) -> None:
    code, out, err = run("cleanup", "batch.toml")
    assert (code, out) == (3, "")
    assert "lift basket, clips and all titanium out, and set basket_out = true" in err


def test_cleanup_without_a_dose_takes_the_largest_allowed(run: Commands) -> None:
    batch = run.folder / "batch.toml"
    batch.write_text(batch.read_text().replace("_out = false", "_out = true"))
    code, out, _ = run("cleanup", "batch.toml", "--picture", "c.png")
    assert code == 0
    assert "7 mL of 5 % peroxide is allowed" in out
    assert _shows(out, "peroxide")
    assert "c.png" in run.files()
    assert json.loads(run("cleanup", "batch.toml", "--json")[1])["plan"]["heat"]["peak_degc"] <= 60


def test_waste(run: Commands) -> None:
    code, out, _ = run("waste", "batch.toml")
    assert code == 0
    assert _shows(out, "waste")
    assert "1 Bq/g" in out
    assert json.loads(run("waste", "batch.toml", "--json")[1])["ask_first"].startswith("Ask your authority first")


def test_dose(run: Commands) -> None:
    code, out, _ = run("dose", "--source", "thorium-vial", "--at", "contact", "--activity", "4000")
    assert code == 0
    assert _shows(out, "dose", "seal")
    assert "betas to skin" in out
    assert json.loads(run("dose", "--source", "Th-232", "--activity", "1000", "--json")[1])["distance_cm"] == 10
