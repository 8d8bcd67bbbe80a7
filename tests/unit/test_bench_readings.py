"""Notes, loggers' files, jumping clocks, and where a run stands."""

from __future__ import annotations

import time as clock
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.support.batches import worked_case

from truekev.bench.follow import RunStanding, follow_run
from truekev.bench.plan import MakePlan, plan_make
from truekev.bench.readings import append_reading, parse_reading, read_readings, readings_path
from truekev.bench.settings import batch_template
from truekev.bench.stoichiometry import charge_ah
from truekev.bench.timeline import join_timelines, timeline_of
from truekev.errors import FileFormatError, InputError, OutOfRangeError, UnknownNameError
from truekev.job.run_today import follow_batch, note_reading

BATCH = worked_case()
START_S = (BATCH.start - datetime(1970, 1, 1)).total_seconds()


@pytest.fixture(scope="module")
def plan() -> MakePlan:
    return plan_make(BATCH)


def _file(folder: Path, rows: list[str], header: str = "time,current_a,voltage_v,temperature_degc") -> Path:
    path = folder / "log.csv"
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def _stand(plan: MakePlan, path: Path) -> RunStanding:
    return follow_run(BATCH, plan, timeline_of(read_readings(path), START_S))


def _rows(times_s, current=1.5, voltage=2.5, degc=31.0) -> list[str]:
    n = len(times_s)
    i, u = np.broadcast_to(current, n), np.broadcast_to(voltage, n)
    return [
        f"{BATCH.start + timedelta(seconds=float(t))},{a},{v},{degc}" for t, a, v in zip(times_s, i, u, strict=True)
    ]


def _kinds(standing: RunStanding) -> set[str]:
    return {notice.kind for notice in standing.notices}


def test_words_become_numbers() -> None:
    assert parse_reading(["current=1.4", "free_hydroxide=2,1"]) == {"current": 1.4, "free-hydroxide": 2.1}


@pytest.mark.parametrize(
    ("words", "error"),
    [
        ([], InputError),
        (["current"], InputError),
        (["current=a"], InputError),
        (["amps=1"], UnknownNameError),
        (["current=1", "current=2"], InputError),
        (["current=-0.1"], OutOfRangeError),
        (["current=nan"], OutOfRangeError),
        (["temperature=151"], OutOfRangeError),
    ],
)
def test_words_that_are_no_reading(words: list[str], error: type[Exception]) -> None:
    with pytest.raises(error):
        parse_reading(words)


def test_notes_are_appended_and_never_rewritten(tmp_path: Path) -> None:
    path = readings_path(tmp_path / "batch.toml")
    append_reading(path, BATCH.start, {"current": 1.4})
    before = path.read_bytes()
    append_reading(path, BATCH.start + timedelta(hours=1), {"voltage": 3.1, "mass": 50.0})
    assert path.read_bytes().startswith(before)
    path.write_bytes(path.read_bytes().rstrip(b"\n"))  # an editor that drops the last line's end
    append_reading(path, BATCH.start + timedelta(hours=2), {"level": 190})
    readings = read_readings(path)
    assert readings.n_readings == 3
    assert readings.mass_g[1] == 50.0
    assert np.isnan(readings.current_a[1])


def test_another_file_of_that_name_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "b.readings.csv"
    path.write_text("something else\n")
    with pytest.raises(FileFormatError, match="move it away"):
        append_reading(path, BATCH.start, {"current": 1.0})
    assert path.read_text() == "something else\n"


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("spoil", [False, True])
def test_columns_of_other_loggers(tmp_path: Path, mark: str, spoil: bool) -> None:
    rows = [f"2026-10-05T09:{m:02d}:00{mark}{1500 + m}{mark}2.5" for m in range(5)]
    if spoil:
        rows[3] = f"2026-10-05T09:03:00{mark}{mark}2.5"
    path = _file(tmp_path, rows, mark.join(["Timestamp", "Current [mA]", "U"]))
    readings = read_readings(path)
    assert readings.current_a[2] == pytest.approx(1.502)
    assert np.isnan(readings.current_a[3]) == spoil
    assert readings.clock_s[1] - readings.clock_s[0] == 60.0
    assert readings.voltage_v[4] == 2.5


def test_decimal_commas(tmp_path: Path) -> None:
    path = _file(tmp_path, ["2026-10-05T09:00:00;1,5;2,25"], "time;current;voltage")
    readings = read_readings(path)
    assert (readings.current_a[0], readings.voltage_v[0]) == (1.5, 2.25)


