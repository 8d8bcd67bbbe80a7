"""ISO 361, basic ionising radiation symbol (measures from memory; the same in 10 CFR 20.1901 and IAEA SSR-6, figure 1).

A disc of radius R; three blades of 60 degrees between 1.5 R and 5 R, equally spaced.
"""

from __future__ import annotations

import io
import math
from functools import cache

import numpy as np
import pypdfium2
import pytest

from truekev.sheets.content import Label, Sheet
from truekev.sheets.pdf import sheet_pdf
from truekev.sheets.trefoil import BLADE_INNER, BLADE_OUTER

SHEET = Sheet(title="T", subtitle="", parts=(Label("R", (), True, 150.0, 120.0),), versions=())


@cache
def _symbol() -> np.ndarray:
    """The symbol on the printed sheet, True where it is black; cut to its yellow square."""
    document = pypdfium2.PdfDocument(io.BytesIO(sheet_pdf(SHEET)))
    picture = document[0].render(scale=4.0).to_numpy()[:, :, :3].astype(int)
    document.close()
    yellow = (np.abs(picture - [0, 213, 255]).sum(axis=2) < 30) | (np.abs(picture - [255, 213, 0]).sum(axis=2) < 30)
    rows, columns = np.flatnonzero(yellow.any(axis=1)), np.flatnonzero(yellow.any(axis=0))
    cut = picture[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return cut.sum(axis=2) < 120


def test_measures() -> None:
    assert BLADE_INNER == 1.5
    assert BLADE_OUTER == 5.0


def test_area_of_black() -> None:
    black = _symbol()
    radius = black.shape[0] / 11.2
    expected = math.pi * (1 + (5**2 - 1.5**2) / 2)  # a disc and three sectors of a sixth
    assert black.sum() / radius**2 == pytest.approx(expected, rel=0.01)


def test_three_blades_of_60_degrees_one_down() -> None:
    black = _symbol()
    middle, radius = np.array(black.shape) / 2, black.shape[0] / 11.2
    angles = np.arange(0, 360, 1.0)
    for at, blades in ((0.8, 360), (1.25, 0), (3.0, 180), (4.8, 180), (5.2, 0)):
        x = (middle[1] + at * radius * np.cos(np.radians(angles))).astype(int)
        y = (middle[0] + at * radius * np.sin(np.radians(angles))).astype(int)
        assert black[y, x].sum() == pytest.approx(blades, abs=6), at
    x = (middle[1] + 3 * radius * np.cos(np.radians(angles))).astype(int)
    y = (middle[0] + 3 * radius * np.sin(np.radians(angles))).astype(int)
    starts = angles[black[y, x] & ~np.roll(black[y, x], 1)]
    np.testing.assert_allclose(starts, [60, 180, 300], atol=2)  # 90 degrees is down on paper
