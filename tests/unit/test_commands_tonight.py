"""Tuesday evening at the bench: relock without options, watch, align; and broken counts, which are said, not fitted.

Spectra are the demo's (invented).
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.support.commands import Commands

from truekev.book.book import Book
from truekev.book.spectra import add_spectrum_file
from truekev.book.work import Relock
from truekev.errors import FileFormatError, InputError, RefusedError
from truekev.job.align_slices import align_files
from truekev.job.book_scales import calibrate_in_book
from truekev.job.sound_count import why_not_sound
from truekev.job.tonight_settings import bench_settings_template, find_settings, read_settings
from truekev.job.watch_folder import FolderWatch
from truekev.quantity import Measured
from truekev.scale.energy_scale import read_scale, write_scale
from truekev.scale.temperature import predicted_change, temperature_line
from truekev.spectra import read_spectrum
from truekev.spectra.spectrum import Spectrum
from truekev.spectra.write import write_spectrum
from truekev.tables.loader import table_bytes

SETTINGS = 'sources = ["thoriated-rods"]\nbackground = "room.csv"\nscale = "scale.json"\nlimit_percent = 0.5\n'


@pytest.fixture(scope="module")
def scale_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    from truekev.job.calibrate_spectra import calibrate_files

    folder = tmp_path_factory.mktemp("scale")
    for name, table in (("rods", "demo_rods"), ("room", "demo_background")):
        (folder / f"{name}.csv").write_bytes(table_bytes(f"{table}.csv"))
    report = calibrate_files([folder / "rods.csv"], ["thoriated-rods"], background=str(folder / "room.csv"))
    return write_scale(replace(report.spectra[0].scale, spectrum_start="2026-11-12T19:00:00"), folder / "s").read_text()


@pytest.fixture
def bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], scale_text: str
) -> Commands:
    for name, table in (("rods", "demo_rods"), ("room", "demo_background"), ("later", "demo_rods_later")):
        (tmp_path / f"{name}.csv").write_bytes(table_bytes(f"{table}.csv"))
    (tmp_path / "scale.json").write_text(scale_text)
    (tmp_path / "truekev.toml").write_text(SETTINGS)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TRUEKEV_BOOK", raising=False)
    return Commands(tmp_path, monkeypatch, capsys)


# ---- relock


def test_beyond_the_limit_the_scale_is_written_and_the_old_one_kept(bench: Commands) -> None:
    old = (bench.folder / "scale.json").read_text()
    code, out, _ = bench("relock", "later.csv")
    assert code == 0
    first = out.splitlines()[0]
    assert re.fullmatch(r"moved \+[12]\.\d % since 12 Nov, your limit 0\.5 %: new scale written", first)
    assert "To type into the instrument" in "\n".join(out.splitlines()[1:4])
    assert (bench.folder / "scale-2026-11-12.json").read_text() == old
    assert len(read_scale("scale.json").history) == 2


def test_within_the_limit_nothing_is_written(bench: Commands) -> None:
    before = {f: (bench.folder / f).stat().st_mtime_ns for f in bench.files()}
    code, out, _ = bench("relock", "rods.csv")
    assert code == 0
    assert out.splitlines()[0].startswith("within your limit: leave it")
    code, out, _ = bench("relock", "later.csv", "--limit", "5", "--out", "new.json")
    assert out.splitlines()[0].startswith("within your limit: leave it")
    assert {f: (bench.folder / f).stat().st_mtime_ns for f in bench.files()} == before


def test_settings_stand_above_the_spectrum(bench: Commands) -> None:
    deep = bench.folder / "counts" / "november"
    deep.mkdir(parents=True)
    (deep / "tuesday.csv").write_bytes((bench.folder / "later.csv").read_bytes())
    assert find_settings(deep / "tuesday.csv") == bench.folder / "truekev.toml"
    code, out, _ = bench("relock", "counts/november/tuesday.csv", "--json")
    report = json.loads(out)
    assert code == 0
    assert report["beyond_limit"] is True
    assert report["moved_percent"]["value"] == pytest.approx(1.8, abs=1.0)


def test_without_settings_or_scale_it_says_what_to_write(bench: Commands) -> None:
    (bench.folder / "truekev.toml").unlink()
    assert "truekev new bench-settings" in bench.rejects(2, "relock", "later.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("sources = [\n", "is not TOML"),
        (SETTINGS.replace("scale =", "scales ="), "field scale: this key is missing"),
        (SETTINGS.replace("limit_percent = 0.5", "limit_percent = -1"), "line 4, field limit_percent: -1 was given"),
        (SETTINGS + "colour = 3\n", "line 5, field colour: this key is not known"),
        (SETTINGS.replace("room.csv", "nothere.csv"), "line 2, field background: there is no file"),
        (SETTINGS.replace('["thoriated-rods"]', "[]"), "field sources"),
    ],
)
def test_a_wrong_settings_file_names_line_and_field(bench: Commands, text: str, words: str) -> None:
    (bench.folder / "truekev.toml").write_text(text)
    message = bench.rejects(2, "relock", "later.csv")
    assert "truekev.toml" in message
    assert words in message


def test_the_template_reads_back(bench: Commands) -> None:
    text = bench_settings_template()
    assert bench("new", "bench-settings")[1] == text
    (bench.folder / "truekev.toml").write_text(text)
    assert read_settings(bench.folder / "truekev.toml").limit_percent == 0.5
    # with every comment taken off its keys it reads as well
    lines = [
        line[2:] if line.startswith("# ") and (" = " in line or line[2] == "[") else line for line in text.split("\n")
    ]
    entries = tomllib.loads("\n".join(lines))
    assert set(entries) == {"instrument", "sources", "background", "scale", "limit_percent", "temperature"}


def test_temperature_predicts_beside_what_was_found(bench: Commands) -> None:
    assert "no temperature coefficient is known" in bench.rejects(2, "relock", "later.csv", "--temperature", "14")
    table = "[temperature]\ncoefficient_percent_per_degc = [-0.4, 0.05]\nscale_degc = 18.0\n"
    (bench.folder / "truekev.toml").write_text(SETTINGS + table)
    assert "What was found agrees." in bench("relock", "later.csv", "--limit", "9", "--temperature", "14")[1]
    assert "does not agree" in bench("relock", "later.csv", "--limit", "9", "--temperature", "30")[1]


def test_another_source_is_not_fitted(bench: Commands) -> None:
    assert "Eu-152" in bench.rejects(3, "relock", "later.csv", "-s", "Eu-152")
    bench.rejects(3, "relock", "rods.csv", "-s", "Cs-137")


def test_the_room_is_a_source_of_its_own(bench: Commands) -> None:
    code, out, _ = bench("relock", "room.csv", "--background-only", "--limit", "9", "--json")
    assert code == 0
    moved = json.loads(out)["moved_percent"]
    assert abs(moved["value"]) < 3 * moved["u"]
    assert moved["u"] < 1.5
    assert "leave --source" in bench.rejects(2, "relock", "room.csv", "--background-only", "-s", "K-40")


def test_the_book_serves_as_settings(bench: Commands) -> None:
    (bench.folder / "truekev.toml").unlink()
    with Book.create(bench.folder / "lab.book", "A lab") as book:
        spectrum = add_spectrum_file(book, bench.folder / "rods.csv")
        calibrate_in_book(book, spectrum.id, ["thoriated-rods"], made_on=date(2026, 11, 12))
        records = sum(book.count().values())
    code, out, _ = bench("relock", "rods.csv", "--book", "lab.book")
    assert code == 0
    assert out.splitlines()[0].startswith("within your limit: leave it")
    with Book.open(bench.folder / "lab.book") as book:
        assert sum(book.count().values()) == records
    code, out, _ = bench("relock", "later.csv", "--book", "lab.book")
    assert code == 0
    assert out.splitlines()[0].endswith("new scale written")
    with Book.open(bench.folder / "lab.book") as book:
        assert len(book.current(Relock)) == 1
    # one temperature is no line
    message = bench("relock", "later.csv", "--book", "lab.book", "--temperature", "14")
    assert message[0] == 3
    assert "different temperatures" in message[2]


# ---- temperature


def test_the_coefficient_comes_back_and_two_temperatures_are_refused() -> None:
    rng = np.random.default_rng(2)
    degc = rng.uniform(10, 30, 40)
    u = np.full(40, 0.002)
    line = temperature_line(degc, -0.0045 * (degc - 20) + u * rng.standard_normal(40), u)
    assert abs(line.percent_per_degc.value + 0.45) < 3 * line.percent_per_degc.u
    assert line.percent_per_degc.u < 0.01
    with pytest.raises(RefusedError, match="2 different temperatures"):
        temperature_line([20.0, 20.01, 25.0], [0.0, 0.0, 0.1], [0.01, 0.01, 0.01])
    change = predicted_change(Measured(-0.45, 0.03, "%/°C"), 21.0, 14.0, 0.5)
    assert change.value == pytest.approx(3.2, abs=0.01)
    assert change.u == pytest.approx(np.hypot(0.21, 0.5 * np.sqrt(2) * 0.45) * 1.032, rel=0.01)


# ---- watch


def test_watch_counts_down_and_says_a_half_file_once(bench: Commands) -> None:
    counts = bench.folder / "counts"
    counts.mkdir()
    looking = FolderWatch(counts)
    assert looking.look() == []
    half = (bench.folder / "later.csv").read_bytes()
    (counts / "tuesday.n42").write_text('<?xml version="1.0"?><RadInstrumentData xmlns="http://physics.nist.')
    first = looking.look()
    assert len(first) == 1
    assert "tried again" in first[0].words
    assert looking.look() == []
    (counts / "tuesday.n42").unlink()
    (counts / "late.csv").write_bytes(half)
    (one,) = looking.look()
    assert one.moved_percent is not None
    assert one.moved_percent.value == pytest.approx(1.8, abs=1.0)
    assert f"{one.counts:,.0f} counts, gain +" in one.words
    assert looking.look() == []
    os.utime(counts / "late.csv", ns=(1, 1))
    assert len(looking.look()) == 1


def test_watch_says_how_much_longer(bench: Commands) -> None:
    spectrum = read_spectrum("later.csv")
    thin = np.random.default_rng(3).binomial(spectrum.counts.astype(int), 0.1).astype(float)
    counts = bench.folder / "counts"
    counts.mkdir()
    short = replace(spectrum, counts=thin, live_time_s=(spectrum.best_live_time_s or 0) * 0.1, real_time_s=None)
    write_spectrum(replace(short, counting_time_s=None), counts / "short.csv")
    (one,) = FolderWatch(counts, limit_percent=0.4).look()
    assert one.more_s is None or one.more_s > 0
    assert "for 0.4 %" in one.words or "keeps it above" in one.words


def test_watch_command_looks_once(bench: Commands) -> None:
    before = bench.files()
    code, out, _ = bench("watch", ".", "--once")
    assert code == 0
    assert {line.split(":")[0] for line in out.splitlines()} == {"rods.csv", "later.csv"}
    assert bench.files() == before
    assert json.loads(bench("watch", ".", "--once", "--json")[1].splitlines()[0])["file"]
    assert "no such folder" in bench.rejects(2, "watch", "nowhere", "--once")


def test_watch_ends_cleanly(bench: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("time.sleep", stop)
    code, _, err = bench("watch", ".")
    assert code == 0
    assert "watching ended" in err


# ---- align


def _drifting(folder: Path, n_slices: int = 8) -> tuple[list[str], np.ndarray]:
    """The demo's rods cut into slices, each moved by a gain of its own; every count stays whole."""
    rng = np.random.default_rng(11)
    spectrum = read_spectrum(folder / "rods.csv")
    left = spectrum.counts.astype(int)
    gains = np.exp(0.02 * np.cos(np.linspace(0, 3, n_slices)))
    start = datetime(2026, 11, 12, 20, 0)
    length = (spectrum.best_live_time_s or 3600.0) / n_slices
    files = []
    for j in range(n_slices):
        own = left if j == n_slices - 1 else rng.binomial(left, 1 / (n_slices - j))
        left = left - own
        at = np.repeat(np.arange(own.size), own) + rng.uniform(-0.5, 0.5, own.sum())
        moved = np.clip(np.rint(at * gains[j]), 0, own.size - 1).astype(int)
        one = Spectrum(
            np.bincount(moved, minlength=own.size).astype(float),
            live_time_s=length,
            real_time_s=length,
            start=start + timedelta(seconds=j * (length + 3)),
        )
        files.append(str(write_spectrum(one, folder / f"slice{j}.csv")))
    return files, gains


