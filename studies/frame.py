"""The frame of a study: trials that can be stopped and taken up again, tables, and the page of results.

A study is a module in this folder with `main()`, which calls `run_trials`, makes `Table`s of what came
back and calls `write_page`. A trial is a function of (trial number, generator) at the top of a module; it
returns plain JSON values. Its generator depends on the study's seed and the trial's number alone, so a
table is the same whether the run was stopped or not, on one process or on several.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from studies.kept import lines_of
from truekev.errors import InputError
from truekev.files import write_whole
from truekev.version import __version__

__all__ = [
    "ONLY_DONE",
    "ROOT",
    "WORK",
    "StudyStopped",
    "Table",
    "Trials",
    "report_trials",
    "commit",
    "run_trials",
    "write_page",
]

ROOT = Path(__file__).resolve().parents[1]
WORK = ROOT / ".studies"
PAGES = ROOT / "docs" / "validation"

# Whether pages are to be written from the trials that are done, without running more.
ONLY_DONE: ContextVar[bool] = ContextVar("ONLY_DONE", default=False)

Result = Mapping[str, Any]
Trial = Callable[[int, np.random.Generator], Result]


class StudyStopped(Exception):  # noqa: N818 - not an error: the person stopped the run
    """The run was stopped by the person; what is done is kept."""


@dataclass(frozen=True)
class Trials:
    """Results of the trials in order, the commits that they ran at, and how many trials were asked for."""

    study: str
    seed: int
    results: tuple[Result, ...]
    commits: tuple[str, ...]
    n_wanted: int


def commit(root: Path = ROOT) -> str:
    """Short hash of the commit, 'unknown' outside git.

    With ' with changes' where tracked files differ, but for the pages that studies write.
    """
    try:
        words = ["git", "-C", str(root)]
        head = subprocess.run([*words, "rev-parse", "--short=10", "HEAD"], capture_output=True, text=True, check=True)
        changed = subprocess.run(
            [*words, "status", "--porcelain", "--untracked-files=no", "--", ".", ":!docs/validation"],
            capture_output=True,
            text=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return head.stdout.strip() + (" with changes" if changed.stdout.strip() else "")


def _generator(seed: int, trial: int) -> np.random.Generator:
    return np.random.default_rng(np.random.SeedSequence([seed, trial]))


def _run_one(function: Trial, seed: int, trial: int) -> tuple[int, Result]:
    return trial, function(trial, _generator(seed, trial))


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _read_done(work: Path, study: str, seed: int, settings: str, n_trials: int) -> dict[int, tuple[Result, str]]:
    """Finished trials of this seed and these settings; a line cut by a kill is passed over."""
    done: dict[int, tuple[Result, str]] = {}
    for line in lines_of(work, study):
        try:
            entry = json.loads(line)
            if entry["seed"] == seed and entry["settings"] == settings and entry["trial"] < n_trials:
                done[int(entry["trial"])] = (entry["result"], str(entry["commit"]))
        except (json.JSONDecodeError, KeyError, TypeError):
            continue
    return done


def run_trials(
    study: str,
    function: Trial,
    *,
    n_trials: int,
    seed: int,
    settings: str = "",
    workers: int = 2,
    work: Path = WORK,
) -> Trials:
    """Run the trials 0 … n_trials - 1 that are not done yet, and return all results.

    Parameters
    ----------
    study
        Name; the work file is `<work>/<study>.jsonl`, one line per finished trial; packed ones are read first.
    function
        The trial; at the top of a module where `workers` > 1.
    seed, settings
        A finished trial counts only under the same seed and the same words of settings: change
        `settings` when the trial's meaning changes.
    workers
        Processes; 1 runs here.
    n_trials, work
        Number of trials; folder of the work file.

    Raises
    ------
    StudyStopped
        Ctrl-C; finished trials are kept, and the next run goes on from them.
    """
    work.mkdir(parents=True, exist_ok=True)
    file = work / f"{study}.jsonl"
    done = _read_done(work, study, seed, settings, n_trials)
    if ONLY_DONE.get():
        return _so_far(study, seed, done, n_trials)
    missing = [k for k in range(n_trials) if k not in done]
    here = commit()
    started, last = time.monotonic(), 0.0
    if missing and done:
        print(f"{study}: {len(done)} of {n_trials} trials are done already", file=sys.stderr)
    with file.open("a", encoding="utf-8") as stream:
        if stream.tell() and not file.read_bytes().endswith(b"\n"):
            stream.write("\n")
        try:
            for n, (trial, result) in enumerate(_finished(function, seed, missing, workers), start=1):
                entry = {"trial": trial, "seed": seed, "settings": settings, "commit": here, "result": result}
                text = json.dumps(entry, allow_nan=True)
                stream.write(text + "\n")
                stream.flush()
                done[trial] = (json.loads(text)["result"], here)
                now = time.monotonic() - started
                if now - last >= 1.0 or (n == len(missing) and now >= 1.0):
                    last = now
                    left = now / n * (len(missing) - n)
                    print(
                        f"  {study}: {len(done)} of {n_trials} trials, {left:.0f} s left", file=sys.stderr, flush=True
                    )
        except KeyboardInterrupt:
            raise StudyStopped(
                f"{study}: stopped with {len(done)} of {n_trials} trials done; the same command goes on from there."
            ) from None
    return _so_far(study, seed, done, n_trials)


def _so_far(study: str, seed: int, done: Mapping[int, tuple[Result, str]], n_wanted: int) -> Trials:
    """The trials from the first up to the first that is missing: no choice among them by how long they take."""
    n = next((k for k in range(n_wanted) if k not in done), n_wanted)
    if not n:
        raise InputError(f"{study}: no trial is done yet. Run it without --done first.")
    commits = tuple(sorted({done[k][1] for k in range(n)}))
    return Trials(study, seed, tuple(done[k][0] for k in range(n)), commits, n_wanted)


def _finished(function: Trial, seed: int, trials: Sequence[int], workers: int) -> Iterator[tuple[int, Result]]:
    """Results as they finish; few are in flight, so that a stop is quick."""
    if workers == 1:
        for trial in trials:
            yield _run_one(function, seed, trial)
        return
    if not trials:
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # the processes fill the cores; threads inside them only get in the way
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_leave_interrupts_to_the_parent)
    waiting = list(reversed(trials))
    flying: set[Future[tuple[int, Result]]] = set()
    try:
        while waiting or flying:
            while waiting and len(flying) < 2 * workers:
                flying.add(pool.submit(_run_one, function, seed, waiting.pop()))
            ready, flying = wait(flying, return_when=FIRST_COMPLETED)
            for future in ready:
                yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


# ---- tables and pages


@dataclass(frozen=True)
class Table:
    """A table of words and numbers already written out."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def text(self) -> str:
        """Aligned plain text, numbers and words to the left."""
        lines = [self.columns, *self.rows]
        widths = [max(len(line[i]) for line in lines) for i in range(len(self.columns))]
        body = [
            "  ".join(word.ljust(width) for word, width in zip(line, widths, strict=True)).rstrip() for line in lines
        ]
        return "\n".join([self.title, *body])

    def markdown(self) -> str:
        """The table as Markdown, its title above."""
        head = "| " + " | ".join(self.columns) + " |"
        rule = "| " + " | ".join("---" for _ in self.columns) + " |"
        body = ["| " + " | ".join(row) + " |" for row in self.rows]
        return "\n".join([f"**{self.title}**", "", head, rule, *body])


