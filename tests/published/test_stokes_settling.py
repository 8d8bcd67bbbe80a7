"""Settling of single grains.

Source: Stokes' formula, and v_terminal of the package fluids 1.3.1 (its set-up for sand is Example 5.3 of a
water-treatment text).
"""

from __future__ import annotations

import pytest
from fluids import v_terminal

from truekev.bench.settling import (
    Liquid,
    hydroxide_liquid,
    settling_velocity_m_s,
    water_20_degc,
)
from truekev.errors import OutOfRangeError


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


@pytest.mark.parametrize("grain", [0.0, -1.0, float("nan")])
def test_no_grain_size(grain: float) -> None:
    with pytest.raises(OutOfRangeError, match="above zero"):
        settling_velocity_m_s(grain, 10.0, water_20_degc())


def test_a_light_grain_floats() -> None:
    with pytest.raises(OutOfRangeError, match="does not sink"):
        settling_velocity_m_s(10.0, 0.9, water_20_degc())
