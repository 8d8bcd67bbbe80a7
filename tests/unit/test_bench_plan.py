"""Plans: refusals, backwards planning, steps and cautions, speed, and 300 random batches with readings."""

from __future__ import annotations

import math
import time as clock
import tomllib
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.support.batches import worked_case, worked_entries
from tests.support.bench_trials import bad_numbers, batch_and_readings

from truekev.bench.attendance import attended_moments_s, unattended_stretches
from truekev.bench.course import EndEvent
from truekev.bench.inverse import current_for_deadline_a, smallest_batch
from truekev.bench.plan import largest_safe_current_a, plan_make
from truekev.bench.refusals import bath_water_g
from truekev.bench.rods import anode_content
from truekev.bench.settings import AttendanceSettings, batch_from_mapping, batch_template, read_batch
from truekev.bench.write_batch import batch_toml
from truekev.errors import FileFormatError, InputError, OutOfRangeError, RefusedError
from truekev.job.plan_make import activity_for_line_bq, plan_of_settings
from truekev.safety.cautions import caution_steps, cautions_for
from truekev.safety.rules import ASK_FIRST


def _changed(section: str, **fields: object) -> dict[str, object]:
    entries = worked_entries()
    entries[section] = dict(entries.get(section, {})) | fields
    return entries


@pytest.mark.parametrize(
    ("section", "fields", "reason"),
    [
        ("cell", {"divided": True}, "four times"),
        ("cell", {"cover": "lid"}, "hydrogen collects"),
        ("cell", {"vessel_material": "aluminium"}, "caustic dissolves it"),
        ("cell", {"cathode_material": "aluminium"}, "caustic dissolves it"),
        ("anode", {"basket_material": "aluminium"}, "caustic dissolves it"),
        ("cell", {"vessel_material": "stainless steel"}, "count of coulombs is false"),
        ("cell", {"cathode_material": "stainless steel"}, "chromate"),
        ("anode", {"basket_material": "stainless steel"}, "oxygen instead"),
        ("anode", {"basket_material": "nickel"}, "takes over the current"),
        ("supply", {"current_a": 6.0}, "above the supply's rating of 5 A"),
        ("supply", {"current_a": 5.0, "voltage_cap_v": 12.0}, "above 60 °C"),
    ],
)
def test_refused_with_the_reason(section: str, fields: dict[str, object], reason: str) -> None:
    with pytest.raises(RefusedError, match=reason) as caught:
        plan_make(batch_from_mapping(_changed(section, **fields)))
    assert caught.value.what_would_help


def test_a_current_at_the_rating_is_not_refused() -> None:
    assert plan_make(worked_case(current_a=1.5, rating_a=1.5)).end is EndEvent.DISSOLVED


def test_no_plan_has_a_bath_above_sixty_degrees() -> None:
    batch = worked_case(rating_a=8.0)
    most = largest_safe_current_a(batch)
    assert 1.5 < most < 8.0
    plan = plan_make(worked_case(current_a=most, rating_a=8.0))
    assert plan.temperature_peak_degc.value <= 60.0
    with pytest.raises(RefusedError, match="60 °C"):
        plan_make(worked_case(current_a=most * 1.05, rating_a=8.0))


@pytest.mark.parametrize(
    ("section", "fields", "says"),
    [
        ("cell", {"volume_ml": 5000}, "foam and splashes"),
        ("hydroxide", {"mass_g": 1}, "too weak"),
        ("hydroxide", {"mass_g": 400}, "more than 40 %"),
    ],
)
def test_baths_that_cannot_be(section: str, fields: dict[str, object], says: str) -> None:
    with pytest.raises(OutOfRangeError, match=says):
        plan_make(batch_from_mapping(_changed(section, **fields)))


@pytest.mark.parametrize(("grams", "ok"), [(2.39, False), (2.41, True)])
def test_hydroxide_at_its_lower_limit(grams: float, ok: bool) -> None:
    if ok:
        assert bath_water_g(200.0, grams) > 190
    else:
        with pytest.raises(OutOfRangeError, match=r"0\.30 mol/L|weak"):
            bath_water_g(200.0, grams)


def test_cathode_rods_do_not_dissolve() -> None:
    entries = worked_entries()
    entries["rods"].append({"count": 3, "diameter_mm": 2.4, "length_mm": 175, "class": "WT20", "role": "cathode"})
    both, alone = (plan_make(batch_from_mapping(e)) for e in (entries, worked_entries()))
    assert both.content.n_rods == 4
    assert both.tungsten_dissolved_g.value == pytest.approx(alone.tungsten_dissolved_g.value, rel=1e-3)
    only = worked_entries()
    only["rods"][0]["role"] = "cathode"
    with pytest.raises(OutOfRangeError, match="every lot is a cathode"):
        plan_make(batch_from_mapping(only))


