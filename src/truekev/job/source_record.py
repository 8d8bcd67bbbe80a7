"""The question: what is in this source of the book on a day, how was it made, and what does it do to who stands by?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from truekev.book.body import Body
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source, Upkeep
from truekev.errors import RefusedError
from truekev.job.shelf_items import ShelfItem, item_on
from truekev.nuclides.history import History, date_after
from truekev.quantity import Measured
from truekev.safety.cautions import Caution, cautions_for
from truekev.safety.dose_rate import beta_contact_msv_h
from truekev.sources.settings import read_source_text

__all__ = ["SourceOnDay", "source_on_day"]

LOWEST_AGED_SHARE = 0.42  # daughters of thorium of unknown age: 0.42 to 1.00 of equilibrium


@dataclass(frozen=True)
class SourceOnDay:
    """A source on a day.

    Parameters
    ----------
    record : BookRecord
    behind : tuple of BookRecord
        Batch, recovery or stock that it came from.
    on : date
    item : ShelfItem
        Activities, dose rate and share of published figures.
    history : History or None
        What was there first, and the separations since.
    equilibrium : mapping
        Head of a series to the day from which all that descends from it stays within 1 % of it; None: never in 1000
        years.
    beta_contact_msv_h : tuple or None
        Dose rate to skin on a millimetre of glass: estimate, and a band of a factor 3.
    upkeep : tuple of BookRecord
        Looks, wipes and weighings so far.
    age_unknown : bool
        True where the thorium's own age is not known, so that its daughters may be less than computed.
    """

    record: BookRecord[Source]
    behind: tuple[BookRecord[Body], ...]
    on: date
    item: ShelfItem
    history: History | None
    equilibrium: dict[str, date | None]
    beta_contact_msv_h: tuple[float, float, float] | None
    upkeep: tuple[BookRecord[Upkeep], ...]
    age_unknown: bool
    cautions: tuple[Caution, ...]

    @property
    def th232_bq(self) -> Measured | None:
        """Activity of Th-232, if there is any."""
        return self.item.activities.get("Th-232")


def source_on_day(book: Book, source_id: int, on: date) -> SourceOnDay:
    """A source of the book on a day.

    Raises
    ------
    InputError
        The record is no source, or its description cannot be read.
    RefusedError
        The activity is not known on that day.
    """
    record = book.get_as(source_id, Source)
    description = read_source_text(record.body.description, file=f"record {record.id}")
    item = item_on(record, 1, on)
    if not item.activities:
        raise RefusedError(
            f"The activity of {record.name} on {on} is not known: {item.remark}.",
            "a description that gives the activity and its date, or a later day.",
        )
    history = description.history
    equilibrium: dict[str, date | None] = {}
    if history is not None:
        for head, days in history.days_to_equilibrium(on).items():
            equilibrium[head] = None if days is None else date_after(on, days)
    betas = max((item.activities[n].value for n in ("Ac-228", "Bi-212") if n in item.activities), default=0.0)
    ids = (record.body.batch_id, record.body.recovery_id, record.body.stock_id)
    return SourceOnDay(
        record=record,
        behind=tuple(book.newest(i) for i in ids if i is not None),
        on=on,
        item=item,
        history=history,
        equilibrium=equilibrium,
        beta_contact_msv_h=beta_contact_msv_h(betas) if betas > 0 and record.body.form == "sealed vial" else None,
        upkeep=book.about(record.id, Upkeep),
        age_unknown=history is None or history.aged,
        cautions=cautions_for("seal", "dose"),
    )
