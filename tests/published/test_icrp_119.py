"""Dose coefficients and intake doses.

Sources: ICRP Publication 119, Annexes F and G (public transcription); DOE-STD-1196-2011 Table A-2 as second
opinion; ICRP 137 (thoron);
DOE-HDBK-3010 (spill, from memory). Worker coefficients are not tested: two recollections differ.
"""

from __future__ import annotations

import pytest

from truekev.errors import UnknownNameError
from truekev.safety.dose_rate import beta_contact_msv_h
from truekev.safety.intake import dose_coefficient_sv_bq, intake_dose_msv, spill_respirable_mg, thoron_dose_usv_h

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


@pytest.mark.parametrize(("nuclide", "sv_bq"), [("Th-232", 2.48e-5), ("Th-228", 3.97e-5), ("Ra-228", 1.61e-5)])
def test_second_source(nuclide: str, sv_bq: float) -> None:
    assert dose_coefficient_sv_bq("inhalation", nuclide, "S") == pytest.approx(sv_bq, rel=0.03)


def test_inhaling_a_milligram() -> None:
    dose = intake_dose_msv("inhalation", 1.0, AGED_BQ_MG)
    assert dose.dose_msv == pytest.approx(0.30, rel=0.05)
    assert dose.dose_msv / 3.57 / 1000 == pytest.approx(8.44e-5, rel=0.01)


def test_swallowing_a_milligram() -> None:
    assert 1000 * intake_dose_msv("ingestion", 1.0, AGED_BQ_MG).dose_msv == pytest.approx(3.8, rel=0.02)


def test_spilling_a_gram() -> None:
    assert spill_respirable_mg(1.0) == pytest.approx(0.5, rel=0.3)  # of the order of 0.5 mg


def test_thoron_of_an_open_powder() -> None:
    assert thoron_dose_usv_h(4000.0) == pytest.approx(0.1, rel=0.3)  # about 0.1 µSv/h
    assert thoron_dose_usv_h(4000.0, air_changes_per_h=2.0) < thoron_dose_usv_h(4000.0)


def test_betas_at_contact_are_an_estimate_with_its_band() -> None:
    value, low, high = beta_contact_msv_h(4000.0)
    assert value == pytest.approx(0.04)
    assert (low, high) == pytest.approx((value / 3, value * 3))


def test_unknown_coefficient() -> None:
    with pytest.raises(UnknownNameError, match="Rn-220"):
        dose_coefficient_sv_bq("inhalation", "Rn-220", "M")
