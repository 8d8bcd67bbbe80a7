"""Solubility and hydrates of sodium tungstate.

Source: the atomistry tungsten page (solubility after Funk).
"""

from __future__ import annotations

import pytest

from truekev.bench import solution as sn
from truekev.bench.bath import CRYSTAL_L_MOL
from truekev.bench.waste import waste_plan
from truekev.safety.cautions import cautions_for


@pytest.mark.parametrize(
    ("degc", "percent", "per_water"),
    [(0, 36.54, 57.6), (21, 42.27, 73.2), (43.5, 43.98, 78.5), (80.5, 47.65, 91.0), (100, 49.31, 97.3)],
)
def test_tungstate_solubility(degc: float, percent: float, per_water: float) -> None:
    solubility = sn.tungstate_solubility_g_per_100g_water(degc)
    assert solubility == pytest.approx(per_water, rel=0.01)
    assert 100 * solubility / (100 + solubility) == pytest.approx(percent, rel=0.01)


def test_dihydrate_density_from_the_same_page() -> None:
    litres = (293.8195 + 2 * 18.01528) / 3259.0
    assert pytest.approx(litres, rel=0.01) == CRYSTAL_L_MOL
    kept = waste_plan(
        tungstate_mol=1.0, sodium_mol=2.5, carbonate_mol=0.0, hydroxide_mol=0.5, volume_ml=700.0, thoria_g=1.0
    )
    assert kept.tungstate_crystals_ml == pytest.approx(1000 * litres, rel=0.01)


def test_decahydrate_below_six_degrees_is_cautioned() -> None:
    assert any("Below 6 °C" in caution.text and "decahydrate" in caution.text for caution in cautions_for("settle"))