def test_align_undoes_the_drift_and_keeps_every_count(bench: Commands) -> None:
    files, gains = _drifting(bench.folder)
    degc = 20.0 - np.log(gains) / 0.004
    (bench.folder / "night.csv").write_text("\n".join(f"{t:.2f}" for t in degc) + "\n")
    code, out, _ = bench(
        "align", *files, "--scale", "scale.json", "--background", "room.csv", "--temperatures", "night.csv",
        "--out", "sum.n42", "--picture", "drift.png", "--json",
    )  # fmt: skip
    assert code == 0
    report = json.loads(out)
    found = np.array([one["gain_percent"]["value"] for one in report["slices"]])
    u = np.array([one["gain_percent"]["u"] for one in report["slices"]])
    true = 100 * (gains / np.average(gains, weights=[one["counts"] for one in report["slices"]]) - 1)
    assert np.all(np.abs(found - true) < 3.5 * u + 0.1)
    assert report["counts_out"] == pytest.approx(report["counts_in"], abs=1e-6)
    line = report["temperature"]["percent_per_degc"]
    assert abs(line["value"] + 0.4) < 3 * line["u"]
    total = read_spectrum("sum.n42")
    assert total.counts.sum() + total.overflow == pytest.approx(report["counts_in"], rel=1e-6)
    assert (bench.folder / "drift.png").stat().st_size > 10_000


