"""Common practice, no source: what a make of this size takes, as people who do it tell, and one worked case.

The worked case: 60 g of 2.0 % rods, all dissolved (no fines, all charge on tungsten), 40 g pure NaOH in 200 mL. Its
arithmetic follows from
stoichiometry; the bands of temperature, evaporation and yield are those of practice.
"""

from __future__ import annotations

import dataclasses

import pytest
from tests.support.batches import worked_case, worked_entries

from truekev.bench.cleanup import Dose, cleanup_plan, dose_heat
from truekev.bench.course import EndEvent
from truekev.bench.plan import MakePlan, bath_heat_w, plan_make
from truekev.bench.settings import CleanupSettings, RecoverySettings, batch_from_mapping
from truekev.bench.settling import filter_holds, settling_table, water_20_degc
from truekev.bench.washing import alumina_from_g, flocculation
from truekev.bench.waste import waste_plan
from truekev.errors import RefusedError


@pytest.fixture(scope="module")
def plan() -> MakePlan:
    return plan_make(worked_case())


def test_content(plan: MakePlan) -> None:
    c = plan.content
    assert c.thoria_g.value == pytest.approx(1.200, abs=0.0005)
    assert c.tungsten_g.value == pytest.approx(58.80, abs=0.005)
    assert c.activity_bq.value == pytest.approx(4290, rel=0.003)
    assert c.thoria_limits_g == pytest.approx((1.02, 1.32), rel=1e-3)
    assert c.activity_limits_bq == pytest.approx((3640, 4720), rel=3e-3)


def test_all_of_it_dissolves(plan: MakePlan) -> None:
    assert plan.end is EndEvent.DISSOLVED
    assert plan.tungsten_dissolved_g.value == pytest.approx(58.80, abs=0.02)
    assert plan.thoria_freed_g.value == pytest.approx(1.200, abs=0.001)


def test_charge(plan: MakePlan) -> None:
    assert 51.42 <= plan.charge_ah.value <= 51.43 * 1.10


@pytest.mark.parametrize(("amperes", "hours"), [(1.0, 51.4), (1.5, 34.3), (2.0, 25.7)])
def test_duration(amperes: float, hours: float) -> None:
    assert hours <= plan_make(worked_case(current_a=amperes)).duration_h.value <= 1.10 * hours


def test_hydroxide(plan: MakePlan) -> None:
    assert plan.hydroxide_needed_g.value == pytest.approx(25.6, rel=3e-3)
    assert plan.hydroxide_excess.value == pytest.approx(1.56, rel=3e-3)


def test_excess_after_assay_and_air() -> None:
    entries = worked_entries() | {"hydroxide": {"mass_g": 40}}
    p = plan_make(batch_from_mapping(entries))
    net_of_air = p.hydroxide_excess.value - 2 * p.carbon_dioxide_mol.value * 40.0 / p.hydroxide_needed_g.value
    assert 1.3 <= net_of_air <= 1.52


def test_composition_at_the_end(plan: MakePlan) -> None:
    assert 1.0 <= plan.hydroxide_end_mol_l.value <= 1.75
    assert plan.tungstate_end_mol_l.value == pytest.approx(1.55, rel=0.03)
    assert plan.volume_end_ml.value == pytest.approx(206, rel=0.02)


def test_hydrogen(plan: MakePlan) -> None:
    assert plan.hydrogen_l.value == pytest.approx(23.5, rel=5e-3)
    assert plan.hydrogen_ml_min.value == pytest.approx(11.4, rel=5e-3)
    assert plan.air_l_min.value == pytest.approx(1.13, rel=5e-3)


def test_water(plan: MakePlan) -> None:
    assert plan.water_electrolysis_g.value == pytest.approx(11.5, rel=0.01)
    assert 50 / 1.5 <= plan.water_evaporated_g.value <= 100 * 1.5
    assert 50 <= plan.water_evaporated_g.value <= 100


def test_voltage(plan: MakePlan) -> None:
    for volts in (plan.voltage_start_v.value, plan.voltage_late_v.value):
        assert 2.0 <= volts <= 3.9
    assert 2.0 <= plan.voltage_start_v.value <= 3.5


def test_heat_and_temperature(plan: MakePlan) -> None:
    assert bath_heat_w(1.5, 2.5) == pytest.approx(3.9, abs=0.05)
    assert bath_heat_w(1.5, 6.0) == pytest.approx(9.1, abs=0.05)
    assert 28 <= plan.temperature_degc.value <= 36


@pytest.mark.parametrize(("volts", "low", "high"), [(2.5, 28, 36), (6.0, 40, 54)])
def test_bath_at_a_given_voltage(volts: float, low: float, high: float) -> None:
    from scipy.optimize import brentq

    from truekev.bench.solution import water_activity
    from truekev.bench.stoichiometry import FARADAY_C_MOL
    from truekev.bench.surroundings import evaporation_mol_s, room_of

    room = room_of(worked_case())

    def surplus_w(degc: float) -> float:
        surface, gas = evaporation_mol_s(room, degc, water_activity(5.0, 0.0, 0.0), 1.5 / 2 / FARADAY_C_MOL)
        return bath_heat_w(1.5, volts) - room.loss_w_k * (degc - 20.0) - 44_000 * (surface + gas)

    assert low <= brentq(surplus_w, 20.0, 90.0) <= high


