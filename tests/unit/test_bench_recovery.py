"""Recovery, waste and dose through their jobs."""

from __future__ import annotations

import math
import tomllib
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from tests.support.batches import worked_case

from truekev.bench.recovery import KEPT, oxide_yield
from truekev.bench.settings import RecoverySettings
from truekev.bench.settling import Liquid
from truekev.bench.washing import flocculation, wash_plan
from truekev.bench.waste import waste_plan
from truekev.bench.write_batch import batch_toml
from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.job.dose import distance_cm_of, dose_of_source
from truekev.job.recover import recover_batch, write_separation
from truekev.job.run_today import follow_batch, note_reading
from truekev.job.waste import waste_of_batch
from truekev.quantity import Measured
from truekev.sources.chain_report import chain_report
from truekev.sources.described import resolve_source

LIQUOR = Liquid("end liquor", 1.44, 2.6)


def _batch_file(folder: Path, **recovery: object) -> Path:
    batch = worked_case().model_copy(update={"recovery": RecoverySettings(**recovery)})  # type: ignore[arg-type]
    path = folder / "batch.toml"
    path.write_text(batch_toml(batch))
    return path


def test_the_separation_has_the_shape_that_sources_take(tmp_path: Path) -> None:
    path = _batch_file(tmp_path, oxide_dry_g=1.15, separated_on=datetime(2026, 10, 9, 16, 0))
    report = recover_batch(path)
    entries = tomllib.loads(report.separation_toml)
    assert entries["kind"] == "thorium-vial"
    assert entries["body"]["oxide_mass_g"] == pytest.approx(1.15)
    (separation,) = entries["separation"]
    assert separation["on"].isoformat() == "2026-10-09"
    assert separation["kept"]["Ra"] == 0.97
    assert separation["kept"]["Th"] == 1.0
    assert all(0 <= fraction <= 1 for fraction in separation["kept"].values())
    assert "0.85 to 1.00" in report.separation_toml
    assert "0.42 and 1.00 of equilibrium" in report.separation_toml


def test_the_source_room_takes_it_as_history(tmp_path: Path) -> None:
    path = _batch_file(tmp_path, oxide_dry_g=1.15, separated_on=datetime(2026, 10, 9, 16, 0))
    written = write_separation(recover_batch(path), tmp_path / "vial.toml")
    day, later = (
        resolve_source(str(written), on=date(2026, 10, 9)).activities_bq,
        resolve_source(str(written), on=date(2026, 11, 9)).activities_bq,
    )
    assert day["Th-232"] == pytest.approx(1.15 * 3573, rel=5e-3)
    assert day["Ra-228"] / day["Th-232"] == pytest.approx(0.97, rel=1e-6)
    assert day["Pb-212"] / day["Th-232"] == pytest.approx(0.80, rel=1e-6)
    # Pb-212 has grown back to what radium feeds it within a month
    assert later["Pb-212"] == pytest.approx(later["Ra-224"], rel=0.01)
    measured = chain_report(written, date(2026, 11, 9)).components
    by_name = {name: value for part in measured for name, value in part.activities.items()}
    # the band of what stays of radium, 0.85 to 1.00, and the weighing
    assert by_name["Ra-228"].relative_u == pytest.approx(0.15 / 12**0.5 / 0.97, rel=0.05)
    assert by_name["Th-232"].relative_u == pytest.approx(math.hypot(0.005 / 1.15, 0.0043), rel=0.05)
    dose = dose_of_source(str(written), "10cm", on=date(2026, 11, 9))
    assert dose.kerma_rate.value == pytest.approx(1.15 * 3.573 * 27, rel=0.08)


def test_kept_fractions_lie_in_their_bands() -> None:
    for kept in KEPT:
        assert 0 <= kept.low <= kept.value <= kept.high <= 1


def test_counting_days(tmp_path: Path) -> None:
    report = recover_batch(_batch_file(tmp_path))
    assert report.count_not_before - report.separated_on == timedelta(days=3)
    assert report.count_again - report.separated_on == timedelta(days=21)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    report = recover_batch(_batch_file(tmp_path))
    target = write_separation(report, tmp_path / "vial.toml")
    assert write_separation(report, target) == target  # the same again is no loss
    target.write_text("mine\n")
    with pytest.raises(InputError, match="says something else"):
        write_separation(report, target)
    assert target.read_text() == "mine\n"


def test_readings_decide_what_to_expect(tmp_path: Path) -> None:
    path = _batch_file(tmp_path)
    planned = recover_batch(path)
    start = worked_case().start
    note_reading(path, ["current=1.5", "voltage=2.5"], start)
    note_reading(path, ["current=1.5", "mass=30"], start + timedelta(hours=17))
    followed = recover_batch(path)
    assert followed.from_readings
    assert followed.oxide.expected_g.value == pytest.approx(0.5 * planned.oxide.expected_g.value, rel=0.01)
    assert follow_batch(path).standing.weighings[0].mass_g == 30


@pytest.mark.parametrize(
    ("weighed", "says", "holds"),
    [(0.5, "look there", False), (1.15, "of what the rods held", False), (1.22, "within its uncertainty", True),
     (1.9, "something else is still in it", True)],
)  # fmt: skip
def test_yield(weighed: float, says: str, holds: bool) -> None:
    result = oxide_yield(Measured(1.18, 0.08, "g"), Measured(weighed, 0.005, "g"))
    assert says in result.says
    assert bool(result.holds) == holds
    # weighed above what the rods held is something else, not more thorium
    assert result.activity_bq.value <= 1.18 * 3580


