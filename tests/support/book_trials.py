"""Books under attack: writers that are killed, disks that fill up, files cut short. Used by tests and a study."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np

from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.book.records import NewFile
from truekev.book.run_readings import NewReading, add_readings, readings_of
from truekev.book.things import Find
from truekev.book.work import Batch, Picture
from truekev.errors import TruekevError

__all__ = ["Survival", "cut_short", "fill_up", "survive_kills", "two_writers", "write_until_told", "writer"]


@dataclass(frozen=True)
class Survival:
    """What came of a trial: writes acknowledged, writes lost, faults found, what was said."""

    acknowledged: int
    lost: int
    faults: tuple[str, ...]
    n_kills: int = 0
    said: str = ""


def write_until_told(path: Path, n_writes: int, seed: int) -> None:
    """Write pictures with bytes, readings and corrections; after each, say on standard output what is safe."""
    rng = np.random.default_rng(seed)
    with Book.open(path) as book:
        for _ in range(n_writes):
            what = rng.random()
            if what < 0.6:
                file = NewFile(rng.bytes(int(rng.integers(1, 60_000))), "image/png")
                record = book.add(Picture(name="picture", file_sha256=file.sha256, file_name="p.png"), files=[file])
                said = f"record {record.id} {record.sha256}"
            elif what < 0.8:
                old = book.lines("find", limit=1)
                body = Find(name="find", what="lens", place="shelf", found_on=date(2026, 1, 1))
                record_id = book.add(body, supersedes=old[0].id if old and rng.random() < 0.5 else None).id
                said = f"record {record_id} {book.get(record_id).sha256}"
            else:
                new = [NewReading(datetime(2026, 5, 1), current_a=1.0) for _ in range(int(rng.integers(1, 40)))]
                said = f"readings {add_readings(book, 1, new).stop - 1}"
            os.write(sys.stdout.fileno(), f"{said}\n".encode())


def writer(path: Path, n_writes: int, seed: int, file_limit: int | None = None) -> subprocess.Popen[str]:
    """A process of its own that runs `write_until_told`; `file_limit` caps the size of any file it writes [bytes]."""
    code = (
        "import sys; from pathlib import Path; from tests.support.book_trials import write_until_told; "
        "from truekev.errors import TruekevError\n"
        "try: write_until_told(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))\n"
        "except TruekevError as error: print(error, file=sys.stderr); sys.exit(error.exit_code)"
    )

    def limit() -> None:
        if file_limit is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_limit, file_limit))

    return subprocess.Popen(
        [sys.executable, "-c", code, str(path), str(n_writes), str(seed)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=limit,
    )


def new_book(path: Path) -> None:
    """A book with one batch, for the writers."""
    with Book.create(path, "Trial") as book:
        book.add(Batch(name="batch", settings={}))


def judged(path: Path, lines: list[str]) -> tuple[int, tuple[str, ...]]:
    """How many of the acknowledged writes are not in the book, and the faults of the book."""
    lost = 0
    with Book.open(path) as book:
        n_readings = readings_of(book, 1).n_readings
        for line in lines:
            what, number, *sha256 = line.split()
            try:
                there = n_readings >= int(number) if what == "readings" else book.get(int(number)).sha256 == sha256[0]
            except TruekevError:
                there = False
            lost += not there
        return lost, check_book(book).faults


def survive_kills(folder: Path, rng: np.random.Generator, *, n_writes: int, longest_s: float) -> Survival:
    """Kill the writer (signal 9) at a random moment and start it again, until it has acknowledged `n_writes`."""
    path = folder / "kill.book"
    new_book(path)
    said: list[str] = []
    n_kills = 0
    while len(said) < n_writes:
        process = writer(path, n_writes - len(said), int(rng.integers(2**31)))
        assert process.stdout is not None
        said.append(process.stdout.readline())  # the moment counts from the first write on
        time.sleep(float(rng.uniform(0, longest_s)))
        if process.poll() is None:
            process.send_signal(signal.SIGKILL)
            n_kills += 1
        rest, _ = process.communicate()
        said += rest.splitlines()
    whole = [line for line in said if line.strip()]
    lost, faults = judged(path, whole)
    return Survival(len(whole), lost, faults, n_kills)


def fill_up(path: Path, *, n_writes: int, file_limit: int | None) -> Survival:
    """Write until the disk (or the limit on file size) refuses; then judge the book."""
    process = writer(path, n_writes, 1, file_limit)
    said, complaint = process.communicate()
    lost, faults = judged(path, said.splitlines())
    return Survival(len(said.splitlines()), lost, faults, said=f"exit {process.returncode}: {complaint.strip()}")


def two_writers(folder: Path, *, n_writes: int) -> Survival:
    """Two processes write into one book at the same time."""
    path = folder / "two.book"
    new_book(path)
    processes = [writer(path, n_writes, seed) for seed in (1, 2)]
    ends = [process.communicate() for process in processes]
    lines = [line for said, _ in ends for line in said.splitlines()]
    lost, faults = judged(path, [line for line in lines if line.startswith("record")])
    return Survival(len(lines), lost, faults, said=" ".join(complaint for _, complaint in ends).strip())


def cut_short(book_path: Path, size: int) -> str:
    """What is said of a copy of a book that was cut to `size` bytes; empty if nothing was noticed."""
    copy = book_path.with_name("cut.book")
    shutil.copyfile(book_path, copy)
    with copy.open("r+b") as stream:
        stream.truncate(size)
    try:
        with Book.open(copy) as book:
            return " ".join(check_book(book).faults)
    except TruekevError as error:
        return f"{type(error).__name__}: {error}"
    finally:
        copy.unlink()
