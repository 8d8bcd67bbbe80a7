"""NIST SRD 126 (J. H. Hubbell, S. M. Seltzer): mass energy-absorption coefficients, seen in roentgen 2.4.0."""

from __future__ import annotations

import numpy as np
import pytest

from truekev.matter.absorption import mass_energy_absorption, radiation_yield
from truekev.matter.electrons import collision_stopping_power, radiative_stopping_power
from truekev.matter.materials import material


@pytest.mark.parametrize(
    ("name", "kev", "expected", "tolerance"),
    [
        ("air", [60, 600, 1000, 3000], [0.03041, 0.02953, 0.02789, 0.02057], 0.01),
        ("CsI", [60, 600, 1000], [4.586, 0.03657, 0.02657], 0.02),
    ],
)
def test_energy_absorption(name: str, kev: list[float], expected: list[float], tolerance: float) -> None:
    np.testing.assert_allclose(mass_energy_absorption(material(name), kev), expected, rtol=tolerance)


def test_radiation_yield_lies_below_the_share_of_the_radiative_stopping_power() -> None:
    kev = np.array([100.0, 500.0, 1000.0, 3000.0])
    for name in ("water", "CsI", "lead"):
        radiative = radiative_stopping_power(material(name), kev)
        share = radiative / (radiative + collision_stopping_power(material(name), kev))
        found = radiation_yield(material(name), kev)
        assert np.all((found > 0.3 * share) & (found < share))
        assert np.all(np.diff(found) > 0)
