"""Thoron of an open powder.

Source: ICRP 137 (107 nSv per Bq h/m³ of equilibrium-equivalent thoron).
"""

from __future__ import annotations

import pytest

from truekev.safety.intake import thoron_dose_usv_h


def test_thoron_of_an_open_powder() -> None:
    assert thoron_dose_usv_h(4000.0) == pytest.approx(0.1, rel=0.3)  # about 0.1 µSv/h
    assert thoron_dose_usv_h(4000.0, air_changes_per_h=2.0) < thoron_dose_usv_h(4000.0)
