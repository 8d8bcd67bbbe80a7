"""Compiling is announced once, and its code finds a place; progress is told past one second."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from truekev.cli.output import Progress, check_out
from truekev.compile_cache import choose_cache_folder
from truekev.errors import InputError
from truekev.job.preparing import ENGINE, SEARCH, announce_preparation, preparation_s

_ASK = "from truekev.job.preparing import SEARCH, preparation_s; print(preparation_s(SEARCH))"
_COMPILE = (
    "import numpy as np; from truekev.scale import search as s; one = np.ones(1); two = np.arange(2.0);"
    "s._scan(two, one, one, one, 0.0, one, np.ones((1, 1, 3)), 1.0, np.array([[1.0, 0.0, 0.0]]));"
)


def _said(code: str, **environment: str) -> str:
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, env={**os.environ, **environment}, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_an_empty_cache_needs_preparing_and_a_full_one_does_not(tmp_path: Path) -> None:
    cache = {"NUMBA_CACHE_DIR": str(tmp_path)}
    assert float(_said(_ASK, **cache)) == SEARCH[2]
    assert float(_said(_COMPILE + _ASK, **cache)) == 0
    assert float(_said(_ASK, **cache)) == 0


def test_both_names_are_compiled_functions() -> None:
    assert preparation_s(SEARCH, ENGINE) in (0.0, SEARCH[2], ENGINE[2], SEARCH[2] + ENGINE[2])


def test_the_announcement(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("truekev.job.preparing._is_kept", lambda function: False)
    announce_preparation(Progress(), SEARCH)
    assert capsys.readouterr().err == "  preparing, once, about 2 s\n"
    assert preparation_s(SEARCH, ENGINE) == SEARCH[2] + ENGINE[2]
    monkeypatch.setattr("truekev.job.preparing._is_kept", lambda function: True)
    announce_preparation(Progress(), SEARCH, ENGINE)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("stated", [True, False])
def test_a_cache_that_cannot_be_written_is_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stated: bool
) -> None:
    # a file where a folder should be: even the system's administrator cannot write into it
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "file" / "cache") if stated else "")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name: tmp_path / "file" / name)
    monkeypatch.setenv("MPLCONFIGDIR", "stated")  # put back afterwards; what a person stated stays
    registered: list[object] = []
    monkeypatch.setattr("atexit.register", lambda *args, **kwargs: registered.append(args))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    choose_cache_folder()
    folder = Path(os.environ["NUMBA_CACHE_DIR"])
    assert folder.parent == tmp_path
    assert os.environ["MPLCONFIGDIR"] == "stated"
    assert folder.stat().st_mode & 0o077 == 0
    assert len(registered) == 1


def test_a_cache_that_can_be_written_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "not" / "yet"))
    choose_cache_folder()
    assert os.environ["NUMBA_CACHE_DIR"] == str(tmp_path / "not" / "yet")


def test_progress(capsys: pytest.CaptureFixture[str]) -> None:
    times = iter([0.0, 0.5, 1.2, 1.9, 2.3, 2.4])
    progress = Progress(lambda: next(times))
    for share in (0.1, 0.2, 0.3, 0.4):
        progress(share, "fitting")
    assert capsys.readouterr().err == "  fitting: 20 %\n  fitting: 40 %\n"
    progress(0.0, "a long step")
    assert capsys.readouterr().err == "  a long step\n"


def test_where_a_file_can_go(tmp_path: Path) -> None:
    check_out("--out", None)
    check_out("--out", str(tmp_path / "scale.json"))
    check_out("--out", "scale.json")
    with pytest.raises(InputError, match="there is no folder"):
        check_out("--out", str(tmp_path / "nothere" / "scale.json"))
    with pytest.raises(InputError, match="this is a folder"):
        check_out("--out", str(tmp_path))