def test_dipped_rods_leave_stubs() -> None:
    plan = plan_make(batch_from_mapping(_changed("anode", holder="dipped", dipped_mm=100, fines_percent=0)))
    assert plan.end is EndEvent.PARTED
    dipped = 58.8 * 100 / 175
    assert 0.5 * dipped <= plan.tungsten_dissolved_g.value <= 0.8 * dipped
    assert plan.tungsten_left_g.value + plan.tungsten_dissolved_g.value == pytest.approx(58.8, abs=0.01)
    assert plan.thoria_freed_g.relative_u > 0.1
    assert any("neck" in warning for warning in plan.warnings)


@pytest.mark.parametrize(("mass_g", "told"), [(59.8, False), (66.0, False), (598.0, True), (45.0, True)])
def test_a_weighed_mass_that_the_rods_cannot_have_is_told(mass_g: float, told: bool) -> None:
    entries = worked_entries()
    entries["rods"][0]["mass_g"] = mass_g
    warnings = plan_make(batch_from_mapping(entries)).warnings
    assert any("times what their diameter and length give" in warning for warning in warnings) is told


def test_class_limits_are_carried() -> None:
    fraction = worked_entries()
    fraction["rods"][0] |= {"thoria_percent": 2.0, "u_thoria_percent": 0.01}
    del fraction["rods"][0]["class"]
    narrow, wide = (anode_content(batch_from_mapping(e)) for e in (fraction, worked_entries()))
    assert narrow.thoria_g.value == pytest.approx(wide.thoria_g.value)
    assert narrow.thoria_g.u < 0.1 * wide.thoria_g.u
    assert wide.thoria_g.u == pytest.approx(60 * 0.005 / math.sqrt(12), rel=1e-3)


@pytest.mark.parametrize("wanted_bq", [500.0, 1069.0, 5000.0, 20_000.0])
def test_smallest_batch_is_the_smallest(wanted_bq: float) -> None:
    batch = smallest_batch(worked_case(), wanted_bq, kept=0.95)
    plan = plan_make(batch)
    count = batch.rods[0].count
    assert 0.95 * plan.activity_freed_bq.value >= wanted_bq * 0.999
    assert 0.95 * plan.activity_freed_bq.value * (count - 1) / count < wanted_bq
    assert plan.end is EndEvent.DISSOLVED
    assert plan.hydroxide_excess.value >= 1.3


def test_a_line_rate_gives_an_activity() -> None:
    # DDEP: 2614.5 keV 0.9979 per Tl-208 decay, 0.3593 Tl-208 per Th-232
    activity, said = activity_for_line_bq(2614.5, 100.0)
    assert activity == pytest.approx(100 / (0.9975 * 0.3593), rel=3e-3)
    assert "0.42" in said
    with pytest.raises(InputError, match="none within 1 keV"):
        activity_for_line_bq(661.7, 10.0)
    with pytest.raises(InputError, match="above zero"):
        activity_for_line_bq(2614.5, 0.0)


@pytest.mark.parametrize("wanted", [0.0, -5.0, math.nan, math.inf, 1e12])
def test_absurd_activities(wanted: float) -> None:
    with pytest.raises(OutOfRangeError):
        smallest_batch(worked_case(), wanted)


@pytest.mark.parametrize(
    ("current_a", "error", "says"),
    [(0.08, RefusedError, "before all of it is dissolved"), (0.004, OutOfRangeError, "more than 30 days")],
)
def test_an_activity_that_the_run_would_not_reach(current_a: float, error: type[Exception], says: str) -> None:
    with pytest.raises(error, match=says):
        plan_of_settings(worked_case(current_a=current_a), activity_bq=1000.0)
    assert plan_of_settings(worked_case(current_a=1.0), activity_bq=1000.0).plan.end is EndEvent.DISSOLVED


def test_by_tomorrow_morning() -> None:
    batch = worked_case()
    deadline = batch.start + timedelta(hours=24)
    current, plan = current_for_deadline_a(batch, deadline)
    assert plan.finish <= deadline
    assert plan.duration_h.value > 22
    assert 2.0 < current < 3.0


def test_by_this_afternoon_it_cannot_be() -> None:
    batch = worked_case()
    with pytest.raises(RefusedError, match="it cannot be") as caught:
        current_for_deadline_a(batch, batch.start + timedelta(hours=5))
    assert "takes" in str(caught.value)
    with pytest.raises(OutOfRangeError, match="not after the start"):
        current_for_deadline_a(batch, batch.start)


def test_steps_have_times_marks_and_cautions() -> None:
    report = plan_of_settings(worked_case())
    timed = [step.when for step in report.steps if step.when is not None]
    assert timed == sorted(timed)
    assert any(step.unattended and "UNATTENDED" in step.what for step in report.steps)
    assert any(step.what.startswith("Top up") and "by " in step.what for step in report.steps)
    shown = {c for step in report.steps for c in step.cautions}
    for name in ("before", "dissolve", "setup", "lift", "run", "unattended", "settle"):
        assert set(cautions_for(name)) <= shown, name
    assert any(ASK_FIRST.split(";")[0] in c.text for c in report.steps[0].cautions)


