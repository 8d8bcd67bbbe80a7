"""Does a bench book lose anything: killed writers, full and read-only disks, files cut short, export and import?

Killed writers and random books are trials that can be taken up again; the rest takes seconds and starts afresh. The
disks are real (small tmpfs mounts), so that part needs root and is left out, with a word, without it.
"""

from __future__ import annotations

import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from tests.support.book_trials import cut_short, fill_up, new_book, survive_kills, two_writers
from tests.support.books import random_book

from studies.frame import Result, Table, run_trials, write_page
from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.book.dump import dump_lines
from truekev.book.export import export_book
from truekev.book.import_folder import import_folder
from truekev.book.run_readings import NewReading, add_readings, last_readings, readings_of
from truekev.book.spectra import add_spectrum, stored_spectrum
from truekev.book.things import Find, Stock
from truekev.book.work import Batch, Note, SpectrumFile
from truekev.errors import TruekevError
from truekev.job.shelf import shelf_on
from truekev.spectra.columns_write import columns_text
from truekev.spectra.spectrum import Spectrum

__all__ = ["main"]

SEED = 20261125
N_KILL_TRIALS, N_WRITES = 6, 500
N_BOOKS = 50
N_SPECTRA, N_READINGS = 2_000, 200_000


def trial(number: int, rng: np.random.Generator) -> Result:
    """The first trials kill writers; the others export and import a random book."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if number < N_KILL_TRIALS:
            found = survive_kills(folder, rng, n_writes=N_WRITES, longest_s=0.15)
            return {
                "kills": found.n_kills,
                "writes": found.acknowledged,
                "lost": found.lost,
                "faults": len(found.faults),
            }
        with random_book(folder / "a.book", rng, int(rng.integers(5, 120))) as book:
            n_records = sum(1 for _ in book.lines(only_current=False, limit=100_000))
            with import_folder(export_book(book, folder / "out").folder, folder / "b.book") as again:
                same = list(dump_lines(book)) == list(dump_lines(again))
                return {"records": n_records, "same": same, "faults": len(check_book(again).faults)}


@contextmanager
def _small_disk(kilobytes: int) -> Iterator[Path | None]:
    with tempfile.TemporaryDirectory() as name:
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", name], capture_output=True, check=False
        )
        if done.returncode != 0:
            yield None
            return
        try:
            yield Path(name)
        finally:
            subprocess.run(["umount", name], check=True)


def _full_disks() -> list[tuple[str, str, str]]:
    rows = []
    for kilobytes in (400, 1000, 3000):
        with _small_disk(kilobytes) as disk:
            if disk is None:
                return [("full disk", "not tried: no right to mount a small disk here", "-")]
            new_book(disk / "full.book")
            found = fill_up(disk / "full.book", n_writes=400, file_limit=None)
        what = f"full disk of {kilobytes} kB"
        rows.append((what, f"{found.acknowledged} written, {found.lost} lost, {len(found.faults)} faults", found.said))
    return rows


def _read_only_disk() -> tuple[str, str, str]:
    with _small_disk(4000) as disk:
        if disk is None:
            return ("read-only disk", "not tried: no right to mount a small disk here", "-")
        with random_book(disk / "a.book", np.random.default_rng(1), 30) as book:
            n = sum(book.count().values())
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with Book.open(disk / "a.book") as book:
            read, whole, said = sum(book.count().values()), check_book(book).whole, ""
            try:
                book.add(Note(name="n", text="t"))
            except TruekevError as error:
                said = str(error).replace(str(disk), "DISK")
    return ("read-only disk", f"{read} of {n} records read, whole: {whole}", said)


def _others() -> list[tuple[str, str, str]]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        both = two_writers(folder, n_writes=250)
        with random_book(folder / "a.book", np.random.default_rng(2), 60) as book:
            path = book.path
        size = path.stat().st_size
        said = [cut_short(path, int(at)) for at in np.random.default_rng(3).integers(0, size - 1, 200)]
    noticed = sum(bool(text) for text in said)
    return [
        ("two processes, 250 writes each", f"{both.acknowledged} written, {both.lost} lost, {len(both.faults)} faults",
         both.said or "-"),
        ("cut short at 200 random places", f"{noticed} noticed", said[-1].replace(str(folder), "DISK")),
    ]  # fmt: skip


def _large_book(folder: Path) -> Book:
    rng = np.random.default_rng(SEED)
    book = Book.create(folder / "large.book", "Large")
    book.add(
        Stock(name="Rods", what="rods", place="x", electrode_class="WT20", diameter_mm=2.4, length_mm=150.0, count=10)
    )
    find = book.add(Find(name="Lens", what="lens", place="x", found_on=date(2026, 1, 1))).id
    start = datetime(2026, 1, 1)
    for i in range(N_SPECTRA):
        spectrum = Spectrum(rng.poisson(20.0, 1024).astype(float), live_time_s=600.0, start=start + timedelta(hours=i))
        add_spectrum(book, columns_text(spectrum).encode(), f"{i}.csv", thing_ids=(find,))
    batch = book.add(Batch(name="B", settings={})).id
    for k in range(20):
        new = [
            NewReading(start + timedelta(seconds=10 * (k * 10_000 + i)), current_a=1.0, voltage_v=3.0)
            for i in range(N_READINGS // 20)
        ]
        add_readings(book, batch, new)
    return book


def _speed() -> Table:
    with tempfile.TemporaryDirectory() as name, _large_book(Path(name)) as book:
        batch = book.current(Batch)[0].id
        newest = book.current(SpectrumFile, limit=1)[0].id
        asks: dict[str, Callable[[], Any]] = {
            "numbers of records by kind": book.count,
            "list of 50 newest records": lambda: book.lines(limit=50),
            "list of 50 spectra, 1,900 skipped": lambda: book.current(SpectrumFile, limit=50, skip=1900),
            "one spectrum from its bytes": lambda: stored_spectrum(book, newest),
            "last 20 readings": lambda: last_readings(book, batch),
            "all 200,000 readings": lambda: readings_of(book, batch),
            "one in a hundred of them, for a picture": lambda: readings_of(book, batch, thin_to_every=100),
            "the shelf": lambda: shelf_on(book, date(2027, 1, 1)),
            "one record added": lambda: book.add(Note(name="n", text="t")),
            "check of everything": lambda: check_book(book),
        }
        rows = []
        for what, ask in asks.items():
            times = []
            for _ in range(3 if what.startswith(("all", "check")) else 15):
                begin = time.perf_counter()
                ask()
                times.append(1000 * (time.perf_counter() - begin))
            rows.append((what, f"{np.median(times):.1f}", f"{max(times):.1f}"))
        size = book.path.stat().st_size / 1e6
    return Table(
        f"A book of {N_SPECTRA} spectra and {N_READINGS} readings ({size:.0f} MB): milliseconds, median and longest",
        ("question", "median", "longest"),
        tuple(rows),
    )


def main() -> None:
    """Run all of it and write the page."""
    n_trials = N_KILL_TRIALS + N_BOOKS
    trials = run_trials("book_survival", trial, n_trials=n_trials, seed=SEED, workers=1, settings="1")
    kills, books = trials.results[:N_KILL_TRIALS], trials.results[N_KILL_TRIALS:]
    attacks = [*_full_disks(), _read_only_disk(), *_others()]
    tables = (
        Table(
            f"Writers killed (signal 9) at random moments until {N_WRITES} writes were acknowledged",
            ("run", "kills", "acknowledged", "lost", "faults"),
            tuple((str(i), *(str(r[k]) for k in ("kills", "writes", "lost", "faults"))) for i, r in enumerate(kills)),
        ),
        Table(
            "Random books exported and imported",
            ("books", "records in all", "identical", "with faults"),
            (
                (
                    str(len(books)),
                    str(sum(r["records"] for r in books)),
                    str(sum(r["same"] for r in books)),
                    str(sum(r["faults"] > 0 for r in books)),
                ),
            ),
        ),
        Table("Disks, processes, cut files", ("attack", "result", "what is said (last)"), tuple(attacks)),
        _speed(),
    )
    lost = sum(r["lost"] + r["faults"] for r in kills)
    different = sum(not r["same"] for r in books)
    write_page(
        trials,
        title="The bench book survives",
        question="Is anything acknowledged ever lost, anything half there, any failure without a clear sentence?",
        tables=tables,
        answer=f"Writes lost or damaged over all kills: {lost}. Books that differ after the round trip: {different}.",
    )


if __name__ == "__main__":
    main()