def test_align_refuses_what_are_no_slices(bench: Commands) -> None:
    files, _ = _drifting(bench.folder, 3)
    assert "several files" in bench.rejects(2, "align", files[0], "-s", "thoriated-rods")
    other = replace(read_spectrum(files[2]), counts=read_spectrum(files[2]).counts[:512])
    write_spectrum(other, bench.folder / "short.csv")
    assert "has 512 channels" in bench.rejects(2, "align", *files[:2], "short.csv", "-s", "thoriated-rods")
    assert "--source is missing" in bench.rejects(2, "align", *files)
    one = replace(read_spectrum(files[0]), instrument="A 1")
    two = replace(read_spectrum(files[1]), instrument="B 2")
    write_spectrum(one, bench.folder / "a.n42")
    write_spectrum(two, bench.folder / "b.n42")
    assert "of instrument" in bench.rejects(2, "align", "a.n42", "b.n42", "-s", "thoriated-rods")


def test_a_slice_of_something_else_is_told(bench: Commands) -> None:
    files, _ = _drifting(bench.folder, 4)
    odd = read_spectrum(files[2])
    flat = np.random.default_rng(5).multinomial(int(odd.counts.sum()), np.full(1024, 1 / 1024)).astype(float)
    write_spectrum(replace(odd, counts=flat), files[2])
    with pytest.raises(RefusedError, match=r"Slice 3 is not of the same spectrum"):
        align_files(files, scale_file="scale.json", background="room.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,temperature\n2026-11-12T20:00,warm\n2026-11-12T21:00,20\n", "line 2, field temperature"),
        ("20\nwarm\n21\n", "line 2, field temperature"),
        ("20\n400\n21\n", "line 2, field temperature"),
        ("time,temperature\nnoon,20\n", "line 2, field time"),
        ("20\n21\n", "holds 2 temperatures for 3 slices"),
    ],
)
def test_a_wrong_file_of_temperatures(bench: Commands, text: str, words: str) -> None:
    files, _ = _drifting(bench.folder, 3)
    (bench.folder / "t.csv").write_text(text)
    with pytest.raises(FileFormatError) as error:
        align_files(files, scale_file="scale.json", temperatures="t.csv")
    assert words in str(error.value)


