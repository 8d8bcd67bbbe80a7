"""Writes requirements/run.lock, test.lock and docs.lock: every package with its exact version.

Each lock is what pip resolves in a fresh environment: run.lock from pyproject.toml alone, test.lock and docs.lock
from requirements/test.in and requirements/docs.in on top of it. Run by `make lock`.
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


def _on_top(name: str, base: Path, run: list[str]) -> list[str]:
    """What a .in file asks for in a fresh environment that holds `base`, less what is in it."""
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / "bin" / "python"
        wanted = ROOT / "requirements" / f"{name}.in"
        subprocess.run([python, "-m", "pip", "install", "-q", "-r", base, "-r", wanted], check=True)
        return [package for package in _frozen(python) if package not in run]


def main() -> None:
    """Resolve in fresh environments and write the lock files."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / "bin" / "python"
        subprocess.run([python, "-m", "pip", "install", "-q", *project["dependencies"], "hatchling"], check=True)
        run = _frozen(python)
    head = f"# Written by tools/lock.py with Python {sys.version_info.major}.{sys.version_info.minor}.\n"
    base = ROOT / "requirements" / "run.lock"
    base.write_text(head + "\n".join(run) + "\n")
    for name in ("test", "docs"):
        added = _on_top(name, base, run)
        (ROOT / "requirements" / f"{name}.lock").write_text(head + "\n".join(added) + "\n")


if __name__ == "__main__":
    main()
