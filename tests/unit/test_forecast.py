"""Predicted spectra, and the time that a scale needs."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.support.batches import worked_case

from truekev.cli.forecast import percent_of
from truekev.errors import InputError, OutOfRangeError
from truekev.job.plan_make import plan_of_settings
from truekev.job.worth_it import alternatives, worth_it
from truekev.job.worth_it_words import (
    ASK_FIRST,
    ASK_FIRST_SHORT,
    AT_HAND,
    EVERYDAY,
    MORE_RODS,
    TO_MAKE,
    Choice,
    Costs,
    PredictedCurve,
    answer_in_words,
    duration_in_words,
    gain_of,
)
from truekev.scale.forecast import JUDGED_KEV, Forecast, ReachTime, forecast, scale_u
from truekev.scale.predicted import PredictedSpectrum, predict, source_betas
from truekev.scale.room import Room, assumed_room, measured_room
from truekev.sources.bodies import strata_of
from truekev.sources.nearness import crystal_share
from truekev.sources.short_forms import source_in_words
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.response import Accuracy
from truekev.transport.response_store import ResponseStore


@pytest.fixture(scope="module")
def predicted(tmp_path_factory: pytest.TempPathFactory) -> PredictedSpectrum:
    store = ResponseStore(tmp_path_factory.mktemp("store"))
    source = source_in_words("Cs-137:10kBq,30mm")
    return predict(source, DEFAULT_DETECTOR, relative_u=0.1, store=store)


@pytest.fixture(scope="module")
def room(predicted: PredictedSpectrum) -> Room:
    return assumed_room(DEFAULT_DETECTOR, predicted.curve, predicted.u)


def test_rates_add_up(predicted: PredictedSpectrum, room: Room) -> None:
    found = forecast(predicted, room)
    assert sum(found.shares.values()) == pytest.approx(1.0)
    energy, area, makers = predicted.peak_areas_per_s()
    at_662 = area[np.argmin(np.abs(energy - 661.7))]
    group = min(found.groups, key=lambda one: abs(one.energy_kev - 661.7))
    assert group.net_per_s == pytest.approx(at_662)
    assert set(makers) == {"Cs-137"}
    assert found.room_per_s == pytest.approx(6.3, rel=0.05)  # an open background: 6.4 counts per second


def test_the_same_bits_on_one_thread_and_on_two(tmp_path: Path) -> None:
    source = source_in_words("vial:1g")
    found = []
    for n in (1, 2):
        with ThreadPoolExecutor(n) as pool:
            store = ResponseStore(tmp_path / str(n))
            one = predict(source, DEFAULT_DETECTOR, accuracy=Accuracy(0.5, 16384, 16384), executor=pool, store=store)
        found.append(one)
    for first, second in zip(found[0].parts, found[1].parts, strict=True):
        assert np.array_equal(first.cumulative, second.cumulative)


def test_more_counts_more_knowledge(predicted: PredictedSpectrum, room: Room) -> None:
    energies = np.array(list(JUDGED_KEV.values()))
    u = [scale_u(predicted, room, t, energies) for t in (60.0, 600.0, 6000.0)]
    assert np.all(u[0] >= u[1])
    assert np.all(u[1] >= u[2])
    bare = scale_u(predicted, room, 600.0, energies, model_error=False)
    assert np.all(bare <= u[1])
    # One line: near it the scale is known as well as the line's place.
    place = 0.08 * 661.7 / 2.355 / np.sqrt(600 * 10_000 * 0.85 * predicted.response.peak.full_energy(661.7))
    assert 0.5 * place < scale_u(predicted, room, 600.0, 661.655, model_error=False)[0] < 2.0 * place


def test_one_line_does_not_reach_the_other_end(predicted: PredictedSpectrum, room: Room) -> None:
    found = forecast(predicted, room)
    assert found.whole_s is None
    assert found.peaks_s is None
    assert found.reach["high"].time_s is None
    assert found.reach["middle"].time_s is not None


def test_without_source_strength_nothing_is_learned(predicted: PredictedSpectrum, room: Room) -> None:
    faint = replace(
        predicted, parts=tuple(replace(part, cumulative=1e-9 * part.cumulative) for part in predicted.parts)
    )
    prior = scale_u(faint, room, 3600.0, [2614.5])
    assert prior[0] / 2614.5 > 0.02


def test_a_measured_room(predicted: PredictedSpectrum) -> None:
    counts = np.full(300, 12.0)
    spectrum = Spectrum(counts=counts, live_time_s=600.0, claimed_scale=ClaimedScale((0.0, 10.0)), file="room.csv")
    found = measured_room(spectrum, predicted.curve, predicted.u)
    assert found.rate_per_s == pytest.approx(6.0, rel=0.02)
    with pytest.raises(InputError, match="energy scale"):
        measured_room(replace(spectrum, claimed_scale=None), predicted.curve, predicted.u)
    with pytest.raises(InputError, match="counting time"):
        measured_room(replace(spectrum, live_time_s=None), predicted.curve, predicted.u)


def test_betas_are_drawn_from_their_spectrum() -> None:
    per_s, birth = source_betas(source_in_words("salt:1g"))
    assert per_s == pytest.approx(16.6 * 0.893, rel=0.02)  # beta-minus branch of K-40
    assert birth is not None
    assert birth.top_kev == pytest.approx(1311, abs=5)
    assert np.mean(birth.quantiles_kev) == pytest.approx(560, rel=0.15)
    assert source_betas(source_in_words("Cs-137:1Bq"))[1] is None


def _choice(
    name: str, kind: str, time_s: float | None, money: float | None = None, hours: float | None = None, th: float = 0.0
) -> Choice:
    reach = {name: ReachTime(energy, time_s, 1.0, 0.7) for name, energy in JUDGED_KEV.items()}
    nothing = np.zeros(1)
    found = Forecast(1.0, 1.0, {}, (), reach, time_s, time_s)
    return Choice(name, kind, found, PredictedCurve(nothing, nothing, {}), money, hours, th, th / 1e6)


@pytest.mark.parametrize(
    ("hand", "more", "vial", "says"),
    [
        (2400.0, 1200.0, 720.0, "Nothing needs making for a monthly check"),
        (2 * 86400.0, None, 7200.0, "A longer count does it"),
        (20 * 86400.0, None, 7200.0, "A longer count does it without chemistry"),
        (20 * 86400.0, 30 * 86400.0, 7200.0, "A longer count does it without chemistry"),
        (20 * 86400.0, 86400.0, 7200.0, "Before any chemistry: ten rods"),
        (None, 7200.0, 720.0, "Before any chemistry"),
        (None, None, 720.0, "to make a source would"),
        (None, None, None, "None of these"),
    ],
)
def test_the_answer(hand: float | None, more: float | None, vial: float | None, says: str) -> None:
    choices = (
        _choice("five rods", "at hand", hand),
        _choice("ten rods", "more rods", more, 20.0),
        _choice("the vial", TO_MAKE, vial),
    )
    answer = answer_in_words(choices, 0.005, Costs(rod_price=4.0))
    assert says in answer[0]
    assert answer[-1] == ASK_FIRST
    assert any("20.00" in words for words in answer)
    for words in answer:
        assert "the vial" not in words or "may need a licence even where the rods do not" in words
    assert ASK_FIRST not in answer_in_words(choices[:2], 0.005, Costs())


def test_where_the_gain_comes_from() -> None:
    rods, vial = _choice("rods", AT_HAND, 3600.0, th=100.0), _choice("the vial", TO_MAKE, 60.0, th=200.0)
    vial = replace(vial, forecast=replace(vial.forecast, rate_per_s=12.0), crystal_share=3 * rods.crystal_share)
    gain = gain_of(vial, rods)
    assert gain is not None
    assert (gain.counts, gain.thorium) == (12.0, 2.0)
    assert gain.counts == pytest.approx(gain.thorium * gain.geometry * gain.absorption)
    said = next(words for words in answer_in_words((rods, vial), 0.005, Costs()) if "geometry" in words)
    assert "12 times the counts of rods" in said
    assert "times 3 because it lies nearer" in said
    assert gain_of(vial, replace(rods, th232_bq=0.0)) is None


@pytest.mark.parametrize(
    ("vial_s", "says"),
    [(1800.0, "after 16 of them"), (3550.0, "monthly checks"), (3600.0, "never be paid back")],
)
def test_hours_of_work_against_shorter_counts(vial_s: float, says: str) -> None:
    choices = (_choice("rods", AT_HAND, 3600.0), _choice("the vial", TO_MAKE, vial_s, 50.0, 8.0))
    priced = answer_in_words(choices, 0.005, Costs(make_cost=50.0, make_hours=8.0))[2]
    assert "50.00 and 8 h of work" in priced
    assert says in priced
    assert ASK_FIRST_SHORT in priced


def test_what_is_set_beside_rods() -> None:
    rods = source_in_words("rods:WT20,2.4x175,5,refined=2018-05-01", on=date(2026, 11, 25))
    found = alternatives([rods])
    assert [kind for _, kind, _ in found] == [MORE_RODS, EVERYDAY, EVERYDAY, TO_MAKE]
    more, _, n_bought = found[0]
    assert (more.body.n_rods, n_bought) == (10, 5)
    assert more.activities_bq["Th-232"] == pytest.approx(2 * rods.activities_bq["Th-232"])
    vial = found[-1][0]
    assert vial.activities_bq["Th-232"] == pytest.approx(0.95 * rods.activities_bq["Th-232"])
    for name in ("Ra-228", "Tl-208"):  # the grains keep what has grown in them
        assert vial.activities_bq[name] / vial.activities_bq["Th-232"] == pytest.approx(
            rods.activities_bq[name] / rods.activities_bq["Th-232"]
        )
    assert [kind for _, kind, _ in alternatives([rods, source_in_words("vial:1g"), source_in_words("salt:1kg")])] == [
        MORE_RODS,
        EVERYDAY,
    ]
    assert [kind for _, kind, _ in alternatives([source_in_words("Cs-137:1kBq")])] == [EVERYDAY]
    assert alternatives([source_in_words("salt:1kg")]) == []
    sixty = source_in_words("rods:WT20,1x50,60")
    assert MORE_RODS not in [kind for _, kind, _ in alternatives([sixty])]


def test_a_crystal_fills_its_share_of_all_directions() -> None:
    """A square of side a at distance d, seen along its axis: 4 arcsin(a2 / (a2 + 4 d2))."""
    point = source_in_words("Cs-137:1kBq,20mm")
    d = 20.0 + DEFAULT_DETECTOR.window_mm + 0.01
    exact = math.asin(100.0 / (100.0 + 4 * d * d)) / math.pi
    assert crystal_share(strata_of(point, DEFAULT_DETECTOR)) == pytest.approx(exact, rel=1e-9)
    rods, fewer = (
        crystal_share(strata_of(source_in_words(words), DEFAULT_DETECTOR))
        for words in ("rods:WT20,2.4x175,9", "rods:WT20,2.4x175,3")
    )
    assert rods < fewer
    far = crystal_share(strata_of(source_in_words("rods:WT20,2.4x175,3,3000mm"), DEFAULT_DETECTOR))
    assert far == pytest.approx(100.0 / (4 * math.pi * 3001.7**2), rel=0.02)  # a little of its sides is in view


def test_words_for_times() -> None:
    assert duration_in_words(None) == "never"
    assert [duration_in_words(t) for t in (12.0, 2400.0, 3.2 * 3600, 5 * 86400.0)] == [
        "10 s",
        "40 min",
        "3.2 h",
        "5.0 days",
    ]


def test_bad_input() -> None:
    with pytest.raises(InputError, match="percentage"):
        percent_of("half", "--reach")
    assert percent_of("0,5 %", "--reach") == pytest.approx(0.005)
    with pytest.raises(OutOfRangeError):
        Costs(rod_price=-1.0)
    with pytest.raises(InputError, match="missing"):
        worth_it([])
    with pytest.raises(OutOfRangeError, match="reach"):
        worth_it(["Cs-137:1kBq"], reach=0.0005)
    with pytest.raises(OutOfRangeError, match="resolution"):
        worth_it(["Cs-137:1kBq"], fwhm_662=0.5)


def test_the_command(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    from typer.testing import CliRunner

    from truekev.cli.app import app

    folder = tmp_path_factory.mktemp("forecast")
    monkeypatch.setenv("TRUEKEV_CACHE", str(folder))
    words = ["forecast", "--source", "Cs-137:100kBq,20mm", "--only-these", "--picture", str(folder / "f.png")]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    assert "662 keV" in done.output
    assert "assumed" in done.output
    assert (folder / "f.png").read_bytes().startswith(b"\x89PNG")
    done = CliRunner().invoke(app, [*words, "--json"])
    start = done.output.index("{")
    report = json.JSONDecoder().raw_decode(done.output[start:])[0]
    assert report["choices"][0]["forecast"]["reach"]["middle"]["time_s"] > 0


@pytest.fixture
def few_histories(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def quick(*arguments: Any, **named: Any) -> PredictedSpectrum:
        return predict(*arguments, **named | {"accuracy": Accuracy(0.5, 16384, 16384, 0.2)})

    monkeypatch.setenv("TRUEKEV_CACHE", str(tmp_path))
    monkeypatch.setattr("truekev.job.worth_it.predict", quick)


@pytest.mark.usefixtures("few_histories")
def test_rods_beside_the_vial() -> None:
    report = worth_it(["rods:WT20,2.4x60,3", "vial:0.3g"], only_these=True, costs=Costs(make_hours=8.0))
    rods, vial = report.choices
    assert [rods.kind, vial.kind] == [AT_HAND, TO_MAKE]
    assert rods.forecast.rate_per_s < vial.forecast.rate_per_s
    gain = gain_of(vial, rods)
    assert gain is not None
    assert gain.thorium == pytest.approx(0.97, abs=0.02)
    assert gain.geometry > 1.3  # the ends of a rod lie far away
    assert gain.absorption > 1.5  # tungsten
    assert 0.03 < rods.forecast.shares["betas"] < 0.25  # an order of 10 % of the counts: common practice, no source
    assert "Nothing needs making" in report.answer[0]
    assert report.answer[-1] == ASK_FIRST


@pytest.mark.usefixtures("few_histories")
def test_a_plan_opens_with_the_comparison() -> None:
    opening = plan_of_settings(worked_case(), compare=True).opening
    assert "Nothing needs making for a monthly check" in opening.worth_it.splitlines()[0]
    assert ASK_FIRST in opening.worth_it
    assert "--" not in " ".join(opening.assumed)  # options of another command


def test_the_command_emit(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from typer.testing import CliRunner

    from truekev.cli.app import app

    monkeypatch.setenv("TRUEKEV_CACHE", str(tmp_path))
    done = CliRunner().invoke(app, ["emit", "--source", "Cs-137", "--on", "2026-11-25"])
    assert done.exit_code == 0
    assert "661.7" in done.output
    assert "per second and Bq" in done.output
    done = CliRunner().invoke(app, ["emit", "--source", "Cs-137:10kBq,20mm", "--on", "2026-11-25", "--json"])
    report = json.loads(done.output)
    line = min(report["emission"]["lines"], key=lambda one: abs(one["energy_kev"] - 661.7))
    assert line["outside_per_s"]["value"] == pytest.approx(8501, rel=0.002)
    assert report["emission"]["betas"]["per_s"] == pytest.approx(10_000, rel=0.01)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--source", "rods:WT20,2.4x175,5", "--on", "2026-13-01"], "--on 2026-13-01"),
        (["--source", "rods:WT20,2.4x175,5,refined=2018-05-01", "--on", "2017-01-01"], "refined on 2018-05-01"),
        (["--source", "nothing"], "nothing"),
        (["--source", "Cs-137", "--detector", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_emit_refuses_in_a_sentence(words: list[str], says: str) -> None:
    from typer.testing import CliRunner

    from truekev.cli.app import app

    done = CliRunner().invoke(app, ["emit", *words])
    assert done.exit_code == 2 or isinstance(done.exception, InputError)
    assert says in (str(done.exception) if isinstance(done.exception, InputError) else done.output)