def test_dates_with_dots_are_day_month_year(tmp_path: Path) -> None:
    rows = ["05.10.2026 09:00:00;1,5;2,5", "5.10.2026 09:01;1,5;2,5", "05.10.2026 09:02:00;1,5;2,5"]
    read = read_readings(_file(tmp_path, rows, "Date;Current [A];Voltage [V]"))
    assert (read.clock_s - START_S).tolist() == [0.0, 60.0, 120.0]
    with pytest.raises(FileFormatError, match="is no time"):
        read_readings(_file(tmp_path, ["05/10/2026 09:00:00;1,5;2,5"], "Date;Current [A];Voltage [V]"))


@pytest.mark.parametrize(
    ("text", "says", "line"),
    [
        ("", "one column called time", 1),
        ("time\n", "none of the columns", 1),
        ("time,current\n", "holds no reading", 2),
        ("current,voltage\n1,2\n", "one column called time", 1),
        ("time,current\n2026-10-05T09:00:00,1\nyesterday,1\n", "is no time", 3),
        ("time,current\n2026-10-05T09:00:00,1\n2026-10-05T09:01:00,high\n", "is not a number", 3),
        ("time,current\n2026-10-05T09:00:00,1,7\n", "3 fields", 2),
    ],
)
def test_a_damaged_file_says_where(tmp_path: Path, text: str, says: str, line: int) -> None:
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(FileFormatError, match=says) as caught:
        read_readings(path)
    assert caught.value.line == line


def test_uneven_rows_of_even_total_do_not_shift(tmp_path: Path) -> None:
    text = "time,current,voltage\n2026-10-05T09:00:00,1.5\n2026-10-05T09:01:00,1.6,2.6,9\n"
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(FileFormatError, match="4 fields"):
        read_readings(path)


def test_coulombs_are_an_upper_bound(tmp_path: Path, plan: MakePlan) -> None:
    hours = 10
    standing = _stand(plan, _file(tmp_path, _rows(np.arange(0, hours * 3600 + 1, 60))))
    assert standing.charge_ah.value == pytest.approx(15.0, rel=1e-6)
    assert standing.tungsten_at_most_g == pytest.approx(15.0 / charge_ah(1.0), rel=1e-6)
    assert standing.tungsten_gone_g.value <= standing.tungsten_at_most_g
    assert standing.finish is not None
    expected_h = plan.duration_h.value - hours
    assert (standing.finish - standing.last_reading).total_seconds() / 3600 == pytest.approx(expected_h, rel=0.05)
    assert not standing.notices


def test_a_weighing_settles_it(tmp_path: Path, plan: MakePlan) -> None:
    path = tmp_path / "b.readings.csv"
    for h in range(11):
        append_reading(path, BATCH.start + timedelta(hours=h), {"current": 1.5, "voltage": 2.5})
    append_reading(path, BATCH.start + timedelta(hours=10), {"mass": 60.0 - 12.0})
    standing = _stand(plan, path)
    gone = 12.0 * 58.8 / 60.0
    assert standing.tungsten_gone_g.value == pytest.approx(gone, rel=1e-6)
    assert standing.weighings[0].of_upper_bound == pytest.approx(gone / (15.0 / charge_ah(1.0)), rel=1e-6)
    assert "efficiency" in _kinds(standing)
    unweighed = plan.finish
    assert standing.finish is not None
    assert standing.finish > unweighed


def test_a_weighing_heavier_than_the_rods_is_refused(tmp_path: Path, plan: MakePlan) -> None:
    path = tmp_path / "b.readings.csv"
    append_reading(path, BATCH.start, {"current": 1.5, "mass": 80.0})
    with pytest.raises(OutOfRangeError, match="heavier than the rods"):
        _stand(plan, path)


def test_titration_outranks_the_model(tmp_path: Path, plan: MakePlan) -> None:
    path = tmp_path / "b.readings.csv"
    append_reading(path, BATCH.start, {"current": 1.5})
    append_reading(path, BATCH.start + timedelta(hours=5), {"current": 1.5})
    assert not _stand(plan, path).free_hydroxide_titrated
    append_reading(path, BATCH.start + timedelta(hours=5), {"free-hydroxide": 0.4})
    standing = _stand(plan, path)
    assert standing.free_hydroxide_titrated
    assert standing.free_hydroxide_mol_l.value == 0.4
    assert "hydroxide" in _kinds(standing)


def test_a_gap_is_bounded(tmp_path: Path, plan: MakePlan) -> None:
    times = np.concatenate([np.arange(0, 3600, 60), np.arange(5 * 3600, 6 * 3600, 60)])
    standing = _stand(plan, _file(tmp_path, _rows(times)))
    assert "gap" in _kinds(standing)
    assert standing.charge_at_most_ah == pytest.approx(1.5 * times[-1] / 3600, rel=1e-3)
    assert standing.charge_at_least_ah == pytest.approx(1.5 * (59 + 59) / 60, rel=1e-3)
    assert standing.charge_at_least_ah <= standing.charge_ah.value <= standing.charge_at_most_ah