def test_washing_reaches_its_target() -> None:
    settings = RecoverySettings(beaker_ml=250, heel_ml=20, residual_salt_mg=5)
    plan = wash_plan(salt_g=110.0, volume_ml=206.0, liquor=LIQUOR, settings=settings)
    assert plan.salt_left_mg <= 5.0
    assert plan.salt_left_mg * plan.dilution_each > 5.0
    assert 0 < plan.lost_share.value < 0.05
    assert plan.wait_first_h > plan.wait_h


@pytest.mark.parametrize("change", [{"heel_ml": 240}, {"heel_ml": 200, "residual_salt_mg": 1e-6}])
def test_washing_that_gets_nowhere(change: dict[str, float]) -> None:
    settings = RecoverySettings(**({"beaker_ml": 250} | change))  # type: ignore[arg-type]
    with pytest.raises(OutOfRangeError, match="recovery"):
        wash_plan(salt_g=110.0, volume_ml=206.0, liquor=LIQUOR, settings=settings)


@pytest.mark.parametrize(
    ("kind", "ph", "refused"), [("alum", 9.01, True), ("alum", 9.0, False), ("organic", 13, False)]
)
def test_flocculants(kind: str, ph: float, refused: bool) -> None:
    settings = RecoverySettings(flocculant=kind, flocculant_mg=100, wash_ph=ph)  # type: ignore[arg-type]
    if refused:
        with pytest.raises(RefusedError, match="aluminate"):
            flocculation(settings)
    else:
        assert flocculation(settings).residue_dried_mg > 0


def test_waste_never_names_a_drain_as_a_way_out(tmp_path: Path) -> None:
    report = waste_of_batch(_batch_file(tmp_path))
    words = " ".join((*report.plan.order, *report.plan.solids, *report.plan.labels))
    assert "drain" not in words
    assert "Never a drain" in report.ask_first
    assert any("low-level radioactive waste" in c.text for c in report.cautions)
    assert 0.02 < report.plan.sludge_reaches_1_bq_g_at < 0.03


@pytest.mark.parametrize("name", ["tungstate_mol", "sodium_mol", "thoria_g", "volume_ml"])
@pytest.mark.parametrize("value", [-1.0, float("nan")])
def test_absurd_waste(name: str, value: float) -> None:
    sound = {
        "tungstate_mol": 0.3, "sodium_mol": 1.0, "carbonate_mol": 0.02, "hydroxide_mol": 0.3, "volume_ml": 200.0,
        "thoria_g": 1.2,
    }  # fmt: skip
    with pytest.raises(OutOfRangeError):
        waste_plan(**(sound | {name: value}))  # type: ignore[arg-type]


def test_stored_tungstate_keeps_free_hydroxide() -> None:
    plan = waste_plan(
        tungstate_mol=0.3, sodium_mol=0.65, carbonate_mol=0.01, hydroxide_mol=0.01, volume_ml=200.0, thoria_g=1.2
    )
    assert plan.hydroxide_to_add_g == pytest.approx(40.0 * (0.02 - 0.01), rel=1e-3)


@pytest.mark.parametrize(("text", "cm"), [("10cm", 10), ("1 m", 100), ("30mm", 3), ("contact", 0), ("2,5 cm", 2.5)])
def test_distances(text: str, cm: float) -> None:
    assert distance_cm_of(text) == pytest.approx(cm)


@pytest.mark.parametrize("text", ["", "10", "-1cm", "ten cm", "10 km"])
def test_words_that_are_no_distance(text: str) -> None:
    with pytest.raises(InputError, match="with its unit"):
        distance_cm_of(text)


def test_dose_of_a_vial() -> None:
    report = dose_of_source("thorium-vial", "10cm", activity_bq=1000.0)
    assert report.kerma_rate.value == pytest.approx(27, rel=0.05)
    assert report.beta_contact_msv_h is None
    assert report.inhaled_1_mg is not None
    assert report.inhaled_1_mg.dose_msv == pytest.approx(0.30, rel=0.05)
    assert any("not permission" in c.text for c in report.cautions)
    near = dose_of_source("thorium-vial", "contact", activity_bq=1000.0)
    assert near.contact
    assert near.beta_contact_msv_h is not None
    assert near.kerma_rate.value == pytest.approx(100 * report.kerma_rate.value)


def test_dose_of_something_else() -> None:
    report = dose_of_source("Cs-137", "1m", activity_bq=1e6)
    assert report.kerma_rate.value == pytest.approx(76.9, rel=0.02)
    assert report.inhaled_1_mg is None
    assert report.thoron_usv_h is None
    assert "look them up" in report.exemption.say


def test_dose_of_an_unknown_activity_is_refused() -> None:
    with pytest.raises(RefusedError, match="is not known"):
        dose_of_source("thorium-vial", "10cm")


@pytest.mark.parametrize("activity", [0.0, -1.0, 1e15])
def test_absurd_activities(activity: float) -> None:
    with pytest.raises(OutOfRangeError):
        dose_of_source("thorium-vial", "10cm", activity_bq=activity)
