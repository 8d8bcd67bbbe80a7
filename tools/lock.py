"""Writes requirements/run.lock and requirements/test.lock: every package with its exact version.

Each lock is what pip resolves in a fresh environment: run.lock from pyproject.toml alone, test.lock
from requirements/test.in on top of it. Run by `make lock`.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def _frozen(python: Path) -> list[str]:
    """Names and versions of what is installed there, sorted."""
    listed = subprocess.run([python, "-m", "pip", "freeze"], check=True, capture_output=True, text=True).stdout
    return sorted(line for line in listed.splitlines() if "==" in line)


def main() -> None:
    """Resolve in a fresh environment and write both lock files."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / "bin" / "python"
        subprocess.run([python, "-m", "pip", "install", "-q", *project["dependencies"], "hatchling"], check=True)
        run = _frozen(python)
        subprocess.run([python, "-m", "pip", "install", "-q", "-r", ROOT / "requirements" / "test.in"], check=True)
        both = _frozen(python)
    head = f"# Written by tools/lock.py with Python {sys.version_info.major}.{sys.version_info.minor}.\n"
    (ROOT / "requirements" / "run.lock").write_text(head + "\n".join(run) + "\n")
    (ROOT / "requirements" / "test.lock").write_text(head + "\n".join(p for p in both if p not in run) + "\n")


if __name__ == "__main__":
    main()
