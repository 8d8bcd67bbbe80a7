"""Committed dose of an adult member of the public per activity taken in.

Source: ICRP Publication 119, Annexes F and G (public transcription). Worker coefficients are not tested:
two recollections differ.
"""

from __future__ import annotations

import pytest

from truekev.errors import UnknownNameError
from truekev.safety.intake import dose_coefficient_sv_bq, intake_dose_msv

INHALED = {
    ("Th-232", "F"): 1.1e-4, ("Th-232", "M"): 4.5e-5, ("Th-232", "S"): 2.5e-5,
    ("Th-228", "F"): 2.9e-5, ("Th-228", "M"): 3.2e-5, ("Th-228", "S"): 4.0e-5,
    ("Ra-228", "F"): 9.0e-7, ("Ra-228", "M"): 2.6e-6, ("Ra-228", "S"): 1.6e-5,
    ("Ra-224", "M"): 3.0e-6, ("Ra-224", "S"): 3.4e-6,
    ("Th-230", "S"): 1.4e-5, ("Pb-212", "M"): 1.7e-7, ("Bi-212", "M"): 3.1e-8, ("Ac-228", "S"): 1.6e-8,
}  # fmt: skip


SWALLOWED = {"Th-232": 2.3e-7, "Th-228": 7.2e-8, "Ra-228": 6.9e-7, "Ra-224": 6.5e-8}


AGED_BQ_MG = dict.fromkeys(("Th-232", "Ra-228", "Th-228", "Ra-224"), 3.57)


@pytest.mark.parametrize("key", INHALED, ids="-".join)
def test_inhalation(key: tuple[str, str]) -> None:
    assert dose_coefficient_sv_bq("inhalation", *key) == INHALED[key]


@pytest.mark.parametrize("nuclide", SWALLOWED)
def test_ingestion(nuclide: str) -> None:
    assert dose_coefficient_sv_bq("ingestion", nuclide) == SWALLOWED[nuclide]


def test_inhaling_a_milligram() -> None:
    dose = intake_dose_msv("inhalation", 1.0, AGED_BQ_MG)
    assert dose.dose_msv == pytest.approx(0.30, rel=0.05)
    assert dose.dose_msv / 3.57 / 1000 == pytest.approx(8.44e-5, rel=0.01)


def test_swallowing_a_milligram() -> None:
    assert 1000 * intake_dose_msv("ingestion", 1.0, AGED_BQ_MG).dose_msv == pytest.approx(3.8, rel=0.02)


def test_unknown_coefficient() -> None:
    with pytest.raises(UnknownNameError, match="Rn-220"):
        dose_coefficient_sv_bq("inhalation", "Rn-220", "M")
