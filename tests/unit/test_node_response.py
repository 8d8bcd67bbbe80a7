"""The response at chosen energies and between them: adds up, keeps its marks, follows an independent code.

Reference: ../shared/reference (Geant4 11.4.1 on NIST XCOM cross sections), CsI cube of 10 mm in 0.5 mm of aluminium,
point source 10 mm away. Ours is for 15 mm.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from truekev.scale.crystal import crystal_of
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.node_response import NODES_KEV, STEP_KEV, NodeResponse, from_bytes, to_bytes

REFERENCE = Path(__file__).parents[3] / "shared" / "reference"


@pytest.fixture(scope="module")
def response() -> NodeResponse:
    return crystal_of(DEFAULT_DETECTOR).response


def test_probabilities(response: NodeResponse) -> None:
    assert np.all(response.continuum >= 0)
    assert np.all(response.peak > 0)
    assert np.all(response.peak + response.continuum.sum(axis=1) < 1)
    # nothing above the photon's energy
    lower_edges = response.bin_edges_kev[:-1]
    for energy, row in zip(response.nodes_kev, response.continuum, strict=True):
        assert row[lower_edges > energy].sum() == 0


@pytest.mark.parametrize("energy", [45.0, 70.0, 238.6, 661.7, 800.0, 1460.8, 2614.5, 2700.0])
def test_between_nodes_nothing_is_lost(response: NodeResponse, energy: float) -> None:
    probability, weighted = response.deposits(energy)
    whole = float(np.interp(np.log(energy), np.log(response.nodes_kev), response.continuum.sum(axis=1)))
    assert probability.sum() == pytest.approx(whole, rel=1e-3)
    assert np.all(probability >= 0)
    assert weighted.shape == probability.shape


@pytest.mark.parametrize("energy", [630.0, 695.0, 1120.0, 1700.0])
def test_the_compton_edge_stands_where_it_belongs(response: NodeResponse, energy: float) -> None:
    # largest electron energy of a free electron, E * 2a / (1 + 2a): textbook
    alpha = energy / 510.998950
    edge = energy * 2 * alpha / (1 + 2 * alpha)
    probability, _ = response.deposits(energy)
    centres = response.bin_edges_kev[:-1] + 0.5 * STEP_KEV
    below = probability[(centres > edge - 60) & (centres < edge - 20)].mean()
    above = probability[(centres > edge + 20) & (centres < edge + 60)].mean()
    assert below > 1.6 * above


def test_a_node_gives_itself(response: NodeResponse) -> None:
    for row in (10, 32, 45):
        energy = float(response.nodes_kev[row])
        assert float(response.full_energy(energy)) == pytest.approx(response.peak[row])
        probability, _ = response.deposits(energy)
        np.testing.assert_allclose(probability, response.continuum[row], atol=1e-12)


def test_bytes_come_back(response: NodeResponse) -> None:
    back = from_bytes(to_bytes(response))
    np.testing.assert_array_equal(back.peak, response.peak)
    np.testing.assert_allclose(back.continuum, response.continuum, rtol=1e-6)
    assert tuple(back.nodes_kev) == NODES_KEV


@pytest.mark.skipif(not REFERENCE.is_dir(), reason="the reference tables are not beside the project (../shared)")
def test_peak_probabilities_against_an_independent_code(response: NodeResponse) -> None:
    with (REFERENCE / "csi10_al0.5_10mm.csv").open() as stream:
        rows = [row for row in csv.DictReader(stream) if 59 < float(row["E_keV"]) < 1500]
    energy = np.array([float(row["E_keV"]) for row in rows])
    peak = np.array([float(row["fep"]) for row in rows])
    assert energy.size == 13
    here = response.full_energy(energy) / response.full_energy(661.7)
    np.testing.assert_allclose(here, peak / peak[energy == 661.7], rtol=0.10)
