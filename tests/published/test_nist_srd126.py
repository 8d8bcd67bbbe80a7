"""NIST SRD 126 (J. H. Hubbell, S. M. Seltzer, NISTIR 5632, 1995/2004): tables of mass attenuation coefficients.

Seen as shipped in the package roentgen 2.4.0; half-value layers and slab self-absorption derived from it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from truekev.matter.materials import Material, compound, material
from truekev.matter.photons import partial_cross_sections

ATTENUATION = [
    ("W", [60, 100, 600, 1000, 3000], [3.713, 4.438, 0.1093, 0.06618, 0.04075]),
    ("W", [661.655, 2614.511], [0.09783, 0.04151]),
    ("Pb", [60, 100, 600, 1000, 3000], [5.021, 5.549, 0.1248, 0.07102, 0.04234]),
    ("CsI", [60, 100, 600, 1000, 3000], [7.921, 2.035, 0.08373, 0.05848, 0.03721]),
    ("CsI", [661.655, 2614.511], [0.07757, 0.03821]),
    ("NaI", [661.655, 2614.511], [0.07667, 0.03805]),
    ("Th", [60, 100, 600, 1000], [6.592, 1.830, 0.1435, 0.07709]),
    ("ThO2", [661.655, 2614.511], [0.11946, 0.04410]),
    ("water", [60, 600, 1000], [0.2059, 0.08956, 0.07072]),
    ("Al", [600], [0.07802]),
    ("Fe", [600], [0.07704]),
    ("glass", [600], [0.08035]),
]


def _material(name: str) -> Material:
    return compound("Th", 11.7) if name == "Th" else material(name)


@pytest.mark.parametrize(("name", "kev", "expected"), ATTENUATION)
def test_mass_attenuation(name: str, kev: list[float], expected: list[float]) -> None:
    total = partial_cross_sections(_material(name), kev).total
    np.testing.assert_allclose(total, expected, rtol=0.005)


@pytest.mark.parametrize(
    ("name", "kev", "expected_mm", "tolerance"),
    [
        ("W", 661.655, 3.67, 0.01),
        ("Pb", 661.655, 5.54, 0.01),
        ("Fe", 661.655, 11.98, 0.01),
        ("CsI", 661.655, 19.8, 0.01),
        ("W", 2614.5, 8.65, 0.01),
        ("Pb", 2614.5, 14.16, 0.01),
        ("ThO2", 2614.5, 15.7, 0.01),
        ("CsI", 2614.5, 40.2, 0.01),
    ],
)
def test_half_value_layer_of_a_narrow_beam(name: str, kev: float, expected_mm: float, tolerance: float) -> None:
    layer = material(name)
    per_cm = float(partial_cross_sections(layer, kev).total) * layer.density_g_cm3
    assert 10 * math.log(2) / per_cm == pytest.approx(expected_mm, rel=tolerance)


@pytest.mark.parametrize(
    ("kev", "expected"), [(59.5, 1.000), (238.6, 0.7017), (661.7, 0.2952), (1460.8, 0.1912), (2614.5, 0.1583)]
)
def test_intrinsic_efficiency_of_1_cm_csi(kev: float, expected: float) -> None:
    crystal = material("CsI")
    per_cm = float(partial_cross_sections(crystal, kev).total) * crystal.density_g_cm3
    assert 1 - math.exp(-per_cm) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(("length_cm", "expected"), [(2.54, 0.5107), (7.62, 0.8828)])
def test_intrinsic_efficiency_of_nai(length_cm: float, expected: float) -> None:
    crystal = material("NaI")
    per_cm = float(partial_cross_sections(crystal, 661.655).total) * crystal.density_g_cm3
    assert 1 - math.exp(-per_cm * length_cm) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("name", "thickness_cm", "expected", "tolerance"),
    [
        ("ThO2", 0.10, [0.309, 0.709, 0.933, 0.978], 0.01),
        ("W", 0.24, [0.025, 0.376, 0.778, 0.910], 0.015),
    ],
)
def test_self_absorption_of_a_slab(name: str, thickness_cm: float, expected: list[float], tolerance: float) -> None:
    slab = material(name)
    x = partial_cross_sections(slab, [77.1, 238.6, 583.2, 2614.5]).total * slab.density_g_cm3 * thickness_cm
    # the published row is rounded to three decimals
    np.testing.assert_allclose((1 - np.exp(-x)) / x, expected, rtol=tolerance, atol=0.0005)
