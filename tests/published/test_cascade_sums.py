"""Photons of one decay that come together, against decay schemes and the textbook formula of two photons."""

from __future__ import annotations

import numpy as np
import pytest

from truekev.nuclides.cascades import CascadePair, cascade_pairs
from truekev.nuclides.lines import photon_lines
from truekev.scale.crystal import crystal_of
from truekev.scale.sample import Pairs
from truekev.scale.templates import nominal_pulse_kev
from truekev.scale.whole.continua import KAPPAS, U_EDGES, sums_on_u
from truekev.transport.detector import DEFAULT_DETECTOR


def pair(nuclide: str, first_kev: float, second_kev: float) -> CascadePair:
    (found,) = (
        one
        for one in cascade_pairs(nuclide)
        if abs(one.first_kev - first_kev) < 0.05 and abs(one.second_kev - second_kev) < 0.05
    )
    return found


@pytest.mark.parametrize("first_kev", [583.187, 860.53])
def test_tl_208_feeds_the_level_of_2614_kev(first_kev: float) -> None:
    """DDEP (LNHB, Surrey 2010): level indices of Tl-208; true sum 583 + 2614 = 3197.70 keV."""
    found = pair("Tl-208", first_kev, 2614.511)
    assert found.share == pytest.approx(0.99755 / 1.0, abs=0.003)
    if first_kev < 600:
        assert found.first_kev + found.second_kev == pytest.approx(3197.70, abs=0.02)


@pytest.mark.parametrize("first_kev", [510.74, 277.37])
def test_tl_208_feeds_above_583_kev(first_kev: float) -> None:
    """DDEP (LNHB, Surrey 2010): both lines end on the level that 583.187 keV starts from; its conversion is 2 %."""
    assert pair("Tl-208", first_kev, 583.187).share == pytest.approx(0.98, abs=0.01)


@pytest.mark.parametrize(
    ("nuclide", "first_kev", "second_kev", "photons"),
    [
        # DDEP: photons of the first line per decay; the second follows each, less conversion.
        ("Co-60", 1173.228, 1332.492, 0.9985),
        ("Na-22", 510.999, 1274.537, 1.798),
        ("Bi-214", 1120.287, 609.312, 0.1491),
        # DDEP: 121.78 keV of Sm-152 has a conversion coefficient of 1.155, so that 1 in 2.155 is a photon.
        ("Eu-152", 1408.013, 121.7817, 0.2085 / 2.155),
        ("Eu-152", 778.9045, 344.2785, 0.1297 / 1.04),
    ],
)
def test_pairs_per_decay(nuclide: str, first_kev: float, second_kev: float, photons: float) -> None:
    found = pair(nuclide, first_kev, second_kev)
    (line,) = (one for one in photon_lines(nuclide) if one.energy_kev == found.first_kev and one.kind != "x-ray")
    assert line.intensity * found.share == pytest.approx(photons, rel=0.03)


def test_what_a_long_lived_level_makes_comes_too_late() -> None:
    """Se-75: the level of As-75 at 303.9 keV lives for 17.6 ms (ENSDF), and 96.7 keV feeds it."""
    assert not [one for one in cascade_pairs("Se-75") if abs(one.first_kev - 96.73) < 0.1]


def test_two_photons_in_the_crystal() -> None:
    """N = N0 e1 e2, peaks and totals, directions independent (Kafala 1995, J. Radioanal. Nucl. Chem. 191, 105)."""
    crystal = crystal_of(DEFAULT_DETECTOR)
    energy = np.array([583.187, 1332.492])
    made = sums_on_u(Pairs(energy[:1], energy[1:], np.array([7.0])), crystal.response, crystal.curve)
    peaks = crystal.response.full_energy(energy)
    totals = peaks + np.array([crystal.response.deposits(float(e))[0].sum() for e in energy])
    np.testing.assert_allclose(made.sum(axis=1), 7.0 * totals.prod(), rtol=1e-3)
    for q, kappa in enumerate(KAPPAS):
        light = float(np.sum(crystal.curve.light_mev(energy, float(kappa))))
        grid = np.linspace(1500.0, 2300.0, 4000)
        same = float(np.interp(light, crystal.curve.light_mev(grid, float(kappa)), grid))
        # The crystal makes less light per keV at high energy: two photons shine more than one of their sum.
        assert same > energy.sum()
        place = float(np.sqrt(nominal_pulse_kev(crystal.curve, same)))
        at_peak = np.abs(0.5 * (U_EDGES[1:] + U_EDGES[:-1]) - place) < 0.15
        near = np.abs(0.5 * (U_EDGES[1:] + U_EDGES[:-1]) - (place - 0.5)) < 0.15
        assert made[q][at_peak].sum() - made[q][near].sum() == pytest.approx(7.0 * peaks.prod(), rel=0.1)