def test_the_plan_opens_with_the_question_whether_it_is_worth_it() -> None:
    report = plan_of_settings(worked_case())
    first = next(iter(report.document()))
    assert first == "opening"
    assert "not compared" in report.opening.worth_it
    assert "Count the rods as they are" in report.opening.worth_it
    assert ASK_FIRST in report.opening.exemption.say
    assert ASK_FIRST in report.opening.single_rod  # one WT20 rod of 2.4 x 175 mm is above the quantity already
    assert not list(bad_numbers(report.document()))


def test_every_step_s_cautions_are_shown_somewhere() -> None:
    assert set(caution_steps()) >= {"before", "peroxide", "waste", "dose", "dry", "seal", "wash"}
    assert all(c.text.endswith((".", "____")) for name in caution_steps() for c in cautions_for(name))


def test_attendance() -> None:
    start = datetime(2026, 10, 5, 9, 0)
    hours = AttendanceSettings()
    moments = [start + timedelta(seconds=s) for s in attended_moments_s(start, hours)]
    assert all(hours.from_time <= m.time() <= hours.to_time for m in moments)
    assert moments[0] == datetime(2026, 10, 5, 12, 0)
    assert datetime(2026, 10, 5, 21, 0) in moments
    stretches = unattended_stretches(start, datetime(2026, 10, 7, 10, 0), hours)
    assert stretches == (
        (datetime(2026, 10, 5, 21, 0), datetime(2026, 10, 6, 8, 0)),
        (datetime(2026, 10, 6, 21, 0), datetime(2026, 10, 7, 8, 0)),
    )


def test_the_template_is_a_batch_that_can_be_planned() -> None:
    batch = batch_from_mapping(tomllib.loads(batch_template()))
    plan = plan_make(batch)
    assert plan.end is EndEvent.DISSOLVED
    assert 0 < plan.temperature_peak_degc.value < 60
    assert "invented" in batch_template()


def test_a_batch_written_back_reads_the_same() -> None:
    for batch in (worked_case(), batch_from_mapping(tomllib.loads(batch_template()))):
        assert batch_from_mapping(tomllib.loads(batch_toml(batch, "two\nlines"))) == batch


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda e: e["supply"].pop("current_a"), "supply.current_a"),
        (lambda e: e["supply"].update(current_a=-1), "supply.current_a"),
        (lambda e: e["supply"].update(ampere=1), "supply.ampere"),
        (lambda e: e["rods"][0].update(thoria_percent=2.0), "rods[1]"),
        (lambda e: e["anode"].update(holder="dipped"), "anode"),
        (lambda e: e.update(name=""), "name"),
    ],
)
def test_a_wrong_field_is_named(change, field: str) -> None:
    entries = worked_entries()
    change(entries)
    with pytest.raises(FileFormatError) as caught:
        batch_from_mapping(entries, file="b.toml")
    assert caught.value.field == field
    assert "b.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("written", "instead", "line", "says"),
    [
        ("mass_g = 30 ", "mass_g = 30,5", 38, "decimals are written with a point"),
        ("count = 3", "count = three", 9, "in 'count = three'"),
        (
            "diameter_mm = 2.4",
            "diameter = 2.4",
            8,
            r"rods\[1\]\.diameter_mm.*is missing; rods\[1\]\.diameter is no field",
        ),
        ("volume_ml = 180", "volumeml = 180", 25, r"no field there \(volume_ml\?\)"),
        (
            'stirring = "strong"',
            'stirring = "magnet"',
            35,
            "'magnet' was given; it must be 'none', 'gentle' or 'strong'",
        ),
        ("current_a = 1.2", "current_a = -1", 43, "-1 was given; it should be greater than 0"),
    ],
)
def test_a_slip_in_a_file_is_told_with_its_line(
    tmp_path: Path, written: str, instead: str, line: int, says: str
) -> None:
    path = tmp_path / "batch.toml"
    assert written in batch_template()
    path.write_text(batch_template().replace(written, instead, 1))
    with pytest.raises(FileFormatError, match=says) as caught:
        read_batch(path)
    assert caught.value.line == line


def test_core_plan_takes_twenty_milliseconds_or_less() -> None:
    batches = [worked_case(), batch_from_mapping(tomllib.loads(batch_template()))]
    for batch in batches:
        plan_make(batch)
        times = []
        for _ in range(7):
            begun = clock.process_time()
            plan_make(batch)
            times.append(clock.process_time() - begun)
        assert min(times) <= 0.020


def test_300_random_batches_and_readings() -> None:
    answered: dict[str, int] = {}
    for trial in range(300):
        result = batch_and_readings(trial, np.random.default_rng(np.random.SeedSequence([41, trial])))
        crashed = {name: said for name, said in result["outcomes"].items() if said.startswith("CRASH")}
        assert not crashed, (trial, crashed)
        assert not result["bad"], (trial, result["bad"])
        for name, said in result["outcomes"].items():
            answered[name] = answered.get(name, 0) + (said == "answered")
    # enough of them get through for the sample to mean something
    assert answered["plan"] > 50
    assert answered["follow"] > 15
    assert answered["recover"] > 50
    assert answered["cleanup"] > 20
