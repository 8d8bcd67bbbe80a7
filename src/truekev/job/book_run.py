"""How a run of the book goes: its readings beside the plan."""

from __future__ import annotations

from datetime import UTC, datetime

from truekev.bench.follow import follow_run
from truekev.bench.plan import plan_make
from truekev.bench.settings import batch_from_mapping
from truekev.bench.timeline import timeline_of
from truekev.book.book import Book
from truekev.book.run_readings import readings_of
from truekev.book.work import Batch
from truekev.job.run_today import FollowReport
from truekev.record import InputFile, Record
from truekev.safety.cautions import cautions_for
from truekev.tables.loader import table_versions

__all__ = ["follow_in_book"]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def follow_in_book(book: Book, batch_id: int) -> FollowReport | None:
    """Where the run of a batch of the book stands; None while it has no reading.

    Raises
    ------
    InputError, RefusedError
        As the bench says.
    """
    record = book.get_as(batch_id, Batch)
    readings = readings_of(book, batch_id)
    if not readings.n_readings:
        return None
    batch = batch_from_mapping(dict(record.body.settings), file=f"record {record.id}")
    plan = plan_make(batch)
    timeline = timeline_of(readings, (batch.start.replace(tzinfo=UTC) - _EPOCH).total_seconds())
    return FollowReport(
        batch=batch,
        plan=plan,
        timeline=timeline,
        standing=follow_run(batch, plan, timeline),
        unread_columns=(),
        cautions=cautions_for("lift", "run", "unattended"),
        record=Record.make((InputFile(f"record {record.id}", record.sha256),), tables=table_versions()),
    )
