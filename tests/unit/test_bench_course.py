"""The time course: balances at every step and switch, the events, and what must be monotonic."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.support.batches import sound_entries, worked_case, worked_entries

from truekev.bench.bath import STATE_NAMES, balances, bath_of, enthalpy_of
from truekev.bench.course import Course, EndEvent, run_course
from truekev.bench.plan import course_input
from truekev.bench.settings import batch_from_mapping
from truekev.bench.surroundings import evaporation_mol_s
from truekev.errors import TruekevError

DONE = (EndEvent.DISSOLVED, EndEvent.PARTED)


def test_balances_close_for_200_random_batches() -> None:
    rng = np.random.default_rng(20261125)
    ends: Counter[EndEvent] = Counter()
    n_runs = n_switches = n_crystals = n_at_cap = 0
    while n_runs < 200:
        try:
            given_ = course_input(batch_from_mapping(sound_entries(rng)))
        except TruekevError:
            continue
        course = run_course(given_)
        n_runs += 1
        worst = balances(course.states, given_.room.vessel_j_k)
        assert set(worst) == {
            "Na", "W", "Th", "C", "H", "O", "enthalpy",
            "charge at the anode", "charge at the cathode", "charge of the ions",
        }  # fmt: skip
        assert max(worst.values()) < 1e-9, worst
        assert np.isfinite(course.states).all()
        ends[course.end] += 1
        n_switches += course.n_switches
        n_crystals += course.final("tungstate_solid") > 1e-3
        n_at_cap += bool(course.at_cap.any() and not course.at_cap.all())
    # the sample reaches every kind of end, crystals, and both modes within one run
    assert len(ends) >= 5
    assert n_switches > 400
    assert n_crystals >= 3
    assert n_at_cap > 30


def test_a_broken_rate_breaks_a_balance() -> None:
    given_ = course_input(worked_case())
    course = run_course(given_)
    spoilt = course.states.copy()
    spoilt[len(spoilt) // 2 :, STATE_NAMES.index("water")] += 1e-6
    worst = balances(spoilt, given_.room.vessel_j_k)
    assert worst["H"] > 1e-9
    assert worst["Na"] < 1e-9


def test_temperature_and_enthalpy_are_inverse() -> None:
    given_ = course_input(worked_case())
    for row in run_course(given_).states[::7]:
        y = row.tolist()
        bath = bath_of(y, given_.room.vessel_j_k)
        assert enthalpy_of(y, bath.temperature_degc, given_.room.vessel_j_k) == pytest.approx(row[9], rel=1e-12)


def test_time_runs_on_and_amounts_stay_positive() -> None:
    course = run_course(course_input(worked_case()))
    assert (np.diff(course.time_s) >= 0).all()
    amounts = [i for i, name in enumerate(STATE_NAMES) if not name.endswith("_j")]
    assert course.states[:, amounts].min() > -1e-9


def test_steady_state_agrees_with_a_finer_integration(monkeypatch: pytest.MonkeyPatch) -> None:
    from truekev.bench import course as module

    coarse = run_course(course_input(worked_case()))
    monkeypatch.setattr(module, "STATE_SCALE", module.STATE_SCALE * 1e-3)
    fine = run_course(course_input(worked_case()))
    assert len(fine.time_s) > len(coarse.time_s)
    assert coarse.duration_s == pytest.approx(fine.duration_s, rel=1e-4)
    for name in ("vapour_out", "carbon_dioxide_in", "charge_c", "heat_lost_j"):
        assert coarse.final(name) == pytest.approx(fine.final(name), rel=1e-3)


def test_cap_is_never_exceeded_and_the_current_never_the_set_one() -> None:
    course = run_course(course_input(worked_case(voltage_cap_v=2.3)))
    assert course.voltage_v.max() <= 2.3 + 1e-9
    assert course.current_a.max() <= 1.5 + 1e-9
    assert course.at_cap.any()
    assert not course.at_cap[0]
    assert course.duration_s > run_course(course_input(worked_case())).duration_s


def test_current_stays_below_the_limiting_one() -> None:
    course = run_course(course_input(worked_case()))
    assert course.limit_ratio.max() <= 1.001


def test_spent_hydroxide_ends_the_run() -> None:
    given_ = course_input(worked_case())
    course = run_course(replace(given_, hydroxide_mol=0.5))
    assert course.end in (EndEvent.HYDROXIDE_SPENT, EndEvent.COLLAPSED)
    assert course.final("tungsten_anode") > 0.05
    # two hydroxide per tungsten and what the air took: nothing more was there
    assert course.final("tungstate") <= 0.25


def test_a_vessel_nobody_tops_up_falls_to_the_level_cut_out() -> None:
    given_ = course_input(worked_case(current_a=0.5))
    course = run_course(replace(given_, top_up_times_s=()))
    assert course.end is EndEvent.LEVEL
    assert course.volume_l[-1] == pytest.approx(0.7 * course.volume_l[0], rel=1e-3)


def test_too_much_current_trips_at_sixty_degrees() -> None:
    course = run_course(course_input(worked_case(current_a=4.5)))
    assert course.end is EndEvent.HOT
    assert course.temperature_degc[-1] == pytest.approx(60.0, abs=0.05)


def test_dipped_rods_part() -> None:
    entries = worked_entries() | {"anode": {"holder": "dipped", "dipped_mm": 90}}
    given_ = course_input(batch_from_mapping(entries))
    course = run_course(given_)
    assert course.end is EndEvent.PARTED
    gone = 1 - course.final("tungsten_anode") / given_.tungsten_mol
    assert 0.5 <= gone <= 0.8


def test_a_time_limit_ends_the_run() -> None:
    course = run_course(replace(course_input(worked_case()), max_time_s=3600.0))
    assert course.end is EndEvent.TIME
    assert course.duration_s == pytest.approx(3600.0)


def test_crystals_form_in_little_water_and_the_run_goes_on() -> None:
    entries = worked_entries()
    entries["hydroxide"] = {"mass_g": 36}
    entries["cell"] = {"volume_ml": 125, "vessel_diameter_mm": 90}
    course = run_course(course_input(batch_from_mapping(entries)))
    assert course.final("tungstate_solid") > 0.01
    assert course.end is EndEvent.DISSOLVED
    assert course.saturation.max() < 1.15


@pytest.mark.parametrize("degc", [-400.0, -273.15, -257.14, 1e6])
def test_a_trial_step_far_outside_does_not_overflow(degc: float) -> None:
    surface, gas = evaporation_mol_s(course_input(worked_case()).room, degc, 0.8, 1e-5)
    assert 0.0 <= surface < 1.0
    assert 0.0 <= gas < 1.0


def test_crystals_that_dissolve_again_never_become_negative() -> None:
    entries = worked_entries()
    entries["hydroxide"] = {"mass_g": 36}
    entries["cell"] = {"volume_ml": 135, "vessel_diameter_mm": 110}
    entries["attendance"] = {"top_up_every_h": 12}
    course = run_course(course_input(batch_from_mapping(entries)))
    crystals = course.states[:, STATE_NAMES.index("tungstate_solid")]
    assert crystals.max() > 1e-3
    assert (np.diff(crystals) < -1e-4).any()  # some dissolve after a top-up
    assert crystals.min() >= 0.0


def _plain(course: Course) -> bool:
    """No cap before the last hundredth, no saturation, no boiling, no exhausted hydroxide."""
    early = course.states[:, 0] > 0.01 * course.states[0, 0]
    return bool(
        course.end in DONE
        and not course.at_cap[early].any()
        and course.limit_ratio[early].max(initial=0.0) < 0.9
        and course.saturation.max() < 1.0
    )


@settings(max_examples=25, deadline=None, derandomize=True)
@given(low=st.floats(0.2, 1.2), more=st.floats(1.01, 2.0))
def test_more_current_never_takes_longer(low: float, more: float) -> None:
    given_ = course_input(worked_case(voltage_cap_v=12.0))
    # a fat anode in strong hydroxide: neither cap nor limit is met before the last hundredth
    fat = replace(given_, geometry=replace(given_.geometry, anode_area_cm2=400.0), hydroxide_mol=1.1)
    slow, fast = (run_course(replace(fat, current_a=amperes)) for amperes in (low, low * more))
    assume(_plain(slow) and _plain(fast))
    assert fast.duration_s <= slow.duration_s * (1 + 1e-6)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(grams=st.floats(5, 60), more=st.floats(1.0, 2.0))
def test_more_tungsten_never_needs_less_hydroxide(grams: float, more: float) -> None:
    from truekev.bench.plan import plan_make

    def needed(mass: float) -> float:
        entries = worked_entries()
        entries["rods"][0]["mass_g"] = mass
        entries["cell"] = {"volume_ml": 400, "vessel_diameter_mm": 110}
        entries["hydroxide"] = {"mass_g": 80}
        return plan_make(batch_from_mapping(entries)).hydroxide_needed_g.value

    assert needed(grams * more) >= needed(grams)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(cooling=st.floats(0.3, 1.5), less=st.floats(0.3, 1.0))
def test_less_cooling_never_makes_a_cooler_bath(cooling: float, less: float) -> None:
    batch = worked_case(current_a=0.8)
    stops = {"max_time_s": 6 * 3600.0, "top_up_times_s": ()}
    warm, cool = (
        run_course(replace(course_input(batch, cooling=c), current_a=0.8, **stops)) for c in (cooling * less, cooling)
    )
    assert warm.temperature_degc.max() >= cool.temperature_degc.max() - 1e-6
