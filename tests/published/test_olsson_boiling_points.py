"""Boiling points of sodium hydroxide solutions, and the activity of water taken from them.

Source: Olsson, Jernqvist, Aly, Int. J. Thermophys. 18 (1997), coefficients seen in public code.
"""

from __future__ import annotations

import pytest

from truekev.bench import solution as sn


@pytest.mark.parametrize(("percent", "degc"), [(5, 101.3), (10, 102.8), (20, 107.9), (30, 117.0), (50, 146.4)])
def test_boiling_point(percent: float, degc: float) -> None:
    assert sn.boiling_point_degc(percent / 100) == pytest.approx(degc, abs=1.0)


def test_water_activity_falls_with_salt() -> None:
    assert sn.water_activity(0, 0, 0) == pytest.approx(1.0)
    assert 0.7 < sn.water_activity(5.1, 0, 0) < 0.9
    assert sn.water_activity(2, 1.6, 0) < sn.water_activity(2, 0, 0)
