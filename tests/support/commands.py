"""The command line as its entry point runs it, inside a folder of its own."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from truekev.cli.app import main

__all__ = ["Commands"]


@dataclass
class Commands:
    """Runs the command line as its entry point does, inside a folder of its own."""

    folder: Path
    monkeypatch: pytest.MonkeyPatch
    capsys: pytest.CaptureFixture[str]

    def __call__(self, *args: str) -> tuple[int, str, str]:
        self.monkeypatch.setattr(sys, "argv", ["truekev", *args])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = self.capsys.readouterr()
        return int(ended.value.code or 0), out, err

    def files(self) -> set[str]:
        return {str(f.relative_to(self.folder)) for f in self.folder.rglob("*")}

    def rejects(self, code: int, *args: str) -> str:
        """Run a command that must fail with `code`, one line on standard error, and nothing written."""
        before = self.files()
        found, out, err = self(*args)
        lines = [line for line in err.splitlines() if not line.startswith("  ")]  # progress is set in by two
        assert (found, out) == (code, ""), err
        assert len(lines) == 1, err
        assert lines[0].startswith("refused: " if code == 3 else "error: ")
        assert self.files() == before
        return lines[0]
