"""NIST ESTAR (M. J. Berger et al., NISTIR 4999; ICRU Report 37): electron ranges in tungsten.

Seen as the range table of xpecgen 1.3.1. ESTAR states 1 to 2 % for collision stopping powers above 100 keV.
Water and aluminium values are from memory.
"""

from __future__ import annotations

import numpy as np

from truekev.matter.electrons import collision_stopping_power, csda_range_g_cm2, radiative_stopping_power
from truekev.matter.materials import material


def test_csda_range_in_tungsten() -> None:
    ranges = csda_range_g_cm2(material("W"), [100, 500, 1000, 2000, 2500])
    np.testing.assert_allclose(ranges, [0.02977, 0.3265, 0.7686, 1.613, 2.003], rtol=0.01)


def test_collision_stopping_power_from_memory() -> None:
    water = collision_stopping_power(material("water"), [10, 100, 1000])
    np.testing.assert_allclose(water, [22.56, 4.115, 1.849], rtol=0.015)
    aluminium = collision_stopping_power(material("Al"), [10, 100, 1000])
    np.testing.assert_allclose(aluminium, [16.49, 3.177, 1.465], rtol=0.015)


def test_radiative_stopping_power_from_memory() -> None:
    aluminium = radiative_stopping_power(material("Al"), [100, 1000])
    np.testing.assert_allclose(aluminium, [0.00749, 0.02119], rtol=0.02)