@pytest.mark.parametrize(("shift", "kind"), [(-3600.0, "set back"), (3600.0, "set forward")])
def test_clock_changes(tmp_path: Path, plan: MakePlan, shift: float, kind: str) -> None:
    times = np.arange(0, 4 * 3600, 60.0)
    times[120:] += shift
    standing = _stand(plan, _file(tmp_path, _rows(times)))
    assert kind in _kinds(standing)
    truth = 1.5 * (4 - 1 / 60)
    assert standing.charge_at_least_ah == pytest.approx(truth, rel=0.01)
    if kind == "set back":
        assert standing.charge_ah.value == pytest.approx(truth, rel=1e-6)


def test_a_restarted_logger(tmp_path: Path, plan: MakePlan) -> None:
    seconds = np.concatenate([np.arange(0, 7200, 10), np.arange(0, 3600, 10)])
    path = _file(tmp_path, [f"{t},1.5,2.5,30" for t in seconds], "elapsed_s,current,voltage,temperature")
    standing = _stand(plan, path)
    assert "restart" in _kinds(standing)
    assert standing.charge_ah.value == pytest.approx(1.5 * 3.0, rel=0.01)


@pytest.mark.parametrize(
    ("current", "voltage", "kind", "cause"),
    [
        ([1.5] * 30 + [1.5] * 30, [2.5] * 30 + [0.6] * 30, "short", "touches the cathode"),
        ([1.5] * 60, [2.5] * 30 + [3.6] * 30, "basket", "basket has taken over"),
        ([1.5] * 30 + [0.2] * 30, [2.5] * 30 + [6.0] * 30, "collapse", "lost contact"),
        ([1.5] * 60, [2.5] * 30 + [5.95] * 30, "at the cap", "crust"),
        ([1.5] * 60, list(np.linspace(2.5, 5.5, 60)), "rising voltage", "crust"),
        ([1.5] * 30 + [0.0] * 30, [2.5] * 30 + [0.0] * 30, "off", "corrodes on"),
    ],
)
def test_notices_and_their_cause(
    tmp_path: Path, plan: MakePlan, current: list[float], voltage: list[float], kind: str, cause: str
) -> None:
    times = np.arange(60) * 300.0
    standing = _stand(plan, _file(tmp_path, _rows(times, current, voltage)))
    found = [n for n in standing.notices if n.kind == kind]
    assert found, _kinds(standing)
    assert cause in found[0].cause
    assert found[0].do


def test_collapse_near_the_end_is_the_end(tmp_path: Path, plan: MakePlan) -> None:
    times = np.arange(0, 35 * 3600, 300.0)
    current = np.where(times < 34 * 3600, 1.5, 0.1)
    voltage = np.where(times < 34 * 3600, 2.6, 6.0)
    standing = _stand(plan, _file(tmp_path, _rows(times, current, voltage)))
    collapse = next(n for n in standing.notices if n.kind == "collapse")
    assert collapse.cause.startswith("the end")
    assert 33.5 < collapse.from_h < 34.5


def test_temperature_and_level(tmp_path: Path, plan: MakePlan) -> None:
    path = tmp_path / "b.readings.csv"
    append_reading(path, BATCH.start, {"current": 1.5, "voltage": 2.5, "temperature": 30, "level": 200})
    append_reading(path, BATCH.start + timedelta(hours=2), {"current": 1.5, "temperature": 62, "level": 130})
    standing = _stand(plan, path)
    urgent = {n.kind for n in standing.notices if n.urgent}
    assert urgent == {"temperature", "level"}


def test_a_note_for_an_earlier_time_takes_its_place(tmp_path: Path) -> None:
    batch = tmp_path / "b.toml"
    batch.write_text(batch_template())
    for when, word in (("09:20", "current=1.2"), ("20:00", "current=1.2"), ("14:00", "mass=30.5")):
        note_reading(batch, [word], datetime.fromisoformat(f"2026-10-05T{when}"))
    report = follow_batch(batch)
    assert report.timeline.time_s.tolist() == [1200.0, 18000.0, 39600.0]
    assert not report.timeline.events
    assert report.standing.weighings[0].at_h == pytest.approx(5.0)


