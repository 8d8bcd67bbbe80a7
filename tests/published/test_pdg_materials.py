"""Particle Data Group, Atomic and Nuclear Properties of Materials: CsI and NaI (transcription seen).

Stopping powers are the Bethe formula with these parameters; ranges integrate them with a radiative part scaled from
ESTAR's tungsten.
"""

from __future__ import annotations

import numpy as np
import pytest

from truekev.matter.electrons import (
    collision_stopping_power,
    csda_range_g_cm2,
    density_effect,
    mean_excitation_ev,
)
from truekev.matter.materials import compound, material

KEV = [100, 500, 1000, 2000]


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("CsI", (553.1, 6.2807, 0.0395, 3.3353, 0.2538, 2.6657)),
        ("NaI", (452.0, 6.0572, 0.1203, 3.592, 0.1252, 3.0398)),
    ],
)
def test_sternheimer_parameters(name: str, expected: tuple[float, ...]) -> None:
    p = density_effect(material(name))
    assert (p.mean_excitation_ev, p.C, p.x0, p.x1, p.a, p.k) == expected


@pytest.mark.parametrize(
    ("name", "stopping", "ranges"),
    [
        ("CsI", [2.233, 1.182, 1.110, 1.136], [0.0271, 0.304, 0.720, 1.527]),
        ("NaI", [2.382, 1.249, 1.169, 1.193], [0.0253, 0.288, 0.687, 1.467]),
    ],
)
def test_stopping_power_and_range(name: str, stopping: list[float], ranges: list[float]) -> None:
    np.testing.assert_allclose(collision_stopping_power(material(name), KEV), stopping, rtol=0.015)
    np.testing.assert_allclose(csda_range_g_cm2(material(name), KEV), ranges, rtol=0.04)


@pytest.mark.parametrize(("formula", "density", "name"), [("CsI", 4.51, "CsI"), ("NaI", 3.67, "NaI")])
def test_general_parameters_come_near_the_published_ones(formula: str, density: float, name: str) -> None:
    general = compound(formula, density, "declared by hand")
    assert mean_excitation_ev(general) == pytest.approx(mean_excitation_ev(material(name)), rel=0.005)
    ratio = collision_stopping_power(general, KEV) / collision_stopping_power(material(name), KEV)
    np.testing.assert_allclose(ratio, 1, atol=0.02)
