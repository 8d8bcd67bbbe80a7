"""Klein-Nishina cross section (O. Klein, Y. Nishina, Z. Phys. 52 (1929) 853) and the interpolation of the tables."""

from __future__ import annotations

import numpy as np
import pytest

from truekev.matter.materials import compound, material
from truekev.matter.photons import AVOGADRO, ELECTRON_KEV, klein_nishina_barn, partial_cross_sections


def test_klein_nishina() -> None:
    kev = [59.541, 238.632, 511.0, 661.655, 1173.2, 1460.8, 2614.5]
    expected = [0.54632, 0.38334, 0.28654, 0.25620, 0.19504, 0.17402, 0.12513]
    np.testing.assert_allclose(klein_nishina_barn(kev), expected, rtol=1e-4)


def test_bound_electrons_scatter_less_than_free_ones() -> None:
    crystal = material("CsI")
    free = klein_nishina_barn(661.7) * crystal.electrons_per_gram * AVOGADRO * 1e-24
    bound = partial_cross_sections(crystal, 661.7).incoherent
    assert 0.98 < bound / free < 0.99


def test_pair_production_starts_at_its_threshold() -> None:
    threshold = 2 * ELECTRON_KEV
    assert threshold == pytest.approx(1021.998, abs=0.01)
    assert 2 * threshold == pytest.approx(2043.996, abs=0.01)
    below, above, higher = partial_cross_sections(compound("Pb", 11.35), [threshold - 0.1, 1030.0, 1100.0]).pair
    assert below == 0
    assert 0 < above < higher


def test_interpolation_error_against_halved_grid() -> None:
    """Dropping every second node moves the interpolated incoherent cross section by less than 0.5 %."""
    kev = np.geomspace(10, 3000, 79)
    crystal = material("CsI")
    fine = partial_cross_sections(crystal, kev).incoherent
    coarse = np.exp(np.interp(np.log(kev), np.log(kev[::2]), np.log(fine[::2])))
    assert np.abs(coarse / fine - 1).max() < 0.005
