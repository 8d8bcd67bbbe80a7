"""How the run goes: note a reading, follow the run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from truekev.bench.follow import RunStanding, follow_run
from truekev.bench.plan import MakePlan
from truekev.bench.readings import append_reading, by_clock, parse_reading, read_readings, readings_path
from truekev.bench.settings import BatchSettings, read_batch
from truekev.bench.timeline import Timeline, join_timelines, timeline_of
from truekev.errors import InputError
from truekev.job.planned import planned
from truekev.record import InputFile, Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.tables.loader import table_versions

__all__ = ["FollowReport", "NotedReading", "RunSoFar", "follow_batch", "note_reading", "run_so_far"]


@dataclass(frozen=True)
class NotedReading:
    """A reading that was appended: where, when, what."""

    file: str
    when: datetime
    values: dict[str, float]


@dataclass(frozen=True)
class FollowReport:
    """Where the run stands, with the plan it is compared with."""

    batch: BatchSettings
    plan: MakePlan
    timeline: Timeline
    standing: RunStanding
    unread_columns: tuple[str, ...]
    cautions: tuple[Caution, ...]
    record: Record

    def document(self) -> dict[str, object]:
        """The report for JSON: without the readings themselves and the plan's states."""
        return {
            "batch": self.batch.name,
            "standing": self.standing,
            "unread_columns": self.unread_columns,
            "cautions": self.cautions,
            "record": self.record,
        }


def note_reading(batch_path: str | Path, words: list[str], when: datetime) -> NotedReading:
    """Append one reading to the batch's file of readings; nothing in it is ever rewritten.

    Raises
    ------
    InputError
        The batch cannot be read, or a word is no reading.
    StoreError
        The disk refuses.
    """
    read_batch(batch_path)
    values = parse_reading(words)
    path = append_reading(readings_path(batch_path), when, values)
    return NotedReading(str(path), when, values)


def _clock_s(moment: datetime) -> float:
    return (moment.replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds()


@dataclass(frozen=True)
class RunSoFar:
    """Notes and logger of a batch on one axis, the files they came from, and columns that mean nothing to us."""

    timeline: Timeline
    files: tuple[InputFile, ...]
    unread_columns: tuple[str, ...]


def run_so_far(batch: BatchSettings, batch_path: str | Path, logger: str | Path | None) -> RunSoFar:
    """Notes and logger of a batch on one axis; notes are put in the order of their times.

    Raises
    ------
    InputError
        There is neither a file of notes nor a logger's file.
    """
    start = _clock_s(batch.start)
    notes = readings_path(batch_path)
    parts = [path for path in (notes, logger) if path is not None and (path == logger or Path(path).exists())]
    if not parts:
        raise InputError(
            f"{notes}: there is no reading yet; note one: truekev note {batch_path} current=1.4 voltage=3.1"
        )
    read = [by_clock(read_readings(path)) if path == notes else read_readings(path) for path in parts]
    lines = [timeline_of(one, start) for one in read]
    return RunSoFar(
        lines[0] if len(lines) == 1 else join_timelines(lines[0], lines[1]),
        tuple(InputFile.of(path) for path in parts),
        tuple(name for one in read for name in one.unread),
    )


def follow_batch(batch_path: str | Path, logger: str | Path | None = None) -> FollowReport:
    """Where the run of a batch stands, from its notes and, if given, a logger's file.

    Raises
    ------
    InputError
        No readings, or a file that cannot be used.
    RefusedError
        The batch itself is refused.
    """
    batch = read_batch(batch_path)
    plan = planned(batch)
    so_far = run_so_far(batch, batch_path, logger)
    return FollowReport(
        batch=batch,
        plan=plan,
        timeline=so_far.timeline,
        standing=follow_run(batch, plan, so_far.timeline),
        unread_columns=so_far.unread_columns,
        cautions=cautions_for("lift", "run", "unattended"),
        record=Record.make((InputFile.of(batch_path), *so_far.files), tables=table_versions()),
    )
