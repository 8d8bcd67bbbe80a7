"""Equilibrium constants and potentials of tungsten, calcium and thorium.

Sources: LLNL database llnl.dat, WATEQ4F and phreeqc.dat (PHREEQC distribution), Thermoddem, SIT (NEA Rand et al.
2009); Anik, Turk. J.
Chem. 26 (2002) 915 and Tuvic, Pasti, Mentus, J. Electroanal. Chem. 654 (2011) 102 (abstracts); atomistry tungsten
page. Values from
memory are marked.
"""

from __future__ import annotations

import math

import pytest

from truekev.bench.bath import H_H2O, H_OH, H_WO4
from truekev.bench.cell import (
    E0_TUNGSTATE_ALKALINE_V,
    limiting_current_density_a_cm2,
    reversible_voltage_v,
)
from truekev.bench.recovery import DISSOLVED_THORIUM_MOL_L, THORIANITE_LOG_K, dissolved_thoria_ug
from truekev.bench.stoichiometry import FARADAY_C_MOL, GAS_CONSTANT_J_MOL_K, molar_mass_g_mol
from truekev.bench.waste import (
    CALCITE_LOG_KSP,
    calcium_tungstate_tungsten_mg_l,
    carbonate_over_lime_mg_l,
    lime_saturated_ph,
    lime_solubility_g_100ml,
    lime_solubility_product,
)

LN10_RT_F = math.log(10) * GAS_CONSTANT_J_MOL_K * 298.15 / FARADAY_C_MOL


def test_standard_potential_from_the_llnl_constants() -> None:
    # W + 1.5 O2 + H2O = WO4(2-) + 2 H+: log K 123.4334; 2 H2O = O2 + 4 H+ + 4 e-: -85.9951
    log_k = 123.4334 + 1.5 * -85.9951
    acid = -log_k * LN10_RT_F / 6
    assert acid == pytest.approx(0.055, abs=0.01)
    assert acid - 8 / 6 * LN10_RT_F * 13.995 == pytest.approx(E0_TUNGSTATE_ALKALINE_V, abs=0.01)


def test_slope_with_ph() -> None:
    # theory -78.9 mV per pH for the half cell (8 H+ to 6 e-); the cell's own hydrogen electrode takes 59.2 of it
    slope = reversible_voltage_v(1.0, 1.0) - reversible_voltage_v(0.1, 1.0)
    assert 1000 * (slope - LN10_RT_F) == pytest.approx(-78.9, abs=0.5)


def test_the_cell_is_galvanic() -> None:
    assert reversible_voltage_v(5.0, 0.01) == pytest.approx(-0.26, abs=0.01)
    assert reversible_voltage_v(1.75, 1.55) == pytest.approx(-0.22, abs=0.01)


def test_net_enthalpy_and_thermoneutral_voltage() -> None:
    net = H_WO4 - 2 * H_OH - 2 * H_H2O
    assert net == pytest.approx(-44.1e3, rel=0.01)
    assert net / (6 * FARADAY_C_MOL) == pytest.approx(-0.076, abs=0.001)


def test_limiting_current_is_linear_in_hydroxide() -> None:
    at = [limiting_current_density_a_cm2(c, 0.0) for c in (0.001, 0.01, 0.1)]
    assert at[1] / at[0] == pytest.approx(10)
    assert at[2] / at[1] == pytest.approx(10)


def test_limiting_current_magnitudes() -> None:
    # about 0.6 A/cm2 at the start and 0.13 at the end for 100 µm; factor 2, diffusion coefficient from memory
    assert limiting_current_density_a_cm2(5.0, 0.0) == pytest.approx(0.6, rel=0.1)
    assert limiting_current_density_a_cm2(1.75, 1.55) == pytest.approx(0.13, rel=0.1)


def test_calcium_tungstate_solubility() -> None:
    # 27 mg/L from a solubility product of 8.7e-9, from memory, factor 3
    salt = calcium_tungstate_tungsten_mg_l() * molar_mass_g_mol("CaWO4") / molar_mass_g_mol("W")
    assert 27 / 3 < salt < 27 * 3
    assert salt == pytest.approx(27, rel=0.02)


def test_portlandite() -> None:
    assert lime_solubility_product() == pytest.approx(6.4e-6, rel=0.25)
    assert lime_saturated_ph() == pytest.approx(12.4, abs=0.1)


@pytest.mark.parametrize(("degc", "grams"), [(0, 0.185), (20, 0.165), (100, 0.07)])
def test_lime_dissolves_less_when_warm(degc: float, grams: float) -> None:
    # the sign is seen, the numbers are from memory
    assert lime_solubility_g_100ml(degc) == pytest.approx(grams, rel=0.1)
    assert lime_solubility_g_100ml(degc) <= lime_solubility_g_100ml(degc - 5)


def test_calcite() -> None:
    assert pytest.approx(-8.48, abs=0.02) == CALCITE_LOG_KSP
    assert carbonate_over_lime_mg_l() < 0.1


def test_thoria_does_not_dissolve() -> None:
    assert 1.76 <= THORIANITE_LOG_K <= 1.86
    # free Th4+ over thorianite at pH 13 is beyond all measure; the amorphous bound (from memory) is what counts
    assert 10.0 ** (THORIANITE_LOG_K - 4 * 13) < DISSOLVED_THORIUM_MOL_L
    assert dissolved_thoria_ug(1.0) < 1.0
