"""Estimates that carry a wide band.

Sources: DOE-HDBK-3010 (spill, from memory); betas at contact: an estimate of ours, factor 3, no source.
"""

from __future__ import annotations

import pytest

from truekev.safety.dose_rate import beta_contact_msv_h
from truekev.safety.intake import spill_respirable_mg


def test_spilling_a_gram() -> None:
    assert spill_respirable_mg(1.0) == pytest.approx(0.5, rel=0.3)  # of the order of 0.5 mg


def test_betas_at_contact_are_an_estimate_with_its_band() -> None:
    value, low, high = beta_contact_msv_h(4000.0)
    assert value == pytest.approx(0.04)
    assert (low, high) == pytest.approx((value / 3, value * 3))
