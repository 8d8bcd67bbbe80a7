"""Settling of grains.

Sources: Stokes' formula; fluids 1.3.1 v_terminal; Example 5.3 of a water-treatment text (sand 0.6 mm); a published
exercise on
Richardson and Zaki (curioustab 78014); Richardson and Zaki 1954 (exponents, from memory); NIST SRD 126 Table 1
(densities of W and Th).
"""

from __future__ import annotations

import pytest
from fluids import v_terminal

from truekev.bench.rods import THORIA_DENSITY_G_CM3, TUNGSTEN_DENSITY_G_CM3
from truekev.bench.settling import (
    CALCIUM_TUNGSTATE_G_CM3,
    Liquid,
    filter_holds,
    hindered_velocity_m_s,
    hydroxide_liquid,
    richardson_zaki_exponent,
    settling_velocity_m_s,
    water_20_degc,
)
from truekev.errors import OutOfRangeError


def test_densities() -> None:
    assert pytest.approx(19.3, rel=0.01) == TUNGSTEN_DENSITY_G_CM3
    assert pytest.approx(10.0, rel=0.01) == THORIA_DENSITY_G_CM3
    assert pytest.approx(6.062, rel=0.01) == CALCIUM_TUNGSTATE_G_CM3


@pytest.mark.parametrize(
    ("grain_um", "grain_g_cm3", "m_s"), [(10, 10.0, 4.90e-4), (5, 6.06, 6.88e-5), (10, 2.65, 8.98e-5)]
)
def test_stokes_in_water(grain_um: float, grain_g_cm3: float, m_s: float) -> None:
    v = settling_velocity_m_s(grain_um, grain_g_cm3, water_20_degc())
    assert v == pytest.approx(m_s, rel=5e-3)
    package = v_terminal(D=grain_um * 1e-6, rhop=grain_g_cm3 * 1000, rho=998.2, mu=1.002e-3)
    assert v == pytest.approx(package, rel=5e-3)


def test_thoria_in_ten_percent_hydroxide() -> None:
    liquid = hydroxide_liquid(10)
    assert liquid.viscosity_mpa_s == pytest.approx(1.882)
    v = settling_velocity_m_s(1.0, 10.0, liquid)
    assert v == pytest.approx(2.574e-6, rel=5e-3)
    assert 0.1 / v / 60 == pytest.approx(648, rel=5e-3)


def test_stokes_does_not_hold_for_sand() -> None:
    water = Liquid("water 22 °C", 0.9978, 0.955)
    assert settling_velocity_m_s(600, 2.65, water) == pytest.approx(0.097, rel=0.05)


def test_end_liquor_and_water_times() -> None:
    # 50 mm: 7.7 h at 1 µm, 0.9 h at 3 µm in end liquor (1.44 g/cm3, 2.6 mPa s); 2.8 h at 1 µm in water
    liquor = Liquid("end liquor", 1.44, 2.6)
    hours = {d: 0.05 / settling_velocity_m_s(d, 10.0, liquor) / 3600 for d in (1.0, 3.0)}
    assert hours[1.0] == pytest.approx(7.7, rel=0.02)
    assert hours[3.0] == pytest.approx(0.9, rel=0.06)
    assert 0.05 / settling_velocity_m_s(1.0, 10.0, water_20_degc()) / 3600 == pytest.approx(2.8, rel=0.02)


def test_richardson_zaki_exercise() -> None:
    # hindered 4.44 µm/s at 30 % solids with n = 4.5: terminal 22.1 µm/s
    assert hindered_velocity_m_s(22.1e-6, 0.30, 4.5) == pytest.approx(4.44e-6, rel=5e-3)


def test_richardson_zaki_exponents() -> None:
    assert richardson_zaki_exponent(0.01) == pytest.approx(4.65, abs=0.05)
    assert richardson_zaki_exponent(1000) == pytest.approx(2.39, abs=0.05)
    assert 2.39 < richardson_zaki_exponent(50) < richardson_zaki_exponent(0.5) < 4.65


def test_coarse_filters_pass_the_oxide() -> None:
    # common practice, no source: coarse papers (8 to 25 µm) pass thoria of 1.5 to 4 µm
    for grain in (1.5, 4.0):
        assert not filter_holds(grain)["coarse paper"]
        assert filter_holds(grain)["membrane 0.45 µm"]


@pytest.mark.parametrize("grain", [0.0, -1.0, float("nan")])
def test_no_grain_size(grain: float) -> None:
    with pytest.raises(OutOfRangeError, match="above zero"):
        settling_velocity_m_s(grain, 10.0, water_20_degc())


def test_a_light_grain_floats() -> None:
    with pytest.raises(OutOfRangeError, match="does not sink"):
        settling_velocity_m_s(10.0, 0.9, water_20_degc())