def write_page(
    trials: Trials,
    *,
    title: str,
    question: str,
    tables: Sequence[Table],
    answer: str,
    now: datetime | None = None,
    pages: Path = PAGES,
) -> Path:
    """Print the tables and write docs/validation/<study>.md with seed, date, commit, version and command."""
    pages.mkdir(parents=True, exist_ok=True)
    date = (now or datetime.now(UTC)).date().isoformat()
    n = len(trials.results)
    more = f" of {trials.n_wanted}; the command goes on from there" if n < trials.n_wanted else ""
    facts = [
        f"- command: `python -m studies {trials.study}`",
        f"- seed: {trials.seed}; trials: {len(trials.results)}{more}",
        f"- date: {date}",
        f"- commit: {', '.join(trials.commits)}",
        f"- program: truekev {__version__}",
    ]
    parts = [f"# {title}", question, *(table.markdown() for table in tables), answer, "\n".join(facts)]
    for table in tables:
        print(table.text(), end="\n\n")
    return write_whole(pages / f"{trials.study}.md", "\n\n".join(parts) + "\n")


def report_trials(trials: Trials, tables_of: Callable[[Trials], tuple[list[Table], str]], title: str, doc: str) -> int:
    """The end of a study: its answer printed, its page written under the study's own words; 0."""
    tables, answer = tables_of(trials)
    print(answer)
    write_page(trials, title=title, question=doc.strip(), tables=tables, answer=answer)
    return 0
