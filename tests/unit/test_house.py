"""The house rules that a program can check: import direction, file length, provenance, exit codes."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import truekev
from truekev.tables import loader

PACKAGE = Path(truekev.__file__).parent
ROOT = PACKAGE.parent.parent
# Imports point down this list only.
LAYERS = (
    "cli web sheets pictures job book samples scale bench safety sources transport spectra nuclides matter tables"
).split()
MODULES = sorted(PACKAGE.rglob("*.py"))
CODE = [
    file
    for folder in ("src", "tests", "tools", "studies", "benchmarks")
    for file in sorted((ROOT / folder).rglob("*.py"))
]


def _imported(file: Path) -> list[str]:
    names: list[str] = []
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.append(node.module)
    return names


@pytest.mark.parametrize("file", MODULES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_imports_point_down(file: Path) -> None:
    room = file.relative_to(PACKAGE).parts[0]
    if room not in LAYERS:
        allowed = {"errors", "version", "quantity", "files", "record", "toml_text", "compile_cache", "cli"}
    else:
        allowed = {"errors", "version", "quantity", "files", "record", "toml_text", *LAYERS[LAYERS.index(room) :]}
    for name in _imported(file):
        parts = name.split(".")
        if parts[0] == "truekev" and len(parts) > 1:
            assert parts[1] in allowed, f"{file.relative_to(PACKAGE)} imports {name}"


@pytest.mark.parametrize("file", CODE, ids=lambda f: str(f.relative_to(ROOT)))
def test_files_are_short(file: Path) -> None:
    assert len(file.read_text().splitlines()) <= 420


@pytest.mark.parametrize("name", loader.table_names())
def test_table_matches_its_provenance(name: str) -> None:
    assert loader.table_bytes(name)
    entry = loader.provenance(name)
    assert all((entry.what, entry.units, entry.citation, entry.version, entry.licence, entry.date))
    assert (ROOT / entry.built_by.split()[0]).is_file()


def test_every_data_file_has_a_provenance() -> None:
    files = {f.name for f in (PACKAGE / "tables").iterdir() if f.is_file() and f.suffix != ".py"}
    named = {f"{name}.provenance.toml" for name in loader.table_names()} | set(loader.table_names())
    assert files == named
