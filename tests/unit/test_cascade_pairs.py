"""Cascades: the table, how near a source stands, and which samples get a part for their sums."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from truekev.errors import UnknownNameError
from truekev.nuclides.cascades import cascade_pairs
from truekev.nuclides.lines import known_nuclides, photon_lines
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.sample import sample_of
from truekev.scale.whole.parts import SUMS, parts_of, without_source
from truekev.sources.described import resolve_source
from truekev.sources.nearness import share_of_second
from truekev.sources.source import Body
from truekev.transport.detector import DEFAULT_DETECTOR

CUBE_MM = (10.0, 10.0, 10.0)


def test_pairs_are_pairs_of_lines() -> None:
    n_pairs = 0
    for name in known_nuclides():
        energies = {line.energy_kev: line.intensity for line in photon_lines(name)}
        for pair in cascade_pairs(name):
            n_pairs += 1
            assert pair.nuclide == name
            assert 0.0 < pair.share <= 1.0
            assert energies[pair.first_kev] * pair.share >= 1e-4
            assert pair.second_kev in energies
    assert n_pairs > 1000


def test_no_second_gamma_ray_no_pairs() -> None:
    assert cascade_pairs("k40") == ()
    assert cascade_pairs("Cs-137") == ()
    with pytest.raises(UnknownNameError):
        cascade_pairs("Xx-1")


def test_second_photon_of_a_point() -> None:
    """A square of side a at distance d, seen along its axis: 4 arcsin(a2 / (a2 + 4 d2))."""
    for d in (2.0, 15.0, 80.0):
        exact = math.asin(100.0 / (100.0 + 4.0 * d * d)) / math.pi
        assert share_of_second(Body("point"), d, CUBE_MM) == pytest.approx(exact, rel=1e-9)


def test_second_photon_of_a_wide_body_sees_less() -> None:
    point, coin, plate = (
        share_of_second(Body("disc", diameter_mm=size, length_mm=1.0), 2.0, CUBE_MM) for size in (0.0, 10.0, 50.0)
    )
    assert point > coin > plate > 0.02
    rods = Body("rods", n_rods=10, diameter_mm=2.4, length_mm=175.0)
    assert share_of_second(rods, 2.0, CUBE_MM) > share_of_second(rods, 30.0, CUBE_MM)
    assert share_of_second(replace(rods, arrangement="bundled"), 2.0, CUBE_MM) > 0
    assert share_of_second(Body("surroundings"), 0.0, CUBE_MM) == 0.0
    # Far away only distance counts.
    far = share_of_second(Body("disc", diameter_mm=20.0, length_mm=2.0), 500.0, CUBE_MM)
    assert far == pytest.approx(100.0 / (4 * math.pi * 501.0**2), rel=0.02)


@pytest.mark.parametrize(
    ("word", "has"),
    [("thorium-vial", True), ("radium-dial", True), ("lutetium", True), ("Eu-152", False), ("room-background", False)],
)
def test_sums_belong_to_what_stands_near(word: str, has: bool) -> None:
    sample = sample_of([resolve_source(word)])
    assert (sample.pairs is not None) == has
    parts = parts_of(sample, crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR), with_room=False)
    assert (SUMS in parts.names) == has
    assert SUMS not in without_source(parts).names
    if has:
        at = parts.names.index(SUMS)
        assert at >= parts.n_source
        np.testing.assert_allclose(parts.continuum[2, :, at].sum(), 1.0)
        assert 1e-4 < parts.totals[at] / parts.totals[: parts.n_source].sum() < 0.1


def test_sums_fall_with_distance_and_with_matter_before_the_crystal() -> None:
    near = replace(resolve_source("Co-60"), distance_mm=5.0)
    a, b = (sample_of([replace(near, distance_mm=d)]).pairs for d in (5.0, 20.0))
    behind = sample_of([near], (DEFAULT_DETECTOR.window, 10.0)).pairs
    assert a is not None
    assert b is not None
    assert behind is not None
    assert a.first_kev.tolist() == [1173.228]
    assert a.rate[0] > 3.0 * b.rate[0]
    # Both photons have to come through.
    assert behind.rate[0] / a.rate[0] == pytest.approx(math.exp(-2 * 2.70 * 0.0566), rel=0.03)
