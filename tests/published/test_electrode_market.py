"""Thoriated electrodes.

Sources: ISO 6848 as quoted on an encyclopedia page on tungsten electrodes (the table of the standard itself not
seen); ORAU health physics
collection, page on thoriated welding rods.
"""

from __future__ import annotations

import pytest

from truekev.bench.rods import anode_content
from truekev.bench.settings import batch_from_mapping
from truekev.bench.stoichiometry import charge_ah
from truekev.errors import UnknownNameError
from truekev.sources.stock import THORIUM_IN_THORIA, electrode_class


@pytest.mark.parametrize(
    ("name", "low", "high", "colour"),
    [
        ("WT10", 0.80, 1.20, "yellow"),
        ("WT20", 1.70, 2.20, "red"),
        ("WT30", 2.80, 3.20, "violet"),
        ("WT40", 3.80, 4.20, "orange"),
    ],
)
def test_classes(name: str, low: float, high: float, colour: str) -> None:
    c = electrode_class(name.lower())
    assert (100 * c.lowest, 100 * c.highest) == pytest.approx((low, high))
    assert c.colour == colour


def _one_rod(length_mm: float, name: str = "WT20"):
    return anode_content(
        batch_from_mapping(
            {
                "name": "One rod",
                "start": "2026-10-05T09:00:00",
                "rods": [{"count": 1, "diameter_mm": 2.4, "length_mm": length_mm, "class": name}],
                "cell": {"volume_ml": 100, "vessel_diameter_mm": 60},
                "hydroxide": {"mass_g": 15},
                "supply": {"current_a": 1, "rating_a": 2},
            }
        )
    )


def test_rod_of_150_mm() -> None:
    rod = _one_rod(150)
    assert rod.mass_g.value == pytest.approx(12.83, rel=0.01)
    thorium = rod.thoria_g.value * THORIUM_IN_THORIA
    assert thorium == pytest.approx(0.2254, rel=0.01)
    assert rod.activity_bq.value == pytest.approx(917, rel=0.01)
    assert thorium == pytest.approx(
        0.23, rel=0.04
    )  # ORAU: a typical rod of 2.4 mm x 15 cm, 2 %, holds 0.23 g of thorium


def test_rod_of_175_mm() -> None:
    rod = _one_rod(175)
    assert rod.mass_g.value == pytest.approx(14.96, rel=0.01)
    assert rod.thoria_g.value == pytest.approx(0.2993, rel=0.01)
    assert rod.thoria_g.value * THORIUM_IN_THORIA == pytest.approx(0.2630, rel=0.01)
    assert rod.activity_bq.value == pytest.approx(1070, rel=0.01)
    assert charge_ah(rod.tungsten_g.value) == pytest.approx(12.83, rel=0.01)
    low, high = (limit / rod.activity_bq.value - 1 for limit in rod.activity_limits_bq)
    assert (low, high) == pytest.approx((-0.15, 0.10), abs=0.002)


@pytest.mark.parametrize(("diameter", "length"), [(0.25, 76), (6.35, 610)])
def test_sizes_on_the_market_are_taken(diameter: float, length: float) -> None:
    # ORAU: 0.25 to 6.35 mm by 7.6 to 61 cm
    entries = {
        "name": "Market",
        "start": "2026-10-05T09:00:00",
        "rods": [{"count": 1, "diameter_mm": diameter, "length_mm": length, "class": "WT10"}],
        "cell": {"volume_ml": 100, "vessel_diameter_mm": 60},
        "hydroxide": {"mass_g": 15},
        "supply": {"current_a": 1, "rating_a": 2},
    }
    assert anode_content(batch_from_mapping(entries)).mass_g.value > 0


def test_other_classes_hold_no_thoria() -> None:
    with pytest.raises(UnknownNameError, match="hold no thoria"):
        _one_rod(150, "WL15")
