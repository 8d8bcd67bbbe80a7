"""Answers kept in the book, and worked out again from what is stored there."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from truekev.bench.settings import batch_from_mapping
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Batch, Result
from truekev.errors import InputError
from truekev.job.book_assay import ASSAYED, assay_again
from truekev.job.book_control import CONTROL, control_again
from truekev.job.book_emit import GIVEN_OFF, emit_again
from truekev.job.book_forecast import FORECAST, forecast_again
from truekev.job.book_identify import IDENTIFIED, identify_again
from truekev.job.book_own_source import OWN_SOURCE, own_source_again
from truekev.job.book_scales import fitted_again
from truekev.job.fitted_model import MODEL, model_answer
from truekev.job.plan_make import MakeReport, plan_of_settings
from truekev.quantity import Measured
from truekev.tables.loader import table_versions

__all__ = ["PLAN", "Recomputed", "can_be_recomputed", "keep_plan", "recomputed"]

PLAN = "plan of a batch"
_FIGURES = (
    *("thoria_freed_g", "activity_freed_bq", "tungsten_dissolved_g", "charge_ah", "duration_h", "hydroxide_needed_g"),
    *("hydroxide_end_mol_l", "water_evaporated_g", "volume_end_ml", "voltage_start_v", "temperature_peak_degc"),
    *("hydrogen_l", "air_l_min"),
)
_SAME = 1e-6  # integration over the time course repeats to better than this; fits to the digits that are kept


@dataclass(frozen=True)
class Recomputed:
    """A result beside the same question answered now.

    `differences` names every figure that is not the same within one in a million; `changed_tables` the tables whose
    version is another one now.
    """

    result_id: int
    same: bool
    differences: tuple[str, ...]
    program_then: str
    changed_tables: tuple[str, ...]


def keep_plan(book: Book, batch_id: int) -> tuple[BookRecord[Result], MakeReport]:
    """Plan the batch of a record and keep the figures as a result.

    Raises
    ------
    InputError, RefusedError
        As `plan_of_settings` says.
    """
    batch = book.get_as(batch_id, Batch)
    report = _plan(batch)
    body = Result(
        name=f"Plan of {batch.name}",
        question=PLAN,
        about_id=batch.id,
        inputs=(book.input_of(batch.id),),
        answer=_figures(report),
    )
    return book.add(body), report


def _plan(batch: BookRecord[Batch]) -> MakeReport:
    return plan_of_settings(batch_from_mapping(dict(batch.body.settings), file=f"record {batch.id}"))


def _figures(report: MakeReport) -> dict[str, Any]:
    figures: dict[str, Any] = {"finish": report.plan.finish.isoformat(), "end": report.plan.end.value}
    for name in _FIGURES:
        value = getattr(report.plan, name)
        assert isinstance(value, Measured)
        figures[name] = {"value": value.value, "u": value.u, "unit": value.unit}
    return figures


def _again_plan(book: Book, result: Result) -> dict[str, Any]:
    return _figures(_plan(book.get_as(result.inputs[0].id, Batch)))


def _again_model(book: Book, result: Result) -> dict[str, Any]:
    words: Any = result.settings["sources"]
    return model_answer(fitted_again(book, result.about_id or 0, words))


_AGAIN: dict[str, Callable[[Book, Result], dict[str, Any]]] = {
    PLAN: _again_plan,
    MODEL: _again_model,
    FORECAST: forecast_again,
    IDENTIFIED: identify_again,
    CONTROL: control_again,
    ASSAYED: assay_again,
    OWN_SOURCE: own_source_again,
    GIVEN_OFF: emit_again,
}


def can_be_recomputed(body: Result) -> bool:
    """Whether this version knows how to answer the question again from records alone."""
    return body.question in _AGAIN


def recomputed(book: Book, result_id: int) -> Recomputed:
    """Answer a result's question again from the records that it names.

    Raises
    ------
    InputError
        It is no result, or its question is not known to this version.
    """
    record = book.get_as(result_id, Result)
    again = _AGAIN.get(record.body.question)
    if again is None:
        raise InputError(
            f"record {result_id}: the question {record.body.question!r} cannot be answered again; known: "
            f"{', '.join(_AGAIN)}."
        )
    now = json.loads(json.dumps(again(book, record.body)))
    then = record.body.answer
    differences = [name for name in sorted({*then, *now}) if not _same(then.get(name), now.get(name))]
    tables = table_versions()
    changed = sorted(name for name in {*tables, *record.tables} if tables.get(name) != record.tables.get(name))
    return Recomputed(result_id, not differences, tuple(differences), record.program, tuple(changed))


def _same(then: Any, now: Any) -> bool:
    if isinstance(then, dict) and isinstance(now, dict):
        return then.keys() == now.keys() and all(_same(then[key], now[key]) for key in then)
    if isinstance(then, list) and isinstance(now, list):
        return len(then) == len(now) and all(_same(a, b) for a, b in zip(then, now, strict=True))
    if isinstance(then, float | int) and isinstance(now, float | int):
        return bool(np.isclose(then, now, rtol=_SAME, atol=0.0))
    return bool(then == now)
