"""Density, heat capacity and viscosity of the bath's electrolytes.

Source: Laliberté, J. Chem. Eng. Data 54 (2009) 1725, through the package thermo 0.6.1; water against
IAPWS-95 in chemicals 1.5.2.
"""

from __future__ import annotations

import pytest
from thermo.electrochem import Laliberte_density, Laliberte_heat_capacity, Laliberte_viscosity

from truekev.bench import solution as sn

NAOH, TUNGSTATE, CARBONATE = "1310-73-2", "13472-45-2", "497-19-8"


@pytest.mark.parametrize(("degc", "density", "mpa_s"), [(20, 1.1085, 1.778), (40, 1.1011, 1.081), (60, 1.0904, 0.741)])
def test_second_opinion_at_ten_percent(degc: float, density: float, mpa_s: float) -> None:
    assert sn.density_g_cm3(0.10, 0, 0, degc) == pytest.approx(density, rel=1e-3)
    assert sn.viscosity_mpa_s(0.10, 0, 0, degc, 0.0) == pytest.approx(mpa_s, rel=0.06)


def test_heat_capacity_at_ten_percent() -> None:
    assert sn.heat_capacity_j_g_k(0.10, 0, 0, 25.0) == pytest.approx(3.79, rel=0.02)


@pytest.mark.parametrize(("percent", "density"), [(10, 1.0950), (30, 1.3480)])
def test_tungstate_density(percent: float, density: float) -> None:
    assert sn.density_g_cm3(0, percent / 100, 0, 20.0) == pytest.approx(density, rel=5e-3)


@pytest.mark.parametrize("fractions", [(0.17, 0.0, 0.0), (0.05, 0.31, 0.01), (0.0, 0.2, 0.05)])
@pytest.mark.parametrize("degc", [15.0, 30.0, 55.0])
def test_same_as_the_package(fractions: tuple[float, float, float], degc: float) -> None:
    cas = [NAOH, TUNGSTATE, CARBONATE]
    kelvin = degc + 273.15
    assert sn.density_g_cm3(*fractions, degc) == pytest.approx(Laliberte_density(kelvin, list(fractions), cas) / 1000)
    heat = Laliberte_heat_capacity(kelvin, list(fractions), cas) / 1000
    assert sn.heat_capacity_j_g_k(*fractions, degc) == pytest.approx(heat)


def test_viscosity_of_tungstate_is_a_number_where_the_package_gives_none() -> None:
    package = Laliberte_viscosity(293.15, [0.05, 0.31], [NAOH, TUNGSTATE])
    assert package != package
    # end liquor, about 2.6 mPa s (from memory, 30 %)
    assert sn.viscosity_mpa_s(0.048, 0.31, 0.0, 20.0, 1.55) == pytest.approx(2.6, rel=0.1)


@pytest.mark.parametrize("degc", [5.0, 25.0, 60.0, 100.0])
def test_vapour_pressure_against_iapws(degc: float) -> None:
    from chemicals.iapws import iapws95_Psat

    assert sn.vapour_pressure_pa(degc) == pytest.approx(iapws95_Psat(degc + 273.15), rel=2e-3)
