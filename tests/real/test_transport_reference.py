"""Independent transport code: the tables of ../shared/reference (Geant4 11.4.1 through geant4-pybind 0.1.3).

Its README says what they model: point source on the axis, vacuum, per photon into 4 pi. Thinned to seconds; the whole
comparison is studies/transport_reference.py and docs/validation/transport-reference.md.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from tests.support.reference_rows import reference_setup, run_reference_row

FOLDER = Path(__file__).parents[3] / "shared" / "reference"
pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="../shared/reference is not on this machine")

ROWS = [
    ("csi10_bare_10mm", 59.5, 0.03),
    ("csi10_bare_10mm", 238.6, 0.03),
    ("csi10_bare_10mm", 661.7, 0.03),
    ("csi10_bare_10mm", 2614.5, 0.05),
    ("csi10_bare_100mm", 122.0, 0.03),
    ("csi10_al0.5_10mm", 59.5, 0.03),
    ("csi10_al0.5_10mm", 661.7, 0.03),
    ("nai2x2_100mm", 344.0, 0.03),
    ("nai2x2_100mm", 1460.8, 0.03),
    ("nai3x3_100mm", 661.7, 0.03),
]


@pytest.mark.parametrize(("name", "kev", "bar"), ROWS)
def test_peak_and_total(name: str, kev: float, bar: float) -> None:
    with (FOLDER / f"{name}.csv").open() as file:
        reference = next(row for row in csv.DictReader(file) if float(row["E_keV"]) == kev)
    n = 300_000
    ours = run_reference_row(reference_setup(name), kev, n)
    for quantity, allowed in (("fep", bar), ("total", 0.02)):
        theirs, their_u = float(reference[quantity]), float(reference[f"{quantity}_err"])
        value, u = ours[quantity]
        ratio = value / theirs
        # the bar, widened by the statistics of a thin run
        assert abs(ratio - 1) < allowed + 2.5 * math.hypot(u / value, their_u / theirs), f"{quantity}: {ratio:.4f}"


def test_deposited_energy_has_the_shape_of_the_reference() -> None:
    table = np.genfromtxt(FOLDER / "hist_csi10_10mm_661.7.csv", delimiter=",", skip_header=3)
    ours = run_reference_row(reference_setup("csi10_bare_10mm"), 661.7, 400_000, bin_kev=2.0)
    width = 30
    theirs = table[: 8 * width, 3].reshape(8, width).sum(axis=1)
    their_u = np.sqrt((table[: 8 * width, 4] ** 2).reshape(8, width).sum(axis=1))
    mine = ours.histogram[: 8 * width].reshape(8, width).sum(axis=1)
    u = np.sqrt(mine * ours.weight / 400_000)
    pulls = (mine - theirs) / np.hypot(np.hypot(u, their_u), 0.02 * theirs)
    assert np.abs(pulls).max() < 3.5
