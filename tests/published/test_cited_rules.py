"""The published rules whose citations must print with every plan.

Sources: those named in each; the test only holds that they print.
"""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from truekev.bench.settings import batch_template
from truekev.cli.app import app
from truekev.safety.rules import published_rules

CITATIONS = (
    "10 CFR 40.13(a)",
    "0.05 %",
    "40.13(c)(1)(iii)",
    "HPPOS-255",
    "40.13(c)(4)",
    "HPPOS-133",
    "not for chemical, physical or metallurgical treatment or processing",
    "10 CFR 40.22",
    "1.5 kg",
    "7 kg in a year",
    "individuals are not named",
    "K.A.R. 28-35-177a",
    "49 CFR 173.436",
    "IAEA SSR-6 Table 2",
    "ISO 361",
    "reference date",
    "Gafvert, Pagels, Holm, Radiat. Prot. Dosim. 103 (2003) 349",
    "Saito et al., Industrial Health 41 (2003) 273",
)


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What `truekev plan` prints, as words and as JSON, line breaks out."""
    batch = tmp_path_factory.mktemp("cited") / "batch.toml"
    batch.write_text(batch_template())
    said = {}
    for name, option in (("words", []), ("json", ["--json"])):
        result = CliRunner().invoke(app, ["plan", str(batch), "--quick", *option])
        assert result.exit_code == 0
        said[name] = " ".join(result.stdout.split())
    return said


@pytest.mark.parametrize("form", ["words", "json"])
@pytest.mark.parametrize("citation", CITATIONS)
def test_citations_print_with_every_plan(printed: dict[str, str], citation: str, form: str) -> None:
    assert citation in printed[form]


def test_marks_from_memory_print() -> None:
    printed = {rule.citation: str(rule) for rule in published_rules()}
    assert "from memory" in printed["IAEA SSR-6 Table 2; 49 CFR 173.436"]
    assert "from memory" not in printed["49 CFR 173.436"]


def test_no_rule_quotes_the_abstract_s_intake_limit() -> None:
    # its limit of 1.6e2 Bq is ten times below 20 mSv over 1.2e-5 Sv/Bq: not to be used
    assert not any("1.6e2" in str(rule) for rule in published_rules())
