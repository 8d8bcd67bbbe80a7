"""The frame of the studies: a run that was stopped gives the same table as one that was not."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from studies import __main__ as command
from studies.frame import ONLY_DONE, ROOT, StudyStopped, Table, Trials, commit, run_trials, write_page
from studies.kept import pack
from tests.support import study_trials

from truekev.errors import InputError
from truekev.version import __version__


def _table(trials: Trials) -> str:
    rows = tuple((str(result["number"]), f"{result['value']:.6f}") for result in trials.results)
    return Table("draws", ("number", "value"), rows).text()


def _whole(tmp_path: Path) -> str:
    return _table(run_trials("whole", study_trials.draw, n_trials=12, seed=7, workers=1, work=tmp_path))


def test_a_killed_run_goes_on_to_the_same_table(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "tests.support.study_trials", str(tmp_path)]
    run = subprocess.run(words, cwd=ROOT, capture_output=True, timeout=60, check=False)
    assert run.returncode == -signal.SIGKILL
    file = tmp_path / "killed.jsonl"
    assert len(file.read_text().splitlines()) == 5
    with file.open("a") as stream:  # as if the kill had come in the middle of a line
        stream.write('{"trial": 5, "seed": 7, "set')
    resumed = run_trials("killed", study_trials.draw, n_trials=12, seed=7, workers=1, work=tmp_path)
    assert _table(resumed) == _whole(tmp_path)
    # The five finished trials were not run again, and the broken line spoilt no later one.
    lines = file.read_text().splitlines()
    assert len(lines) == 13
    assert sum(line.startswith('{"trial": 0,') for line in lines) == 1
    again = run_trials("killed", study_trials.failing_at_two, n_trials=12, seed=7, workers=1, work=tmp_path)
    assert _table(again) == _table(resumed)


def test_two_processes_give_the_table_of_one(tmp_path: Path) -> None:
    two = run_trials("two", study_trials.draw, n_trials=12, seed=7, workers=2, work=tmp_path)
    assert _table(two) == _whole(tmp_path)


def test_ctrl_c_keeps_what_is_done(tmp_path: Path) -> None:
    with pytest.raises(StudyStopped, match="4 of 12 trials done"):
        run_trials("stop", study_trials.interrupted_at_four, n_trials=12, seed=7, workers=1, work=tmp_path)
    assert len((tmp_path / "stop.jsonl").read_text().splitlines()) == 4
    resumed = run_trials("stop", study_trials.draw, n_trials=12, seed=7, workers=1, work=tmp_path)
    assert _table(resumed) == _whole(tmp_path)


def test_a_page_of_the_trials_that_are_done(tmp_path: Path) -> None:
    with pytest.raises(StudyStopped):
        run_trials("part", study_trials.interrupted_at_four, n_trials=12, seed=7, workers=1, work=tmp_path)
    token = ONLY_DONE.set(True)
    try:
        trials = run_trials("part", study_trials.draw, n_trials=12, seed=7, workers=1, work=tmp_path)
        with pytest.raises(InputError, match="no trial is done yet"):
            run_trials("none", study_trials.draw, n_trials=12, seed=7, workers=1, work=tmp_path)
    finally:
        ONLY_DONE.reset(token)
    assert (len(trials.results), trials.n_wanted) == (4, 12)
    page = write_page(trials, title="T", question="Q", tables=[], answer="A", pages=tmp_path).read_text()
    assert "trials: 4 of 12; the command goes on from there" in page


@pytest.mark.parametrize("workers", [1, 2])
def test_a_failing_trial_is_not_hidden(tmp_path: Path, workers: int) -> None:
    with pytest.raises(ValueError, match="trial 2 failed"):
        run_trials("fail", study_trials.failing_at_two, n_trials=6, seed=7, workers=workers, work=tmp_path)


def test_another_seed_or_setting_counts_nothing_done(tmp_path: Path) -> None:
    one = run_trials("same", study_trials.draw, n_trials=3, seed=1, workers=1, work=tmp_path)
    two = run_trials("same", study_trials.draw, n_trials=3, seed=2, workers=1, work=tmp_path)
    assert _table(one) != _table(two)
    run_trials("same", study_trials.draw, n_trials=3, seed=1, settings="wider", workers=1, work=tmp_path)
    entries = [json.loads(line) for line in (tmp_path / "same.jsonl").read_text().splitlines()]
    assert [(e["seed"], e["settings"]) for e in entries[::3]] == [(1, ""), (2, ""), (1, "wider")]
    longer = run_trials("same", study_trials.draw, n_trials=5, seed=1, workers=1, work=tmp_path)
    assert longer.results[:3] == one.results


def test_the_page_carries_its_facts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    trials = run_trials("page", study_trials.draw, n_trials=2, seed=3, workers=1, work=tmp_path)
    table = Table("Draws", ("number", "value"), (("0", "1.5"), ("1", "-2.25")))
    page = write_page(
        trials,
        title="A page",
        question="What?",
        tables=[table],
        answer="This.",
        now=datetime(2026, 11, 25, 12, tzinfo=UTC),
        pages=tmp_path / "pages",
    )
    text = page.read_text()
    for fact in (
        "# A page",
        "| 1 | -2.25 |",
        "python -m studies page",
        "seed: 3; trials: 2",
        "2026-11-25",
        f"commit: {trials.commits[0]}",
        f"truekev {__version__}",
    ):
        assert fact in text
    printed = capsys.readouterr().out.splitlines()
    assert printed[:4] == ["Draws", "number  value", "0       1.5", "1       -2.25"]


def test_commit_outside_git_is_unknown(tmp_path: Path) -> None:
    assert commit(tmp_path) == "unknown"


def test_the_command_lists_runs_and_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "one.py").write_text('"""First study."""\n\ndef main() -> None: ...\n')
    (tmp_path / "frame.py").write_text('"""Not a study."""\n\ndef main() -> None: ...\n')
    (tmp_path / "part.py").write_text('"""No main here."""\n')
    assert command.studies(tmp_path) == {"one": "First study."}
    assert command.main(["--list"]) == 0
    assert "simulated_against_measured: " in capsys.readouterr().out
    assert command.main(["simulated_against_measurd"]) == 2
    assert "did you mean simulated_against_measured" in capsys.readouterr().err

    class _Study:
        ran = 0

        @classmethod
        def main(cls) -> None:
            cls.ran += 1
            if cls.ran == 2:
                raise StudyStopped("stopped")

    monkeypatch.setattr(command, "import_module", lambda name: _Study)
    assert command.main(["simulated_against_measured"]) == 0
    assert command.main(["simulated_against_measured"]) == 130


def test_another_checkout_goes_on_from_packed_trials(tmp_path: Path) -> None:
    first, second = tmp_path / "first" / "work", tmp_path / "second" / "work"
    with pytest.raises(InputError, match="no trial is done yet"):
        pack(first, "part")
    with pytest.raises(StudyStopped):
        run_trials("part", study_trials.interrupted_at_four, n_trials=12, seed=7, workers=1, work=first)
    packed = pack(first, "part")
    assert packed == first.parent / "studies" / "trials" / "part.jsonl.xz"
    there = second.parent / "studies" / "trials" / packed.name
    there.parent.mkdir(parents=True)
    there.write_bytes(packed.read_bytes())
    run_trials("part", study_trials.draw, n_trials=12, seed=7, workers=1, work=second)
    assert len((second / "part.jsonl").read_text().splitlines()) == 8
    assert pack(second, "part") == there
    # Once packed whole, nothing is left to run; trials of other settings do not count.
    again = run_trials("part", study_trials.failing_at_two, n_trials=12, seed=7, workers=1, work=second)
    assert _table(again) == _whole(tmp_path)
    with pytest.raises(StudyStopped, match="4 of 12"):
        run_trials(
            "part", study_trials.interrupted_at_four, n_trials=12, seed=7, workers=1, work=second, settings="other"
        )
