"""Kinematics of the spectrum of one line: closed forms (2 m c^2 thresholds, Compton edge, escape peaks), and bands.

Energies are E^2 formulas with CODATA constants; X-ray energies from xraylib 4.3.0. The photofraction bands are
handbook figures from memory (Heath; Marion and Young; Knoll), figures not seen.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.reference_rows import RowResult, reference_setup, run_reference_row

from truekev.matter.photons import ELECTRON_KEV


@pytest.mark.parametrize(
    ("kev", "edge_kev", "back_kev"),
    [
        (238.632, 115.24, 123.39),
        (583.187, 405.52, 177.66),
        (661.655, 477.33, 184.32),
        (911.196, 711.65, 199.55),
        (1460.82, 1243.36, 217.46),
        (2614.511, 2381.76, 232.75),
    ],
)
def test_compton_edge_and_backscatter_energy(kev: float, edge_kev: float, back_kev: float) -> None:
    edge = 2 * kev**2 / (ELECTRON_KEV + 2 * kev)
    assert edge == pytest.approx(edge_kev, abs=0.02)
    assert kev - edge == pytest.approx(back_kev, abs=0.02)


def test_escape_peaks_of_2614() -> None:
    kev = 2614.511
    assert kev - ELECTRON_KEV == pytest.approx(2103.512, abs=0.02)
    assert kev - 2 * ELECTRON_KEV == pytest.approx(1592.513, abs=0.02)
    spectrum = run_reference_row(reference_setup("csi10_bare_10mm"), kev, 600_000, bin_kev=1.0).histogram
    around = np.arange(1560, 1630)
    assert around[np.argmax(spectrum[around])] in (1592, 1593)


@pytest.fixture(scope="module")
def caesium() -> RowResult:
    return run_reference_row(reference_setup("csi10_bare_10mm"), 661.655, 600_000, bin_kev=1.0)


def test_spectrum_falls_at_the_compton_edge(caesium: RowResult) -> None:
    """A single scattering gives at most 477.3 keV; Doppler broadening and double scattering blur the step."""
    below = caesium.histogram[440:470].mean()
    above = caesium.histogram[495:525].mean()
    assert below > 4 * above
    step = caesium.histogram[468:488]
    assert step[:5].mean() > step[-5:].mean()


def test_peak_to_total_of_a_small_crystal(caesium: RowResult) -> None:
    assert 0.20 < caesium["fep"][0] / caesium["total"][0] < 0.40


def test_photofraction_of_a_3_inch_crystal() -> None:
    row = run_reference_row(reference_setup("nai3x3_100mm"), 661.655, 100_000)
    assert 0.50 < row["fep"][0] / row["total"][0] < 0.60


@pytest.mark.parametrize(("name", "below_kev"), [("nai2x2_100mm", 28.6), ("csi10_bare_10mm", 31.0)])
def test_escape_peak_lies_below_by_k_alpha(name: str, below_kev: float) -> None:
    """Iodine alone in NaI; in CsI iodine and caesium lie 2.4 keV apart."""
    kev = 59.541
    spectrum = run_reference_row(reference_setup(name), kev, 200_000, bin_kev=0.25).histogram
    window = (np.arange(len(spectrum)) + 0.5) * 0.25
    inside = np.abs(kev - below_kev - window) < 3.0
    place = np.average(window[inside], weights=spectrum[inside])
    assert kev - place == pytest.approx(below_kev, abs=1.2)
    highest = window[inside][np.argmax(spectrum[inside])]
    assert min(abs(kev - highest - x) for x in (28.612, 28.317, 30.973, 30.625)) < 0.5


def test_total_efficiency_equals_the_chord_through_the_crystal() -> None:
    """A bare crystal counts every collision: 1 - exp(-mu chord), averaged over directions, within 0.5 %.

    Coherent scattering alone does not deposit, hence the tolerance.
    """
    n = 300_000
    value, u = run_reference_row(reference_setup("nai3x3_100mm"), 1332.5, n)["total"]
    # ray tracing with NIST SRD 126 attenuation, ../shared/reference/nai3x3_100mm.csv
    assert value == pytest.approx(1.64114e-02, abs=3 * u + 0.005 * value)