def test_calcium_chloride() -> None:
    waste = waste_plan(
        tungstate_mol=58.80 / 183.84,
        sodium_mol=40 / 39.99711,
        carbonate_mol=0.0,
        hydroxide_mol=1.0 - 2 * 58.80 / 183.84,
        volume_ml=206,
        thoria_g=1.2,
    )
    assert waste.calcium_least_g["calcium chloride"] == pytest.approx(35.5, abs=0.05)
    assert waste.calcium_most_g["calcium chloride"] == pytest.approx(55.5, abs=0.05)
    assert waste.calcium_planned_g["calcium chloride"] == pytest.approx(1.10 * 55.5, rel=2e-3)
    assert waste.sludge_reaches_1_bq_g_at == pytest.approx(0.025, abs=0.001)


def test_peroxide_of_the_worked_case() -> None:
    dose = Dose(50, 5)
    assert dose.tungsten_capacity_g == pytest.approx(4.58, rel=3e-3)
    assert dose_heat(dose, 20, 0.0).rise_k == pytest.approx(24, abs=1.0)
    assert dose_heat(dose, 20, 1.0).rise_k == pytest.approx(40, abs=1.5)
    # a yield of 10 to 50 % of what the dose could dissolve
    portion = Dose(7, 5)
    low, high = cleanup_plan(CleanupSettings(basket_out=True, copper_out=True), portion).tungsten_likely_g
    assert (low, high) == pytest.approx((0.1 * portion.tungsten_capacity_g, 0.5 * portion.tungsten_capacity_g))


def test_peroxide_of_the_second_example() -> None:
    # 60 mL of 6 % on a 25 mL heel: about +28 K with none, +41 K with 1 g; boils if unlimited
    assert dose_heat(Dose(60, 6), 25, 0.0).rise_k == pytest.approx(28, abs=1.5)
    assert dose_heat(Dose(60, 6), 25, 1.0).rise_k == pytest.approx(41, abs=2.0)
    assert dose_heat(Dose(60, 6), 25, None).boils


def test_alumina_of_a_flocculant() -> None:
    assert 1000 * alumina_from_g("aluminium sulfate octadecahydrate", 0.1) == pytest.approx(15.3, rel=1e-3)
    assert 1000 * alumina_from_g("aluminium sulfate", 0.1) == pytest.approx(29.8, rel=1e-3)


@pytest.mark.parametrize("share", [0.5, 0.75])
@pytest.mark.parametrize("molarity", [3.0, 6.0])
def test_half_to_three_quarters_of_the_mass_dissolves_it_all(share: float, molarity: float) -> None:
    grams = share * 60.0
    entries = worked_entries() | {
        "hydroxide": {"mass_g": grams},
        "cell": {"volume_ml": max(grams / 40.0 / molarity * 1000, 120), "vessel_diameter_mm": 90},
        "anode": {},
    }
    plan = plan_make(batch_from_mapping(entries))
    assert plan.end is EndEvent.DISSOLVED
    assert plan.tungsten_left_g.value < 0.6


@pytest.mark.parametrize("amperes", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("grams", [45.0, 60.0, 75.0])
def test_tens_of_grams_take_a_couple_of_days(grams: float, amperes: float) -> None:
    entries = worked_entries(current_a=amperes)
    entries["rods"][0]["mass_g"] = grams
    entries["hydroxide"] = {"mass_g": 0.65 * grams}
    plan = plan_make(batch_from_mapping(entries))
    assert plan.end is EndEvent.DISSOLVED
    assert 15 <= plan.duration_h.value <= 75
    assert plan.voltage_start_v.value < 6.0


def test_dilute_peroxide_takes_days() -> None:
    plan = cleanup_plan(CleanupSettings(basket_out=True, copper_out=True, tungsten_left_g=0.3), Dose(40, 5))
    assert plan.hours[0] < 24 < plan.hours[1]


def test_strong_or_warm_peroxide_can_run_away() -> None:
    ready = CleanupSettings(basket_out=True, copper_out=True, tungsten_left_g=0.3)
    with pytest.raises(RefusedError, match="refused outright"):
        cleanup_plan(ready, Dose(40, 30))
    warm = ready.model_copy(update={"temperature_degc": 45.0})
    with pytest.raises(RefusedError, match="can run away"):
        cleanup_plan(warm, Dose(40, 5))


def test_aluminium_sulfate_settles_and_leaves_alumina() -> None:
    floc = flocculation(RecoverySettings(flocculant="aluminium sulfate", flocculant_mg=100, wash_ph=7))
    assert floc.residue_fired_mg == pytest.approx(15.3, rel=1e-3)
    assert floc.residue_dried_mg > floc.residue_fired_mg


def test_oxide_passes_filters_and_settles_within_hours() -> None:
    assert not filter_holds(2.0)["coarse paper"]
    rows = settling_table((water_20_degc(),), 50.0, (1.5, 4.0))
    assert all(row.hours < 5 for row in rows)


def test_no_reported_number_is_without_a_value(plan: MakePlan) -> None:
    for field in dataclasses.fields(plan):
        value = getattr(plan, field.name)
        if hasattr(value, "value"):
            assert value.value == value.value, field.name
