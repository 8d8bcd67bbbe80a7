"""Density of sodium hydroxide solutions by molality at 25 °C.

Source: table of advancedthermo.com (consistent with IAPWS-95).
"""

from __future__ import annotations

import pytest

from truekev.bench import solution as sn


@pytest.mark.parametrize(
    ("molality", "density", "tolerance"), [(1.0, 1.03911, 5e-4), (3.0, 1.11402, 1.2e-3), (5.0, 1.17925, 1.2e-3)]
)
def test_molal_density(molality: float, density: float, tolerance: float) -> None:
    """At 3 and 5 mol/kg this table and the CRC Handbook differ by 0.11 and 0.13 %: both cannot hold to 0.05 %."""
    grams = molality * 39.99711
    assert sn.density_g_cm3(grams / (1000 + grams), 0, 0, 25.0) == pytest.approx(density, rel=tolerance)
