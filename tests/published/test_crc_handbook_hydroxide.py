"""Sodium hydroxide solutions at 20 °C: density, viscosity, molarity.

Source: CRC Handbook of Chemistry and Physics, 102nd ed., 2021 (public transcription).
"""

from __future__ import annotations

import pytest

from truekev.bench import solution as sn


@pytest.mark.parametrize(
    ("percent", "density"), [(5, 1.0538), (10, 1.1089), (15, 1.1640), (20, 1.2192), (30, 1.3277), (40, 1.4299)]
)
def test_density_crc(percent: float, density: float) -> None:
    assert sn.hydroxide_density_g_cm3(percent) == pytest.approx(density, rel=1e-3)
    # the bath's own correlation (Laliberté) departs by 0.15 to 0.3 % above 20 %, stronger than any bath
    assert sn.density_g_cm3(percent / 100, 0, 0, 20.0) == pytest.approx(density, rel=1e-3 if percent <= 20 else 3e-3)


@pytest.mark.parametrize(("percent", "mpa_s"), [(5, 1.329), (10, 1.882), (15, 2.789), (20, 4.619), (30, 13.517)])
def test_viscosity_crc(percent: float, mpa_s: float) -> None:
    assert sn.hydroxide_viscosity_mpa_s(percent) == pytest.approx(mpa_s, rel=0.02)


@pytest.mark.parametrize(("percent", "molarity"), [(5, 1.317), (10, 2.772), (15, 4.365), (20, 6.096)])
def test_molarity_crc(percent: float, molarity: float) -> None:
    assert sn.hydroxide_molarity_mol_l(percent) == pytest.approx(molarity, rel=2e-3)
