"""Runs the program's commands on an invented scenario, and keeps what they print and draw for the docs.

Writes docs/examples/NAME.txt and NAME.png; the pages include them, so that no page shows what the program does not
say. Run by `make docs`; takes a minute or two. Everything in it is invented: the batch of the template, a logger's
file made from its plan, the simulated spectra of the demonstration.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pypdfium2

from truekev.bench.plan import plan_make
from truekev.bench.settings import read_batch
from truekev.book.things import Source
from truekev.job.demo_book import fill_demo_book
from truekev.spectra.columns_write import columns_text
from truekev.spectra.read import read_spectrum

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "docs" / "examples"
SEED = 20261125
N_SLICES = 18

# Name of what is kept; the command as a person types it. What it draws is kept under the same name.
COMMANDS: tuple[tuple[str, str], ...] = (
    ("forecast", "truekev forecast --source rods:WT20,2.4x150,3 --picture forecast.png"),
    ("new-batch", "truekev new batch"),
    ("plan", "truekev plan batch.toml --quick --picture plan.png"),
    ("note", "truekev note batch.toml mass=24.1 --time 2026-10-05T20:00"),
    ("follow", "truekev follow batch.toml logger.csv --picture follow.png"),
    ("cleanup-basket", "truekev cleanup batch.toml"),
    ("cleanup", "truekev cleanup batch.toml --picture cleanup.png"),
    ("cleanup-refused", "truekev cleanup batch.toml --dose 50mL5%"),
    ("recover", "truekev recover batch.toml --write vial.toml --picture recover.png"),
    ("waste", "truekev waste batch.toml"),
    ("dose", "truekev dose --source vial.toml --at 10cm"),
    ("chain", "truekev chain vial.toml --on 2027-01-15"),
    ("emit", "truekev emit --source vial.toml --on 2027-01-15"),
    ("demo", "truekev demo --out demo"),
    (
        "calibrate",
        "truekev calibrate demo/rods.csv --source thoriated-rods --background demo/room.csv --out scale.json",
    ),
    ("relock", "truekev relock demo/rods-later.csv --scale scale.json --background demo/room.csv --out tuesday.json"),
    ("watch", "truekev watch evening --scale scale.json --source thoriated-rods --background demo/room.csv --once"),
    (
        "align",
        "truekev align hour/*.csv --scale scale.json --source thoriated-rods --background demo/room.csv "
        "--temperatures hour.csv --out hour.n42 --picture align.png",
    ),
    ("convert", "truekev convert demo/rods-later.csv --scale tuesday.json --out tuesday.n42"),
    ("limits", "truekev limits --gross 1000 --background 800 --time 1h --factor 50 --u-factor 2.5 --unit Bq"),
    ("shelf", "truekev shelf --on 2027-01-15"),
)
# Pictures that a command leaves under another name: where, and the name that is kept.
PICTURES = (("demo/rods-spectrum.png", "calibrate-spectrum"), ("demo/rods-scale.png", "calibrate-scale"))
SHEET = "sheet"  # first page of a source record of the demonstration's book


def _run(words: str, folder: Path) -> str:
    """What a command prints, the command itself on top."""
    environment = os.environ | {"COLUMNS": "100", "TRUEKEV_BOOK": "lab.book"}
    files = [sorted(str(one.relative_to(folder)) for one in folder.glob(word)) for word in words.split() if "*" in word]
    expanded = [one for word in words.split() for one in (files.pop(0) if "*" in word else [word])]
    command = [sys.executable, "-m", *expanded]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8")
    if done.returncode not in (0, 3):
        raise SystemExit(f"$ {words}\n{done.stdout}{done.stderr}")
    said = done.stdout + (done.stderr if done.returncode == 3 else "")
    return f"$ {words}\n{said.strip()}\n"


def _logger_file(batch_path: Path) -> None:
    """A logger's file of nine tenths of the planned run: noise, a gap, and a short of ten minutes."""
    batch = read_batch(batch_path)
    course = plan_make(batch).course
    rng = np.random.default_rng(SEED)
    lines = ["time,current_a,voltage_v,temperature_degc"]
    for at_s in np.arange(60.0, 0.9 * course.duration_s, 60.0):
        hours = at_s / 3600
        if 5.0 < hours < 6.2:
            continue
        volts = 0.4 if 8.0 < hours < 8.2 else float(np.interp(at_s, course.time_s, course.voltage_v))
        row = (
            f"{batch.start + timedelta(seconds=at_s):%Y-%m-%d %H:%M:%S}",
            f"{np.interp(at_s, course.time_s, course.current_a) + rng.normal(0, 0.002):.3f}",
            f"{volts + rng.normal(0, 0.02):.3f}",
            f"{np.interp(at_s, course.time_s, course.temperature_degc) + rng.normal(0, 0.3):.1f}",
        )
        lines.append(",".join(row))
    (batch_path.parent / "logger.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _counts_of_an_evening(folder: Path) -> None:
    """A count that grows, to be watched; and the demonstration's hour in slices, moved by a drifting gain."""
    rng = np.random.default_rng(SEED)
    later = read_spectrum(folder / "demo" / "rods-later.csv")
    (folder / "evening").mkdir()
    grown = replace(later, counts=rng.binomial(later.counts.astype(int), 0.1).astype(float), live_time_s=6.6)
    (folder / "evening" / "rods-tuesday.csv").write_text(columns_text(grown), encoding="utf-8")
    rods = read_spectrum(folder / "demo" / "rods.csv")
    slice_s = float(rods.live_time_s or 0.0) / N_SLICES
    begun = datetime(2026, 3, 2, 9, 10)
    channels = np.repeat(np.arange(rods.n_channels), rods.counts.astype(int)) + rng.uniform(
        -0.5, 0.5, int(rods.counts.sum())
    )
    number = rng.integers(0, N_SLICES, channels.size)
    (folder / "hour").mkdir()
    for i in range(N_SLICES):
        degc = 21.0 - 5.0 * np.sin(np.pi * (i + 0.5) / N_SLICES)
        moved = np.rint(channels[number == i] * np.exp(-0.004 * (degc - 21.0))).astype(int)
        counts = np.bincount(moved[(moved >= 0) & (moved < rods.n_channels)], minlength=rods.n_channels).astype(float)
        start = begun + timedelta(seconds=slice_s * i)
        one = replace(rods, counts=counts, live_time_s=slice_s, start=start)
        (folder / "hour" / f"slice-{i:02d}.csv").write_text(columns_text(one), encoding="utf-8")
    rows = ["time,temperature"] + [
        f"{begun + timedelta(seconds=slice_s * i):%Y-%m-%dT%H:%M:%S},{21.0 - 5.0 * np.sin(np.pi * i / N_SLICES):.1f}"
        for i in range(N_SLICES + 1)
    ]
    (folder / "hour.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def _keep_sheet(folder: Path) -> None:
    """Fill the demonstration's book, and keep a picture of the vial's source record."""
    book = fill_demo_book(folder / "lab.book")
    vial = next(record for record in book.current(Source) if "vial" in record.body.name)
    book.close()
    _run(f"truekev sheet {vial.id} --on 2027-01-15 --out vial.pdf", folder)
    document = pypdfium2.PdfDocument(folder / "vial.pdf")
    document[0].render(scale=1.4).to_pil().save(TARGET / f"{SHEET}.png")
    document.close()


def main() -> None:
    """Run everything in a folder that goes away, and keep what is shown."""
    TARGET.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for what, words in COMMANDS:
            if what == "watch":
                _counts_of_an_evening(folder)
            if what == "shelf":
                _keep_sheet(folder)
            said = _run(words, folder)
            (TARGET / f"{what}.txt").write_text(said, encoding="utf-8")
            if what == "new-batch":
                (folder / "batch.toml").write_text(said.partition("\n")[2], encoding="utf-8")
            if what == "cleanup-basket":
                batch = folder / "batch.toml"
                batch.write_text(batch.read_text(encoding="utf-8").replace("_out = false", "_out = true"))
            if what == "plan":
                _logger_file(folder / "batch.toml")
            if (folder / f"{what}.png").exists():
                (TARGET / f"{what}.png").write_bytes((folder / f"{what}.png").read_bytes())
            print(f"  {words}")
        for place, kept in PICTURES:
            (TARGET / f"{kept}.png").write_bytes((folder / place).read_bytes())


if __name__ == "__main__":
    main()
