"""Which sheet belongs to what: a record's number and a word, or a word for the whole shelf."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from truekev.book.body import Body
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source, Waste
from truekev.book.work import Batch, Recovery, Relock, Result, Scale
from truekev.errors import InputError, UnknownNameError
from truekev.job.background import background_standing
from truekev.job.book_assay import ASSAYED
from truekev.job.book_batch import StoredBatch, stored_batch
from truekev.job.book_own_source import OWN_SOURCE
from truekev.job.book_scales import stored_scale
from truekev.job.shelf import shelf_on
from truekev.job.shelf_items import item_on
from truekev.job.source_record import source_on_day
from truekev.sheets.answer_sheets import assay_sheet, own_source_sheet
from truekev.sheets.batch_sheets import jar_sheet, plan_sheet, recovery_sheet, waste_sheet
from truekev.sheets.content import Sheet
from truekev.sheets.shelf_sheets import finder_sheet, moving_sheet, shelf_sheet, spill_sheet
from truekev.sheets.source_sheets import calibration_sheet, source_sheet

__all__ = ["ANSWER_SHEETS", "BATCH_SHEETS", "SHELF_SHEETS", "sheet_for"]

BATCH_SHEETS = ("plan", "recovery", "waste")
SHELF_SHEETS = ("shelf", "moving", "spill", "finder")
ANSWER_SHEETS = (ASSAYED, OWN_SOURCE)  # questions whose answers have a sheet


def sheet_for(book: Book, what: str, on: date, *, which: str = "") -> Sheet:
    """The sheet of a record, or of the whole shelf.

    Parameters
    ----------
    book : Book
        The book.
    what : str
        A record's number (batch, recovery, source, waste, scale, relock, result of an assay), or one of `SHELF_SHEETS`.
    on : date
        The day that it holds for.
    which : str
        For a batch one of `BATCH_SHEETS`; plan if empty.

    Raises
    ------
    InputError
        No such record, or no sheet of it.
    RefusedError
        What the sheet would say cannot honestly be said; says why.
    """
    word = what.strip().lower()
    if not word.isdigit():
        if word not in SHELF_SHEETS:
            raise UnknownNameError("sheet", what, SHELF_SHEETS, "Or give the number of a record.")
        return _shelf(book, word, on)
    record = book.get(int(word))
    if which and not isinstance(record.body, Batch):
        raise InputError(f"record {record.id} is a {record.kind}: it has one sheet only; leave the choice out.")
    match record.body:
        case Batch():
            return _batch(book, record.id, which or "plan")
        case Recovery():
            return _batch(book, record.body.batch_id, "recovery", (record,))
        case Source():
            counted = [one for one in book.about(record.id, Result) if one.body.question == OWN_SOURCE]
            return source_sheet(source_on_day(book, record.id, on), counted[-1] if counted else None)
        case Waste():
            jar = book.get_as(record.id, Waste)
            return jar_sheet(jar, item_on(jar, 1, on))
        case Scale():
            scale = book.get_as(record.id, Scale)
            behind = tuple(book.get(i) for i in (*scale.body.spectrum_ids, *scale.body.source_ids))
            return calibration_sheet(scale, stored_scale(book, scale.id), behind)
        case Relock():
            relock = book.get_as(record.id, Relock)
            behind = (book.get(relock.body.scale_id), book.get(relock.body.spectrum_id))
            return calibration_sheet(relock, stored_scale(book, relock.id), behind)
        case Result(question=question) if question in ANSWER_SHEETS:
            result = book.get_as(record.id, Result)
            behind = tuple(book.get(one.id) for one in result.body.inputs)
            return (assay_sheet if question == ASSAYED else own_source_sheet)(result, behind)
        case _:
            raise InputError(
                f"record {record.id} is a {record.kind}; sheets are made of batches, recoveries, sources, waste, "
                f"scales, re-locks, results ({'; '.join(ANSWER_SHEETS)}), and of the shelf: {', '.join(SHELF_SHEETS)}."
            )


def _batch(book: Book, batch_id: int, which: str, behind: tuple[BookRecord[Body], ...] = ()) -> Sheet:
    sheets: dict[str, Callable[[StoredBatch, tuple[BookRecord[Body], ...]], Sheet]] = {
        "plan": plan_sheet,
        "recovery": recovery_sheet,
        "waste": waste_sheet,
    }
    if which not in sheets:
        raise UnknownNameError("sheet of a batch", which, sheets)
    return sheets[which](stored_batch(book, batch_id), behind)


def _shelf(book: Book, word: str, on: date) -> Sheet:
    report = shelf_on(book, on)
    behind = tuple(book.get(item.record_id) for item in report.items)
    match word:
        case "shelf":
            return shelf_sheet(report, behind)
        case "moving":
            return moving_sheet(report, background_standing(book, on), behind)
        case "spill":
            return spill_sheet(report, behind)
        case _:
            return finder_sheet(report, behind)
