"""Predicted spectra, and the time that a scale needs."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from truekev.cli.forecast import percent_of
from truekev.errors import InputError, OutOfRangeError
from truekev.job.worth_it import worth_it
from truekev.job.worth_it_words import ASK_FIRST, Choice, Costs, PredictedCurve, answer_in_words, duration_in_words
from truekev.scale.forecast import JUDGED_KEV, Forecast, ReachTime, forecast, scale_u
from truekev.scale.predicted import PredictedSpectrum, predict, source_betas
from truekev.scale.room import Room, assumed_room, measured_room
from truekev.sources.short_forms import source_in_words
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.transport.detector import DEFAULT_DETECTOR
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


def _choice(name: str, kind: str, time_s: float | None, money: float | None = None) -> Choice:
    reach = {name: ReachTime(energy, time_s, 1.0, 0.7) for name, energy in JUDGED_KEV.items()}
    nothing = np.zeros(1)
    found = Forecast(1.0, 1.0, {}, (), reach, time_s, time_s)
    return Choice(name, kind, found, PredictedCurve(nothing, nothing, {}), money, None)


@pytest.mark.parametrize(
    ("hand", "more", "vial", "says"),
    [
        (2400.0, 1200.0, 720.0, "Nothing needs making for a monthly check"),
        (2 * 86400.0, None, 7200.0, "A longer count does it"),
        (None, 7200.0, 720.0, "Before any chemistry"),
        (None, None, 720.0, "to make a source would"),
        (None, None, None, "None of these"),
    ],
)
def test_the_answer(hand: float | None, more: float | None, vial: float | None, says: str) -> None:
    choices = (
        _choice("five rods", "at hand", hand),
        _choice("ten rods", "more rods", more, 20.0),
        _choice("the vial", "to be made", vial),
    )
    answer = answer_in_words(choices, 0.005, Costs(rod_price=4.0))
    assert says in answer[0]
    assert answer[-1] == ASK_FIRST
    assert any("20.00" in words for words in answer)
    assert ASK_FIRST not in answer_in_words(choices[:2], 0.005, Costs())


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
    done = CliRunner().invoke(app, ["emit", "--source", "Cs-137", "--on", "2026-11-25"])
    assert done.exit_code == 0
    assert "661.7" in done.output
