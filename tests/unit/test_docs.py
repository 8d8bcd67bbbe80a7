"""The pages of docs: the reference covers the program, and what hand-written pages show is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import typer
from tools.build_doc_examples import COMMANDS, PICTURES, SHEET
from tools.build_reference import docstring_markdown, pages, public_modules

from truekev.bench.settings import BatchSettings
from truekev.book.kinds import KINDS
from truekev.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
WRITTEN = sorted(
    page for page in DOCS.rglob("*.md") if not {"reference", "examples"} & set(page.relative_to(DOCS).parts[:-1])
)
MADE = {f"examples/{name}.{ending}" for name, _ in COMMANDS for ending in ("txt", "png")} | {
    f"examples/{name}.png" for name in (SHEET, *(kept for _, kept in PICTURES))
}


@pytest.fixture(scope="module")
def reference() -> dict[str, str]:
    return pages()


def _options() -> dict[str, set[str]]:
    """Every command in words, with its options."""
    found: dict[str, set[str]] = {}

    def walk(group: object, path: str) -> None:
        for name, command in group.commands.items():  # type: ignore[attr-defined]
            if hasattr(command, "commands"):
                walk(command, f"{path}{name} ")
            else:
                found[path + name] = {option for p in command.params for option in p.opts if option.startswith("-")}

    walk(typer.main.get_command(app), "")
    return found


OPTIONS = _options()


def test_every_command_and_option_is_in_the_reference(reference: dict[str, str]) -> None:
    page = reference["commands.md"]
    for command, options in OPTIONS.items():
        section = page.partition(f"\n## truekev {command}\n")[2].partition("\n## ")[0]
        assert section, command
        missing = [option for option in options if f"`{option}`" not in section]
        assert not missing, (command, missing)


def test_every_field_of_a_batch_is_in_the_reference(reference: dict[str, str]) -> None:
    page = reference["files.md"]
    schema = BatchSettings.model_json_schema(by_alias=True)
    for part in (schema, *schema["$defs"].values()):
        for field in part.get("properties", {}):
            assert f"| `{field}` |" in page, field


def test_every_kind_of_record_is_in_the_reference(reference: dict[str, str]) -> None:
    assert all(f"\n## {kind}\n" in reference["book.md"] for kind in KINDS)


def test_every_table_of_the_program_is_in_the_reference(reference: dict[str, str]) -> None:
    for table in (ROOT / "src" / "truekev" / "tables").glob("*.provenance.toml"):
        assert f"\n## {table.name.removesuffix('.provenance.toml')}\n" in reference["tables.md"]


def test_every_public_name_is_in_the_reference(reference: dict[str, str]) -> None:
    modules = public_modules()
    assert len(modules) > 80
    text = "\n".join(page for name, page in reference.items() if name.startswith("python/"))
    for module in modules:
        section = text.partition(f"\n## {module.__name__}\n")[2].partition("\n## ")[0]
        missing = [name for name in module.__all__ if f"### {name}\n" not in section]
        assert not missing, (module.__name__, missing)


def test_docstrings_in_the_numpy_style() -> None:
    said = docstring_markdown(
        "Charge [C].\n\nParameters\n----------\ncurrent_a : float\n    Current [A],\n    above zero.\n\n"
        "Raises\n------\nOutOfRangeError\n    It is not.\n\nNotes\n-----\nFor I < 0 *nothing*.\n"
    )
    assert "Charge \\[C\\]." in said
    assert "- `current_a : float`: Current \\[A\\], above zero." in said
    assert "**Raises**\n\n- `OutOfRangeError`: It is not." in said
    assert "**Notes.** For I \\< 0 \\*nothing\\*." in said


@pytest.mark.parametrize("page", [*WRITTEN, ROOT / "README.md"], ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_that_pages_show_exist(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    shown = re.findall(r"`truekev ([^`]+)`", text)
    for block in re.findall(r"```\n(.*?)```", text, flags=re.DOTALL):
        shown += re.findall(r"^(?:\.venv/bin/)?truekev (.+?)(?: {2,}#.*| > .*)?$", block, flags=re.MULTILINE)
    for line in shown:
        words = line.replace(",", " ").split()
        if words[0] in ("COMMAND", "--help"):
            continue
        command = " ".join(words[:2]) if words[0] == "book" and len(words) > 1 else words[0]
        if command == "book":
            continue
        assert command in OPTIONS, line
        used = {word.partition("=")[0] for word in words if word.startswith("--")} - {"--help"}
        assert used <= OPTIONS[command], line


@pytest.mark.parametrize("command", [words for _, words in COMMANDS])
def test_commands_of_the_examples_exist(command: str) -> None:
    words = command.split()[1:]
    assert words[0] in OPTIONS
    assert {word for word in words if word.startswith("--")} <= OPTIONS[words[0]]


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: str(page.relative_to(DOCS)))
def test_links_and_pictures_lead_somewhere(page: Path, reference: dict[str, str]) -> None:
    text = page.read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#\s]+)", text) + re.findall(r"^```\{literalinclude\} (\S+)$", text, re.MULTILINE)
    for target in targets:
        if target.startswith("http"):
            continue
        path = (page.parent / target).resolve().relative_to(DOCS)
        made = str(path) in MADE or str(path).removeprefix("reference/") in reference
        assert made or (DOCS / path).is_file(), target


def test_every_page_stands_in_a_table_of_contents() -> None:
    listed = {DOCS / "index.md"}
    for page in WRITTEN:
        for tree in re.findall(r"```\{toctree\}\n(.*?)```", page.read_text(encoding="utf-8"), flags=re.DOTALL):
            listed |= {page.parent / f"{entry}.md" for entry in tree.split() if not entry.startswith(":")}
    lost = [page for page in WRITTEN if page not in listed and "orphan: true" not in page.read_text(encoding="utf-8")]
    assert not lost


def test_pictures_of_open_spectra_carry_their_licence() -> None:
    text = (DOCS / "validation" / "open-spectra.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^\]]*\]\(open-spectra/[^)]+\)\n\n([^\n]*)", text)
    assert shown
    assert all("SÚRO" in line and "CC BY-SA 4.0" in line and "LICENCE.md" in line for line in shown)
    licence = (DOCS / "validation" / "open-spectra" / "LICENCE.md").read_text(encoding="utf-8")
    assert "https://creativecommons.org/licenses/by-sa/4.0/" in licence
    assert "Changed against the originals" in licence


def test_no_page_fetches_anything() -> None:
    for page in WRITTEN:
        assert not re.search(r"!\[[^\]]*\]\(http|<script|<link|<iframe", page.read_text(encoding="utf-8")), page
    assert "http" not in (DOCS / "conf.py").read_text(encoding="utf-8")
    assert "http" not in (DOCS / "_static" / "bench_book.css").read_text(encoding="utf-8")
