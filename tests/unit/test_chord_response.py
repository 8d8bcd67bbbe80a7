"""The quick response: probabilities sum to one, and its peaks follow an independent code's.

Reference: ../shared/reference (Geant4 11.4.1 on NIST XCOM cross sections), CsI cube of 10 mm, point source at 100 mm.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from truekev.matter.photons import partial_cross_sections
from truekev.matter.scintillators import scintillator
from truekev.scale.crystal import Crystal, crystal_of
from truekev.transport.chord_response import STEP_KEV

REFERENCE = Path(__file__).parents[3] / "shared" / "reference"


@pytest.fixture(scope="module")
def cube() -> Crystal:
    return crystal_of(scintillator("CsI(Tl)"), size_mm=(10.0, 10.0, 10.0))


def test_probabilities(cube: Crystal) -> None:
    deposit = cube.response.deposit
    assert np.all(deposit >= 0)
    np.testing.assert_allclose(deposit[1:].sum(axis=1), 1.0, atol=1e-9)
    # nothing above the photon's energy
    assert np.all(deposit[np.triu_indices_from(deposit, k=1)] == 0)


def test_continuum_and_peak_make_up_the_interaction(cube: Crystal) -> None:
    response = cube.response
    for index in (60, 166, 500):
        energy = index * STEP_KEV
        whole = float(response.continuum(energy).sum() + response.full_energy(energy))
        assert whole == pytest.approx(1.0 - response.deposit[index, 0], rel=1e-6)


def test_a_larger_crystal_catches_more(cube: Crystal) -> None:
    large = crystal_of(scintillator("CsI(Tl)"), size_mm=(25.0, 25.0, 25.0))
    energies = np.array([300.0, 662.0, 1461.0, 2614.5])
    assert np.all(large.response.full_energy(energies) > 1.5 * cube.response.full_energy(energies))


needs_reference = pytest.mark.skipif(
    not REFERENCE.is_dir(), reason="the reference tables are not beside the project (../shared)"
)


def _peaks(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Energies from 59.5 to 1460.8 keV, and full-energy peak relative to 661.7 keV."""
    with (REFERENCE / name).open() as stream:
        rows = [row for row in csv.DictReader(stream) if 59 < float(row["E_keV"]) < 1500]
    energy = np.array([float(row["E_keV"]) for row in rows])
    peak = np.array([float(row["fep"]) for row in rows])
    assert energy.size == 13
    return energy, peak / peak[energy == 661.7]


@needs_reference
def test_peaks_of_a_parallel_beam_against_an_independent_code(cube: Crystal) -> None:
    # At 100 mm the photons run along the axis and see the whole depth; `crystal_of` takes four fifths of it, which
    # is a factor per energy.
    energy, there = _peaks("csi10_bare_100mm.csv")
    material = scintillator("CsI(Tl)").material
    partial = partial_cross_sections(material, energy)
    mu = (partial.photoelectric + partial.incoherent + partial.pair) * material.density_g_cm3
    here = cube.response.full_energy(energy) * np.expm1(-mu * 1.0) / np.expm1(-mu * 0.8)
    np.testing.assert_allclose(here / here[energy == 661.7], there, rtol=0.10)


@needs_reference
@pytest.mark.parametrize("name", ["csi10_bare_10mm.csv", "csi10_al0.5_10mm.csv", "csi10_bare_100mm.csv"])
def test_peaks_at_other_distances_are_as_good_as_the_module_says(cube: Crystal, name: str) -> None:
    energy, there = _peaks(name)
    here = cube.response.full_energy(energy) / cube.response.full_energy(661.7)
    np.testing.assert_allclose(here, there, rtol=0.30)
    above = energy > 200
    np.testing.assert_allclose(here[above], there[above], rtol=0.10)
