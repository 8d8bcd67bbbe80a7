"""The command limits: what it prints and decides, plans, and exit codes with one line for wrong input."""

from __future__ import annotations

import json
import sys

import pytest

from truekev.cli.app import main


def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: str) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["truekev", "limits", *words.split()])
    with pytest.raises(SystemExit) as ended:
        main()
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err


def test_enough_counts(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    words = "--gross 1000 --background 800 --time 1h --factor 50 --u-factor 2.5 --unit Bq"
    code, out, err = run(monkeypatch, capsys, words)
    assert (code, err) == (0, "")
    assert out.startswith("recognised: 2.78 ± 0.61 Bq\ndecided by: ISO 11929-1")
    for value in ("0.9138 Bq", "1.878 Bq", "1.591 to 3.964 Bq"):
        assert value in out
    assert "exact" not in out


def test_few_counts_are_decided_exactly_with_both_values(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four gross counts beside none: above the threshold of the norm, which is 0, and no evidence at 5 %."""
    code, out, _ = run(monkeypatch, capsys, "--gross 4 --background 0 --time 60 --json")
    found = json.loads(out)
    assert code == 0
    assert found["decided_by"] == "exact test of few counts"
    assert (found["recognised"], found["limits"]["recognised"]) == (False, True)
    assert found["exact"]["smallest_recognised_gross"] == 5
    assert found["exact_decision_threshold"] == pytest.approx(4 / 60)
    assert found["exact_detection_limit"] == pytest.approx(9.1535 / 60, rel=1e-4)
    assert found["limits"]["detection_limit"] is None
    assert found["record"]["settings"]["counts"]["n_gross"] == 4
    code, out, _ = run(monkeypatch, capsys, "--gross 4 --background 0 --time 60")
    assert "not recognised (detection limit 0.153 1/s)" in out
    assert "5 gross counts or more" in out


def test_a_long_background_and_an_uncertain_factor(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words = "--gross 60 --background 4000 --time 10min --background-time 20h --factor 2 --u-factor 0.5 --unit Bq"
    code, out, _ = run(monkeypatch, capsys, words)
    assert code == 0
    assert "decided by: exact test" in out
    assert "known to 25 % only" in out


def test_a_hopeless_factor_is_told_and_the_rest_still_given(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(monkeypatch, capsys, "--gross 9 --background 3 --time 60 --factor 2 --u-factor 1.5")
    assert code == 0
    assert "no detection limit" in out
    assert "best estimate" in out


def test_plan(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    words = "--background 800 --background-time 1h --factor 50 --unit Bq --plan 0.5"
    code, out, _ = run(monkeypatch, capsys, words)
    assert code == 0
    assert out.startswith("count the sample for 13.5 h, and the background as long (27 h in all)")
    code, out, _ = run(monkeypatch, capsys, words + " --json")
    assert json.loads(out)["plan"]["detection_limit"] <= 0.5
    code, out, err = run(monkeypatch, capsys, words + " --keep-background")
    assert (code, out) == (3, "")
    assert err.startswith("refused: a detection limit of 0.5 Bq is out of reach")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ("--background 8 --time 10", "--gross is missing"),
        ("--background 8 --gross 10", "--time is missing"),
        ("--background 8 --gross 10 --time soon", "it is not a time"),
        ("--background 8 --gross 10 --time 5ly", "not a unit of time"),
        ("--background -8 --gross 10 --time 10", "background counts -8"),
        ("--background 8 --gross 10 --time 0", "gross counting time"),
        ("--background 8 --gross 10 --time 10 --factor -1", "calibration factor -1"),
        ("--background 8 --gross 10 --time 10 --u-factor -1", "not negative"),
        ("--background 8 --gross 10 --time 10 --alpha 0.7", "alpha 0.7"),
        ("--background 8 --gross 10 --time 10 --coverage 1", "coverage probability 1.0"),
        ("--background 8 --gross 10 --time 10 --plan 1", "leave out --gross"),
        ("--background 0 --background-time 10 --plan 1", "at least one count"),
        ("--background 8 --background-time 10 --plan -1", "wanted detection limit -1"),
    ],
)
def test_wrong_input(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: str, complaint: str
) -> None:
    code, out, err = run(monkeypatch, capsys, words)
    assert (code, out) == (2, "")
    assert complaint in err
    assert err.count("\n") == 1