def test_current_after_its_last_reading_lies_between_bounds(tmp_path: Path, plan: MakePlan) -> None:
    rows = [*_rows([0, 3600]), f"{BATCH.start + timedelta(hours=5)},,,31"]
    standing = _stand(plan, _file(tmp_path, rows))
    assert standing.charge_at_least_ah == pytest.approx(1.5)
    assert standing.charge_at_most_ah == pytest.approx(1.5 + 4 * 1.5)
    assert standing.charge_ah.value == pytest.approx(1.5 + 2 * 1.5)


@pytest.mark.parametrize(("first_h", "told"), [(-3.0, True), (0.0, False), (1.5, False), (30.0, True)])
def test_a_start_that_does_not_fit_the_readings_is_told(
    tmp_path: Path, plan: MakePlan, first_h: float, told: bool
) -> None:
    times = first_h * 3600 + np.arange(10) * 60.0
    assert ("start" in _kinds(_stand(plan, _file(tmp_path, _rows(times))))) is told


def test_more_tungsten_gone_than_the_coulombs_can_have_dissolved(tmp_path: Path, plan: MakePlan) -> None:
    rows = [*_rows([0, 3600]), f"{BATCH.start + timedelta(hours=1)},1.5,2.5,31,40"]
    header = "time,current_a,voltage_v,temperature_degc,mass_g"
    standing = _stand(plan, _file(tmp_path, [f"{r}," for r in rows[:2]] + rows[2:], header))
    assert "coulombs" in _kinds(standing)
    assert standing.tungsten_gone_g.value == pytest.approx(20 * 0.98, rel=0.01)


def test_columns_that_mean_nothing_are_named(tmp_path: Path) -> None:
    path = _file(tmp_path, ["2026-10-05T09:00:00,1.5,31.5,7"], "Time,Current [mA],Temp [°C],Humidity [%]")
    read = read_readings(path)
    assert read.temperature_degc.tolist() == [31.5]
    assert read.current_a.tolist() == [0.0015]
    assert read.unread == ("humidity_%",)


def test_notes_and_logger_join(tmp_path: Path, plan: MakePlan) -> None:
    log = timeline_of(read_readings(_file(tmp_path, _rows(np.arange(0, 7200, 60)))), START_S)
    notes = tmp_path / "b.readings.csv"
    append_reading(notes, BATCH.start + timedelta(hours=1), {"mass": 58.3})
    joined = join_timelines(timeline_of(read_readings(notes), START_S), log)
    standing = follow_run(BATCH, plan, joined)
    assert standing.n_readings == 121
    assert standing.weighings[0].at_h == pytest.approx(1.0)
    assert standing.charge_ah.value == pytest.approx(1.5 * 119 / 60, rel=1e-6)


def test_a_note_closes_no_gap_of_the_logger(tmp_path: Path) -> None:
    times = np.concatenate([np.arange(0, 3600, 60), np.arange(5 * 3600, 6 * 3600, 60)])
    log = timeline_of(read_readings(_file(tmp_path, _rows(times))), START_S)
    notes = tmp_path / "b.readings.csv"
    append_reading(notes, BATCH.start + timedelta(hours=3), {"current": 1.5})
    joined = join_timelines(timeline_of(read_readings(notes), START_S), log)
    marked = joined.time_s[joined.gap_before] / 3600
    assert marked.tolist() == [3.0, 5.0]


def test_the_logger_fills_what_lies_between_notes(tmp_path: Path) -> None:
    log = timeline_of(read_readings(_file(tmp_path, _rows(np.arange(0, 12 * 3600, 60)))), START_S)
    notes = tmp_path / "b.readings.csv"
    for minute in (0, 5, 10, 15, 600):
        append_reading(notes, BATCH.start + timedelta(minutes=minute), {"current": 1.5})
    alone = timeline_of(read_readings(notes), START_S)
    assert any(event.kind == "gap" for event in alone.events)
    joined = join_timelines(alone, log)
    assert not joined.gap_before.any()
    assert not joined.events


def test_a_million_readings_in_two_seconds(tmp_path: Path, plan: MakePlan) -> None:
    seconds = np.arange(100_000)
    stamps = np.datetime_as_string(np.datetime64(BATCH.start) + seconds.astype("timedelta64[s]"), unit="s")
    volts = np.round(2.5 + 0.01 * np.sin(seconds / 500), 3)
    path = tmp_path / "log.csv"
    # a logger of ten readings a second
    rows = "".join(10 * f"{t},1.5000,{v},31.00\n" for t, v in zip(stamps.tolist(), volts.tolist(), strict=True))
    path.write_text("time,current_a,voltage_v,temperature_degc\n" + rows)
    begun = clock.process_time()
    standing = _stand(plan, path)
    took_s = clock.process_time() - begun
    assert standing.n_readings == 1_000_000
    assert took_s <= 2.0
