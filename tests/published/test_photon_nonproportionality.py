"""Photon curve of CsI(Tl) and NaI(Tl): figures of Syntfeld-Kazuch 2006/2008, Moszynski, Dorenbos 1995, from memory.

Wide bands, no calibration data: they test that electron light plus transport gives the photon curve.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from truekev.transport.response import Accuracy, line_responses
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import DetectorGeometry, Setup, point_source


@pytest.mark.parametrize(
    ("name", "size_mm", "points"),
    [
        (
            "CsI(Tl)",
            (10.0, 10.0, 10.0),
            [
                (59.5, 1.10, 0.04),
                (122.1, 1.07, 0.03),
                (238.6, 1.04, 0.02),
                (511.0, 1.01, 0.01),
                (661.7, 1.000, 0.003),
                (1332.5, 0.985, 0.015),
                (2614.5, 0.975, 0.02),
            ],
        ),
        (
            "NaI(Tl)",
            (50.8, 50.8),
            [(59.5, 1.15, 0.04), (122.1, 1.10, 0.03), (661.7, 1.000, 0.003), (1332.5, 0.98, 0.015)],
        ),
    ],
)
def test_photon_curve(
    name: str, size_mm: tuple[float, ...], points: list[tuple[float, float, float]], tmp_path: Path
) -> None:
    setup = Setup(DetectorGeometry(name, size_mm), point_source(50.0))
    found = line_responses(
        setup, [p[0] for p in points], accuracy=Accuracy(0.1, 60_000, 60_000), store=ResponseStore(tmp_path)
    )
    for (kev, light, band), response in zip(points, found, strict=True):
        assert 1 + response.peak_mean_d_kev / kev == pytest.approx(light, abs=band), kev


def test_k_dip_of_iodine(tmp_path: Path) -> None:
    """Just above the K edge at 33.17 keV the energy is split over more and softer electrons: less light per energy.

    Published figures show 0.02 to 0.04; our curve below 10 keV is a trend only and gives less. The sign is tested.
    """
    setup = Setup(DetectorGeometry("NaI(Tl)", (50.8, 50.8)), point_source(50.0))
    below, above = line_responses(
        setup, [33.0, 34.0], accuracy=Accuracy(0.1, 60_000, 60_000), store=ResponseStore(tmp_path)
    )
    drop = below.peak_mean_d_kev / 33.0 - above.peak_mean_d_kev / 34.0
    assert 0.001 < drop < 0.06
