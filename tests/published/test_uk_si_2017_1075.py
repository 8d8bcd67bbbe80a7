"""Exemption values of the thorium series.

Source: UK SI 2017/1075 Schedule 7 Part 2 (legislation.gov.uk).
"""

from __future__ import annotations

import pytest

from truekev.bench.stoichiometry import thoria_activity_bq
from truekev.safety.rules import ASK_FIRST, compare_with_exemption, exemption_values
from truekev.sources.stock import THORIUM_IN_THORIA


@pytest.mark.parametrize(("nuclide", "bq_g", "bq"), [("Th-232", 1, 1e3), ("Th-228", 1, 1e4), ("Ra-228", 1, 1e5)])
def test_uk_schedule(nuclide: str, bq_g: float, bq: float) -> None:
    value = {v.nuclide: v for v in exemption_values()}[nuclide]
    assert (value.concentration_bq_g, value.activity_bq) == (bq_g, bq)


def test_progeny_covered_by_thorium_228() -> None:
    value = {v.nuclide: v for v in exemption_values()}["Th-228"]
    assert set(value.covers) == {"Ra-224", "Rn-220", "Po-216", "Pb-212", "Bi-212", "Tl-208", "Po-212"}


def test_thoria_against_the_limits() -> None:
    aged = dict.fromkeys(("Th-232", "Ra-228", "Ac-228", "Th-228", "Ra-224"), thoria_activity_bq(1.0))
    compared = compare_with_exemption(aged, 1.0)
    assert compared.concentration_fraction == pytest.approx(3570, rel=5e-3)
    assert 1.0 / compared.activity_fraction == pytest.approx(0.280, rel=5e-3)
    assert THORIUM_IN_THORIA / compared.activity_fraction == pytest.approx(0.246, rel=5e-3)
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
