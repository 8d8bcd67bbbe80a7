"""Broad-beam half- and tenth-value layers of lead: USAF Technical Order 33B-1-1, Table 6-28.

Cs-137 6.5 and 21.6 mm, Co-60 12 and 40 mm. Its geometry is not described, so its layers are bracketed: the narrow
beam lets less through, a wide slab close before the detector, whose scatter all arrives, lets more through. A slab of
water behind a skin of water that stops electrons stands for dose.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from truekev.matter.materials import material
from truekev.matter.photons import partial_cross_sections
from truekev.matter.scintillators import Scintillator
from truekev.transport.response import Accuracy, Response, line_responses
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import DetectorGeometry, Layer, Setup, point_source, slab

WATER = Scintillator("water", material("water"), (1.0,), (1.0,), (0.0,))
DETECTOR = DetectorGeometry(WATER, (60.0, 60.0, 10.0), (Layer(material("water"), 5.0),))
LINES = {"Cs-137": (661.7,), "Co-60": (1173.2, 1332.5)}


def _dose(one: Response) -> float:
    middle = one.bin_edges_kev[:-1] + 0.5
    return float(one.probability() @ middle) + one.peak_efficiency.value * one.birth.top_kev


def _doses(nuclide: str, lead_mm: float, folder: Path) -> float:
    lead = (slab("shield", material("Pb"), -8.0 - lead_mm, lead_mm, 400.0),) if lead_mm else ()
    setup = Setup(DETECTOR, point_source(200.0), lead)
    accuracy = Accuracy(0.5, 100_000, 100_000, 2.0)
    return sum(map(_dose, line_responses(setup, LINES[nuclide], accuracy=accuracy, store=ResponseStore(folder))))


@pytest.mark.parametrize(
    ("nuclide", "lead_mm", "share"),
    [("Cs-137", 6.5, 0.5), ("Cs-137", 21.6, 0.1), ("Co-60", 12.0, 0.5), ("Co-60", 40.0, 0.1)],
)
def test_layer_of_lead(nuclide: str, lead_mm: float, share: float, tmp_path: Path) -> None:
    per_cm = partial_cross_sections(material("Pb"), np.array(LINES[nuclide])).total * material("Pb").density_g_cm3
    narrow = float(np.exp(-per_cm * lead_mm / 10).mean())
    wide = _doses(nuclide, lead_mm, tmp_path) / _doses(nuclide, 0.0, tmp_path)
    assert narrow < share < wide
    assert wide < 2.0 * share  # build-up of at most some two mean free paths