# ---- broken counts


def _smooth(n: int = 512) -> np.ndarray:
    return np.random.default_rng(1).poisson(400 * np.exp(-np.arange(n) / 120.0)).astype(float)


def _holed(counts: np.ndarray) -> np.ndarray:
    counts[60:75] = 0
    return counts


def _overflown(counts: np.ndarray) -> np.ndarray:
    counts[-1] = 3 * counts.sum()
    return counts


@pytest.mark.parametrize(
    ("spectrum", "words"),
    [
        (Spectrum(np.zeros(512)), "it holds 0 counts"),
        (Spectrum(_holed(_smooth())), "channels 60 to 74 are empty"),
        (Spectrum(_overflown(_smooth())), "the overflow holds 75 % of all counts"),
        (Spectrum(_smooth(), overflow=1e6), "the overflow holds"),
        (Spectrum(_smooth(), live_time_s=700.0, real_time_s=600.0), "longer than its real time"),
        (Spectrum(_smooth(), live_time_s=0.01), "more than such an instrument can count"),
        (Spectrum(np.minimum(_smooth() * 200, 65_535.0)), "their counters are full"),
        (Spectrum(_smooth(), rebinned=True), "redistributed onto an energy axis"),
    ],
)
def test_broken_counts_are_said(spectrum: Spectrum, words: str) -> None:
    assert words in why_not_sound(spectrum)


def test_sound_counts_pass() -> None:
    assert why_not_sound(Spectrum(_smooth(), live_time_s=599.0, real_time_s=600.0)) == ""
    # a first channel that holds a time, an empty start, and few counts at the end are common
    counts = np.concatenate(([3600.0, 0, 0, 0, 0, 0, 0, 0, 0], _smooth(503)))
    assert why_not_sound(Spectrum(counts)) == ""
    with pytest.raises(InputError):
        align_files(["nothere.csv", "nor.csv"], sources=["K-40"])
