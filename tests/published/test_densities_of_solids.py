"""Densities of tungsten, thoria and calcium tungstate, and which filters hold the oxide.

Source: NIST SRD 126 Table 1 (W), ICRU table (CaWO4), CRC Handbook from memory (ThO2); filters: common practice, no
source.
"""

from __future__ import annotations

import pytest

from truekev.bench.settling import (
    CALCIUM_TUNGSTATE_G_CM3,
    filter_holds,
)
from truekev.sources.stock import THORIA_G_CM3, TUNGSTEN_G_CM3


def test_densities() -> None:
    assert pytest.approx(19.3, rel=0.01) == TUNGSTEN_G_CM3
    assert pytest.approx(10.0, rel=0.01) == THORIA_G_CM3
    assert pytest.approx(6.062, rel=0.01) == CALCIUM_TUNGSTATE_G_CM3


def test_coarse_filters_pass_the_oxide() -> None:
    # common practice, no source: coarse papers (8 to 25 µm) pass thoria of 1.5 to 4 µm
    for grain in (1.5, 4.0):
        assert not filter_holds(grain)["coarse paper"]
        assert filter_holds(grain)["membrane 0.45 µm"]
