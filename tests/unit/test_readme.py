"""README names every command there is and none that is not, and its links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from truekev.cli.app import app

ROOT = Path(__file__).parents[2]
PAGES = ("README.md", "CONTRIBUTING.md", "CHANGELOG.md")


def test_every_command_is_in_the_map() -> None:
    known = {str(c.name or c.callback.__name__) for c in app.registered_commands if c.callback}
    known |= {str(group.name) for group in app.registered_groups if group.name}
    table = (ROOT / "README.md").read_text().split("## Commands")[1].split("## Cautions")[0]
    named = set(re.findall(r"`truekev ([a-z][a-z-]*)", table)) - {"COMMAND"}
    assert named == known


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    links = re.findall(r"\]\(([^)#:]+)\)", (ROOT / page).read_text())
    assert [link for link in links if not (ROOT / link).exists()] == []
