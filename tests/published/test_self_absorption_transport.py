"""Self-absorption and narrow-beam attenuation by the engine against NIST SRD 126 (seen in roentgen 2.4.0).

Slab (1 - exp(-x))/x for ThO2 1 mm and tungsten 2.4 mm; layers, cylinders and balls along the beam by exp(-mu t).
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from truekev.matter.materials import material
from truekev.matter.photons import partial_cross_sections
from truekev.transport.response import ROUTES, Accuracy, line_responses
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import DetectorGeometry, Part, Setup, SourceBody, point_source
from truekev.transport.solids import Ball, Box, Cylinder, Solid

DETECTOR = DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0))
ACCURACY = Accuracy(0.004, 200_000, 1_500_000, 0.0)
DIRECT = ROUTES.index("direct")


def _direct_peak(setup: Setup, kev: float, folder: Path) -> float:
    found = line_responses(setup, [kev], accuracy=ACCURACY, store=ResponseStore(folder))[0]
    return float(found.peak[DIRECT, 0])


@pytest.mark.parametrize(
    ("name", "thickness_mm", "kev", "expected"),
    [
        ("ThO2", 1.0, 77.1, 0.309),
        ("ThO2", 1.0, 238.6, 0.709),
        ("ThO2", 1.0, 583.2, 0.933),
        ("W", 2.4, 238.6, 0.376),
        ("W", 2.4, 583.2, 0.778),
    ],
)
def test_slab(name: str, thickness_mm: float, kev: float, expected: float, tmp_path: Path) -> None:
    body = Box((4.0, 4.0, thickness_mm), (0.0, 0.0, -150.0))
    plain = Setup(DETECTOR, SourceBody((body,)))
    wide = Box((60.0, 60.0, thickness_mm), (0.0, 0.0, -150.0))
    absorbing = Setup(DETECTOR, SourceBody((body,), (), (Part("slab", wide, material(name)),)))
    ratio = _direct_peak(absorbing, kev, tmp_path) / _direct_peak(plain, kev, tmp_path)
    # coherent scattering by small angles still reaches the crystal: between the published figure and one without it
    part = partial_cross_sections(material(name), kev)
    x = float(part.total - part.coherent) * material(name).density_g_cm3 * thickness_mm / 10
    assert 0.985 * expected < ratio < 1.015 * (1 - math.exp(-x)) / x


@pytest.mark.parametrize(
    ("solid", "path_mm"),
    [
        (Box((40.0, 40.0, 5.0), (0.0, 0.0, -80.0)), 5.0),
        (Cylinder(40.0, 5.0, (0.0, 0.0, -80.0), "z"), 5.0),
        (Cylinder(20.0, 60.0, (0.0, 0.0, -80.0), "x"), 20.0),
        (Cylinder(20.0, 60.0, (0.0, 0.0, -80.0), "y"), 20.0),
        (Ball(20.0, (0.0, 0.0, -80.0)), 20.0),
    ],
)
def test_narrow_beam_through_one_body(solid: Solid, path_mm: float, tmp_path: Path) -> None:
    """A small crystal far away sees a source through the middle of an aluminium body."""
    kev = 661.7
    small = DetectorGeometry("CsI(Tl)", (2.0, 2.0, 2.0))
    aluminium = material("Al")
    open_beam = Setup(small, point_source(150.0))
    through = Setup(small, point_source(150.0), (Part("absorber", solid, aluminium),))
    per_mm = float(partial_cross_sections(aluminium, kev).total) * aluminium.density_g_cm3 / 10
    ratio = _direct_peak(through, kev, tmp_path) / _direct_peak(open_beam, kev, tmp_path)
    assert ratio == pytest.approx(math.exp(-per_mm * path_mm), rel=0.02)
