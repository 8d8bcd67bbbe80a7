"""The demonstration: an invented teaching lab calibrates its spectrometer and re-locks it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from truekev.files import write_whole
from truekev.job.calibrate_spectra import CalibrationReport, calibrate_files
from truekev.job.demo_book import fill_demo_book
from truekev.job.relock_spectrum import RelockReport, relock_file
from truekev.quantity import Measured
from truekev.scale.energy_scale import write_scale
from truekev.tables.loader import table_bytes, table_rows

__all__ = ["DemoPeak", "DemoReport", "run_demo"]

_FILES = {"rods.csv": "demo_rods.csv", "room.csv": "demo_background.csv", "rods-later.csv": "demo_rods_later.csv"}


@dataclass(frozen=True)
class DemoPeak:
    """A line whose place the simulation knows: its energy, what the instrument read, what the scale says."""

    energy_kev: float
    claimed_kev: float
    scale_kev: Measured


@dataclass(frozen=True)
class DemoReport:
    """What the demonstration found; `book` is the invented lab's bench book, left alone where it was there before."""

    folder: Path
    book: Path
    calibration: CalibrationReport
    relock: RelockReport
    peaks: tuple[DemoPeak, ...]


def run_demo(folder: Path, progress: Callable[[float, str], None]) -> DemoReport:
    """Write the invented spectra into `folder`, calibrate, re-lock, compare with the simulated truth, fill a book."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in _FILES.items():
        write_whole(folder / name, table_bytes(table))
    progress(0.1, "calibrating")
    calibration = calibrate_files(
        [folder / "rods.csv"], ["thoriated-rods"], background=str(folder / "room.csv"), progress=progress
    )
    one = calibration.spectra[0]
    write_scale(one.scale, folder / "scale.json")
    progress(0.7, "re-locking")
    again = relock_file(folder / "rods-later.csv", folder / "scale.json", background=str(folder / "room.csv"))
    write_scale(again.scale, folder / "scale-later.json")
    claimed = one.spectrum.claimed_scale
    peaks = []
    for row in table_rows("demo_true_peaks.csv"):
        energy, channel = float(row["energy_kev"]), float(row["channel"])
        reads = float(claimed.energy_kev(channel)) if claimed is not None else np.nan
        peaks.append(DemoPeak(energy, reads, one.scale.at(channel)))
    book = folder / "lab.book"
    if not book.exists():
        progress(0.9, "filling the invented lab's bench book")
        fill_demo_book(book).close()
    return DemoReport(folder, book, calibration, again, tuple(peaks))
