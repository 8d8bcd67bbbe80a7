"""Stoichiometry and gas laws of the bench.

Source: stoichiometry with IUPAC standard atomic weights, the exact Faraday constant (SI 2019) and the ideal gas at
101.325 kPa;
the values were computed from these outside the project.
"""

from __future__ import annotations

import pytest

from truekev.bench import stoichiometry as st
from truekev.bench.cleanup import Dose, decomposition_j_mol, dose_heat, tungsten_oxidation_j_mol
from truekev.bench.plan import air_for_hydrogen_l_min
from truekev.bench.washing import alumina_from_g
from truekev.bench.waste import calcium_need_mol, tungsten_trioxide_g
from truekev.sources.stock import THORIUM_IN_THORIA


def test_charge() -> None:
    assert st.tungsten_g(3600.0) == pytest.approx(1.14322, rel=1e-4)
    assert st.charge_ah(1.0) == pytest.approx(0.87472, rel=1e-4)


def test_hydroxide_per_gram() -> None:
    assert 4 * st.hydroxide_net_g(1.0) == pytest.approx(1.7405, rel=1e-3)  # 8 mol at the anode
    assert st.hydroxide_net_g(1.0) == pytest.approx(0.4351, rel=1e-3)


@pytest.mark.parametrize(("degc", "litres"), [(0, 0.4181), (20, 0.4488), (25, 0.4564)])
def test_hydrogen_per_ampere_hour(degc: float, litres: float) -> None:
    assert st.hydrogen_l(3600.0, degc) == pytest.approx(litres, rel=1e-3)


def test_hydrogen_per_gram_of_tungsten() -> None:
    assert st.hydrogen_l(3600 * st.charge_ah(1.0)) == pytest.approx(0.399, rel=2e-3)


def test_products_per_gram_of_tungsten() -> None:
    one = st.mol(1.0, "W")
    assert one * st.molar_mass_g_mol("Na2WO4") == pytest.approx(1.5982, rel=1e-3)
    assert one * st.molar_mass_g_mol("CaWO4") == pytest.approx(1.5661, rel=1e-3)
    assert one * st.molar_mass_g_mol("Ca(OH)2") == pytest.approx(0.4030, rel=1e-3)
    assert tungsten_trioxide_g(1.0) == pytest.approx(1.2611, rel=1e-3)


@pytest.mark.parametrize(
    ("salt", "grams"),
    [("calcium chloride", 0.6037), ("calcium chloride dihydrate", 0.7997), ("calcium nitrate tetrahydrate", 1.2845)],
)
def test_calcium_salts_per_gram_of_tungsten(salt: str, grams: float) -> None:
    least, _, _ = calcium_need_mol(st.mol(1.0, "W"), 0.0)
    assert st.calcium_salt_g(least, salt) == pytest.approx(grams, rel=1e-3)


def test_thorium_activity() -> None:
    # 4.067(17) kBq/g Th: LNHB file (DDEP); ThO2 3.573 kBq/g from atomic masses
    assert st.thoria_activity_bq(1.0) == pytest.approx(3573, rel=5e-3)
    assert pytest.approx(0.8788, rel=1e-3) == THORIUM_IN_THORIA
    assert st.thoria_activity_bq(1.0) / THORIUM_IN_THORIA == pytest.approx(4067, rel=5e-3)


@pytest.mark.parametrize(
    ("salt", "fired"),
    [
        ("potassium alum dodecahydrate", 0.10747),
        ("ammonium alum dodecahydrate", 0.11246),
        ("aluminium sulfate", 0.2980),
        ("aluminium sulfate octadecahydrate", 0.1530),
    ],
)
def test_alumina(salt: str, fired: float) -> None:
    assert alumina_from_g(salt, 1.0) == pytest.approx(fired, rel=1e-3)


@pytest.mark.parametrize(
    ("salt", "dried"), [("aluminium sulfate", 0.456), ("aluminium sulfate octadecahydrate", 0.234)]
)
def test_dried_only_it_is_still_hydroxide(salt: str, dried: float) -> None:
    assert alumina_from_g(salt, 1.0, fired=False) == pytest.approx(dried, rel=2e-3)


@pytest.mark.parametrize(("percent", "litres"), [(3, 10.8), (10, 36.0), (30, 107.9)])
def test_oxygen_per_kilogram(percent: float, litres: float) -> None:
    dose = Dose(500.0, percent)
    assert dose_heat(dose, 0.0, 0.0).oxygen_l * 1000 / dose.mass_g == pytest.approx(litres, rel=5e-3)


@pytest.mark.parametrize(("percent", "kj"), [(3, 83.5), (5, 139), (10, 278), (30, 835)])
def test_heat_per_kilogram_of_peroxide(percent: float, kj: float) -> None:
    # 94.7 kJ/mol of dissolved peroxide: LLNL and phreeqc reaction enthalpies
    dose = Dose(500.0, percent)
    assert dose_heat(dose, 0.0, 0.0).heat_j / dose.mass_g == pytest.approx(kj, rel=0.02)


@pytest.mark.parametrize(("percent", "kelvin"), [(3, 20.2), (5, 34.0), (10, 69.5)])
def test_adiabatic_rise_alone(percent: float, kelvin: float) -> None:
    heat = dose_heat(Dose(500.0, percent), 0.0, 0.0)
    assert heat.rise_k == pytest.approx(kelvin, rel=0.03)
    assert not heat.boils or percent == 10


def test_thirty_percent_boils_alone() -> None:
    heat = dose_heat(Dose(100.0, 30.0), 0.0, 0.0, 25.0)
    assert heat.rise_k > 75
    assert heat.boils


def test_peroxide_enthalpies() -> None:
    # LLNL reaction enthalpies: -1185 kJ per mol W, four times mere decomposition per peroxide
    assert tungsten_oxidation_j_mol() == pytest.approx(1185e3, rel=0.01)
    assert tungsten_oxidation_j_mol() / 3 / decomposition_j_mol() == pytest.approx(4.17, rel=0.02)
    assert decomposition_j_mol() == pytest.approx(94.7e3, rel=2e-3)


def test_pure_peroxide_is_hotter_by_its_heat_of_mixing() -> None:
    # chemicals 1.5 Hfl: -187.80 and -285.825 kJ/mol
    assert st.enthalpy_j_mol("H2O") - st.enthalpy_j_mol("H2O2(l)") == pytest.approx(-98.0e3, abs=300)


def test_hydrogen_at_five_amperes() -> None:
    litres = st.hydrogen_l(5.0 * 60.0, 20.0)
    assert litres == pytest.approx(0.0374, rel=5e-3)
    assert air_for_hydrogen_l_min(litres) == pytest.approx(3.70, rel=5e-3)
