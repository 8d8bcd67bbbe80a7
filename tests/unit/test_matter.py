from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.matter.elements import N_ELEMENTS, element, shells, xray_lines
from truekev.matter.materials import compound, formula_mass_fractions, known_materials, material, mixture
from truekev.matter.photons import absorption_edges_kev, partial_cross_sections, shell_shares
from truekev.matter.scintillators import known_scintillators, scintillator


@pytest.mark.parametrize("name", known_materials())
def test_every_known_material_has_cross_sections(name: str) -> None:
    values = partial_cross_sections(material(name), [1.0, 59.5, 661.7, 2614.5, 5000.0])
    assert np.all(values.total > 0)
    assert np.all(np.diff(values.total[:3]) < 0)


def test_unknown_material_offers_near_names() -> None:
    with pytest.raises(UnknownNameError, match="tungsten"):
        material("tungstn")


@pytest.mark.parametrize("density", [0.0, -1.0, 23.0, float("nan")])
def test_density_that_no_material_has(density: float) -> None:
    with pytest.raises(OutOfRangeError, match="density"):
        compound("ThO2", density)


@pytest.mark.parametrize("density", [0.0, 10.2])
def test_density_that_no_powder_has(density: float) -> None:
    with pytest.raises(OutOfRangeError, match="powder"):
        material("thoria").with_density(density)
    assert material("thoria").with_density(2.5).density_g_cm3 == 2.5


@pytest.mark.parametrize("formula", ["", "csi", "Cs I", "Ca(OH", "CaOH)2", "(2H"])
def test_formula_that_cannot_be_read(formula: str) -> None:
    with pytest.raises(InputError):
        formula_mass_fractions(formula)


def test_formula_with_brackets_counts_atoms() -> None:
    assert formula_mass_fractions("Ca(OH)2") == formula_mass_fractions("CaO2H2")
    assert formula_mass_fractions("Gd3(AlGa)2O12") == formula_mass_fractions("Gd3Al2Ga2O12")


def test_mixture_scales_its_parts() -> None:
    doubled = mixture("x", 1.0, {"H2O": 2.0, "NaCl": 2.0}).mass_fractions
    assert np.array(doubled) == pytest.approx(np.array(mixture("x", 1.0, {"H2O": 0.5, "NaCl": 0.5}).mass_fractions))


@pytest.mark.parametrize("z", range(1, N_ELEMENTS + 1))
def test_shells_hold_all_electrons(z: int) -> None:
    assert sum(s.n_electrons for s in shells(z)) == pytest.approx(z, abs=1e-4)
    for line in xray_lines(z):
        edges = {s.name: s.edge_kev for s in shells(z)}
        assert line.energy_kev < edges[line.vacancy]


@given(st.integers(2, N_ELEMENTS), st.floats(1.0, 1000.0))
def test_shares_of_shells_are_shares(z: int, kev: float) -> None:
    shares = shell_shares(z, kev)[:, 0]
    assert np.all(shares >= 0)
    assert shares.sum() <= 1 + 1e-12


def test_no_interpolation_across_an_edge() -> None:
    iodine_kev = absorption_edges_kev(53)[-1]
    below, above = partial_cross_sections(compound("I", 4.9), [iodine_kev * 0.9999, iodine_kev * 1.0001]).total
    assert above / below == pytest.approx(5.47, rel=0.01)  # NIST SRD 126, total, from memory


@pytest.mark.parametrize("kev", [0.9, 5001.0, float("nan")])
def test_energy_out_of_range(kev: float) -> None:
    with pytest.raises(OutOfRangeError, match="photon energy"):
        partial_cross_sections(material("CsI"), kev)


@pytest.mark.parametrize("name", known_scintillators())
def test_electron_response_is_smooth_and_near_one(name: str) -> None:
    crystal = scintillator(name)
    kev = np.geomspace(0.1, 3000, 500)
    response = crystal.electron_response(kev)
    assert np.all((response > 0.75) & (response < 1.25))
    assert np.abs(np.diff(response)).max() < 0.01
    assert np.all(crystal.band_half_width(kev) > 0)
    assert element(crystal.material.mass_fractions[-1][0]).z > 30


def test_unknown_scintillator() -> None:
    with pytest.raises(UnknownNameError, match="scintillator"):
        scintillator("plastic")
