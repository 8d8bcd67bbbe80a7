"""The bench's figures against their bars: core plan, a million readings, balances, random batches.

    python -m benchmarks.bench_figures [--trials 300]

Times are of the processor, so that other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import tempfile
import time
import tomllib
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from tests.support.batches import sound_entries, worked_case
from tests.support.bench_trials import batch_and_readings

from truekev.bench.bath import balances
from truekev.bench.course import run_course
from truekev.bench.follow import follow_run
from truekev.bench.plan import course_input, plan_make
from truekev.bench.readings import read_readings
from truekev.bench.settings import BatchSettings, batch_from_mapping, batch_template
from truekev.bench.timeline import timeline_of
from truekev.errors import TruekevError

__all__ = ["balances_at_worst", "core_plan_ms", "main", "million_readings_s", "random_batches"]


def core_plan_ms(batch: BatchSettings, n: int = 25) -> float:
    """Median time of a plan without its pictures [ms]."""
    plan_make(batch)
    times = []
    for _ in range(n):
        begun = time.process_time()
        plan_make(batch)
        times.append(time.process_time() - begun)
    return 1000 * float(np.median(times))


def million_readings_s() -> float:
    """Time to read and follow a logger's file of a million readings [s]."""
    batch = worked_case()
    plan = plan_make(batch)
    start_s = (batch.start.replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds()
    stamps = np.datetime_as_string(np.datetime64(batch.start) + np.arange(100_000).astype("timedelta64[s]"), unit="s")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        rows = "".join(10 * f"{stamp},1.5000,2.512,31.00\n" for stamp in stamps.tolist())
        path.write_text("time,current_a,voltage_v,temperature_degc\n" + rows, encoding="utf-8")
        begun = time.process_time()
        standing = follow_run(batch, plan, timeline_of(read_readings(path), start_s))
        took = time.process_time() - begun
    if standing.n_readings != 1_000_000:
        raise RuntimeError(f"{standing.n_readings} readings were followed, not a million")
    return took


def balances_at_worst(n_runs: int = 200) -> dict[str, float]:
    """Largest relative departure of each balance over random batches, at every step and switch."""
    rng = np.random.default_rng(20261125)
    worst: dict[str, float] = {}
    n = 0
    while n < n_runs:
        try:
            given = course_input(batch_from_mapping(sound_entries(rng)))
        except TruekevError:
            continue
        n += 1
        for name, value in balances(run_course(given).states, given.room.vessel_j_k).items():
            worst[name] = max(worst.get(name, 0.0), value)
    return worst


def random_batches(n: int) -> tuple[Counter[str], float]:
    """Outcomes of `n` random batches and files of readings, and the time of one [ms]."""
    said: Counter[str] = Counter()
    begun = time.process_time()
    for trial in range(n):
        result = batch_and_readings(trial, np.random.default_rng(np.random.SeedSequence([41, trial])))
        for outcome in result["outcomes"].values():
            said["crash" if outcome.startswith("CRASH") else outcome] += 1
        said["bad number"] += len(result["bad"])
    return said, 1000 * (time.process_time() - begun) / n


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--trials", type=int, default=300)
    trials = parser.parse_args().trials
    for name, batch in (
        ("worked case", worked_case()),
        ("template", batch_from_mapping(tomllib.loads(batch_template()))),
    ):
        print(f"core plan, {name}: {core_plan_ms(batch):.1f} ms (bar 20 ms)")
    print(f"a million readings, read and followed: {million_readings_s():.2f} s (bar 2 s)")
    worst = balances_at_worst()
    print(f"balances of 200 random batches, worst of all: {max(worst.values()):.1e} (bar 1e-9)")
    print("  " + "; ".join(f"{name} {value:.0e}" for name, value in worst.items()))
    said, each_ms = random_batches(trials)
    print(f"{trials} random batches through six questions each, {each_ms:.0f} ms a batch:")
    print("  " + "; ".join(f"{name}: {count}" for name, count in sorted(said.items())))


if __name__ == "__main__":
    main()
