"""Elastic scattering of electrons: W. A. McKinley, H. Feshbach, Phys. Rev. 74 (1948) 1759, good for light elements.

The table of spin factors comes from the exact Mott series; for carbon both must agree.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from truekev.matter.electrons import transport_cross_sections_cm2_g
from truekev.matter.materials import compound
from truekev.matter.photons import ELECTRON_KEV

ALPHA = 7.2973525693e-3


@pytest.mark.parametrize("kev", [50.0, 500.0, 2000.0])
def test_carbon_against_mckinley_feshbach(kev: float) -> None:
    z, atomic_weight = 6, 12.011
    tau = kev / ELECTRON_KEV
    momentum = math.sqrt(tau * (tau + 2))
    beta = momentum / (tau + 1)
    u = np.geomspace(1e-12, 2, 4000)
    s = np.sqrt(u / 2)
    chi2 = (ALPHA * z ** (1 / 3) / 0.885 / momentum) ** 2 * (1.13 + 3.76 * (ALPHA * z / beta) ** 2)
    spin = 1 - (beta * s) ** 2 + math.pi * ALPHA * z * beta * s * (1 - s)
    integral = np.trapezoid(spin * u * u / (u + chi2 / 2) ** 2, np.log(u))
    per_gram = 6.02214076e23 / atomic_weight
    expected = 2 * math.pi * z * (z + 1) * (2.8179403262e-13 / (momentum * beta)) ** 2 * integral * per_gram
    found, _ = transport_cross_sections_cm2_g(compound("C", 2.0), kev)
    assert float(found[0]) == pytest.approx(expected, rel=0.01)


def test_heavy_elements_scatter_more_than_the_approximation() -> None:
    """For Z = 54 the exact series is 6 to 12 % above spinless Rutherford scattering between 0.1 and 2 MeV."""
    kev = np.array([100.0, 1000.0, 2000.0])
    first, second = transport_cross_sections_cm2_g(compound("CsI", 4.51), kev)
    assert np.all(np.diff(first) < 0)
    assert np.all(second < 3 * first)
    assert np.all(second > 2 * first)
