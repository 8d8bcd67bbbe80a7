"""Exemption values and transport limits, and the rules whose citations must print.

Sources: UK SI 2017/1075 Schedule 7 Part 2 (legislation.gov.uk); US 10 CFR 40.13 and 40.22 with NRC HPPOS-133 and
HPPOS-255, Kansas K.A.R.
28-35, Minnesota R. 4731.0725; 49 CFR 173.436; IAEA SSR-6 Table 2 (from memory); Gafvert, Pagels, Holm 2003 and
Saito et al. 2003 (abstracts).
"""

from __future__ import annotations

import pytest
from tests.support.batches import worked_case

from truekev.bench.stoichiometry import THORIA_TH_FRACTION, thoria_activity_bq
from truekev.job.plan_make import plan_of_settings
from truekev.safety.rules import ASK_FIRST, compare_with_exemption, exemption_values, published_rules


@pytest.mark.parametrize(("nuclide", "bq_g", "bq"), [("Th-232", 1, 1e3), ("Th-228", 1, 1e4), ("Ra-228", 1, 1e5)])
def test_uk_schedule(nuclide: str, bq_g: float, bq: float) -> None:
    value = {v.nuclide: v for v in exemption_values()}[nuclide]
    assert (value.concentration_bq_g, value.activity_bq) == (bq_g, bq)


def test_progeny_covered_by_thorium_228() -> None:
    value = {v.nuclide: v for v in exemption_values()}["Th-228"]
    assert set(value.covers) == {"Ra-224", "Rn-220", "Po-216", "Pb-212", "Bi-212", "Tl-208", "Po-212"}


@pytest.mark.parametrize(
    ("nuclide", "bq_g", "bq"), [("Th(nat)", 1, 1e3), ("Th-232", 10, 1e4), ("Th-228", 1, 1e4), ("Ac-228", 10, 1e6)]
)
def test_transport_limits(nuclide: str, bq_g: float, bq: float) -> None:
    value = {v.nuclide: v for v in exemption_values("transport")}[nuclide]
    assert (value.concentration_bq_g, value.activity_bq) == (bq_g, bq)


def test_thoria_against_the_limits() -> None:
    aged = dict.fromkeys(("Th-232", "Ra-228", "Ac-228", "Th-228", "Ra-224"), thoria_activity_bq(1.0))
    compared = compare_with_exemption(aged, 1.0)
    assert compared.concentration_fraction == pytest.approx(3570, rel=5e-3)
    assert 1.0 / compared.activity_fraction == pytest.approx(0.280, rel=5e-3)
    assert THORIA_TH_FRACTION / compared.activity_fraction == pytest.approx(0.246, rel=5e-3)
    assert compared.above
    assert ASK_FIRST in compared.say


def test_daughters_count_only_where_no_parent_covers_them() -> None:
    fresh = compare_with_exemption({"Th-232": 500.0, "Th-228": 500.0})
    assert fresh.activity_fraction == pytest.approx(0.5)
    lost = compare_with_exemption({"Th-232": 500.0, "Th-228": 5500.0})
    assert lost.activity_fraction == pytest.approx(0.5 + 0.5)
    assert not compare_with_exemption({"Th-232": 2000.0}, 1e6).above
    assert compare_with_exemption({"Th-232": 2000.0}, 1.0).above


def test_nuclides_outside_the_list_are_said_to_be() -> None:
    assert "look them up" in compare_with_exemption({"Cs-137": 1e9}).say


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


@pytest.mark.parametrize("words", CITATIONS)
def test_citations_print_with_every_plan(words: str) -> None:
    report = plan_of_settings(worked_case())
    assert any(words in str(rule) for rule in report.opening.rules)


def test_marks_from_memory_print() -> None:
    printed = {rule.citation: str(rule) for rule in published_rules()}
    assert "from memory" in printed["IAEA SSR-6 Table 2; 49 CFR 173.436"]
    assert "from memory" not in printed["49 CFR 173.436"]


def test_no_rule_quotes_the_abstract_s_intake_limit() -> None:
    # its limit of 1.6e2 Bq is ten times below 20 mSv over 1.2e-5 Sv/Bq: not to be used
    assert not any("1.6e2" in str(rule) for rule in published_rules())
