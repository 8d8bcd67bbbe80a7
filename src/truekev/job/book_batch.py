"""A batch of the book as the bench's questions take it: recovery, clean-up and waste of what is stored there."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, time
from pathlib import Path

import numpy as np

from truekev.bench.readings import READING_KEYS, readings_path
from truekev.bench.settings import BatchSettings, batch_from_mapping
from truekev.bench.write_batch import batch_toml
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.run_readings import readings_of
from truekev.book.work import Batch, Recovery
from truekev.errors import RefusedError
from truekev.files import write_whole
from truekev.job.clean import CleanReport, clean_batch
from truekev.job.plan_make import MakeReport, plan_of_settings
from truekev.job.recover import RecoverReport, recover_batch
from truekev.job.waste import WasteReport, waste_of_batch

__all__ = ["StoredBatch", "stored_batch"]


@dataclass(frozen=True)
class StoredBatch:
    """A batch of the book with all that the bench says of it.

    `cleanup` is None where the clean-up is refused; then `cleanup_refused` says why.
    """

    record: BookRecord[Batch]
    plan: MakeReport
    recovery: RecoverReport
    waste: WasteReport
    cleanup: CleanReport | None
    cleanup_refused: str


def stored_batch(book: Book, batch_id: int) -> StoredBatch:
    """Plan, recovery, clean-up and waste of a batch, from its settings, readings and weighed oxide in the book.

    Raises
    ------
    InputError, RefusedError
        As the bench says.
    """
    record = book.get_as(batch_id, Batch)
    settings = _with_recovery(book, record)
    with _written_out(book, record, settings) as path:
        cleanup, refused = None, ""
        try:
            cleanup = clean_batch(path)
        except RefusedError as error:
            refused = str(error)
        return StoredBatch(
            record, plan_of_settings(settings), recover_batch(path), waste_of_batch(path), cleanup, refused
        )


def _with_recovery(book: Book, record: BookRecord[Batch]) -> BatchSettings:
    """The batch's settings, with the date and the weighed oxide of its recovery record."""
    settings = batch_from_mapping(dict(record.body.settings), file=f"record {record.id}")
    recoveries = book.about(record.id, Recovery)
    if not recoveries:
        return settings
    found = recoveries[-1].body
    changes: dict[str, object] = {"separated_on": datetime.combine(found.separated_on, time(12))}
    if found.oxide_mass_g is not None:
        changes |= {"oxide_dry_g": found.oxide_mass_g.value, "u_oxide_dry_g": found.oxide_mass_g.u}
    return settings.model_copy(update={"recovery": settings.recovery.model_copy(update=changes)})


@contextmanager
def _written_out(book: Book, record: BookRecord[Batch], settings: BatchSettings) -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        path = write_whole(Path(folder) / f"record-{record.id}.toml", batch_toml(settings))
        readings = readings_of(book, record.id)
        if readings.n_readings:
            columns = [column for column, *_ in READING_KEYS.values()]
            lines = [",".join(["time", *columns])]
            for i, clock_s in enumerate(readings.clock_s):
                at = datetime.fromtimestamp(float(clock_s), UTC).replace(tzinfo=None)
                values = [getattr(readings, column)[i] for column in columns]
                lines.append(",".join([at.isoformat(), *("" if np.isnan(v) else repr(float(v)) for v in values)]))
            write_whole(readings_path(path), "\n".join(lines) + "\n")
        yield path
