"""What is due on the shelf: looks, wipes, weighings, counts, waste that waits.

The intervals are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from truekev.book.book import Book
from truekev.book.things import Departure, Source, Upkeep
from truekev.book.work import Authority, Batch, Recovery, SpectrumFile
from truekev.job.background import background_standing
from truekev.job.shelf_items import ShelfItem

__all__ = ["DueItem", "due_on_shelf"]

YEAR = timedelta(days=365)
FIRST_COUNTS = (
    (timedelta(days=3), "lead and bismuth have grown back"),
    (timedelta(days=21), "radium-224 and all after it have grown back"),
)
MONTH = timedelta(days=30)
REMIND_AUTHORITY = timedelta(days=60)
_WEIGHING_SIGMA = 3.0


@dataclass(frozen=True)
class DueItem:
    """Something to do: by when, what, on which record (0: on none), and why."""

    by: date
    what: str
    record_id: int
    thing: str
    why: str

    def overdue(self, on: date) -> bool:
        """True where its day has passed."""
        return self.by < on


def due_on_shelf(book: Book, items: Sequence[ShelfItem], on: date) -> tuple[DueItem, ...]:
    """All that is due, the next of each kind for each thing, earliest first."""
    due: list[DueItem] = []
    for item in items:
        radioactive = bool(item.activities) or item.kind in ("source", "find", "waste")
        if radioactive:
            due += _upkeep(book, item, on)
        if item.kind == "source":
            due += _counts(book, item, on)
        if item.kind == "waste":
            due.append(_waste(book, item, on))
    due += _used_rods(book, on)
    standing = background_standing(book, on)
    if standing.last_move is not None and standing.in_force is None:
        move = standing.last_move
        why = f"the move to {move.body.to_place} retired {len(standing.retired)} earlier ones and their limits"
        due.append(DueItem(move.body.on, "count a new background", move.id, move.name, why))
    return tuple(sorted(due, key=lambda one: (one.by, one.record_id, one.what)))


def _upkeep(book: Book, item: ShelfItem, on: date) -> list[DueItem]:
    done = [record.body for record in book.about(item.record_id, Upkeep) if record.body.on <= on]
    start = item.since or on
    due = []

    def next_after(days: list[date], what: str, why: str) -> None:
        due.append(DueItem(max(days, default=start) + YEAR, what, item.record_id, item.name, why))

    next_after([u.on for u in done if u.looked], "yearly look", "place, label, tightness")
    if item.kind == "source" and item.what in ("sealed vial", "set in resin"):
        body = book.get_as(item.record_id, Source).body
        next_after([u.on for u in done if u.wiped], "wipe", "a sealed source is wiped every year (ISO 9978, method)")
        weighed = [u for u in done if u.gross_mass_g is not None]
        next_after([u.on for u in weighed], "reweighing of the closed vial", "a change of mass shows a leak")
        if weighed and body.gross_mass_g is not None:
            last, first = weighed[-1].gross_mass_g, body.gross_mass_g
            assert last is not None
            change, u = last.value - first.value, (last.u**2 + first.u**2) ** 0.5
            if abs(change) > _WEIGHING_SIGMA * u:
                why = f"its mass changed by {change:+.3g} ± {u:.2g} g since it was closed"
                due.append(
                    DueItem(weighed[-1].on, "do not use; wipe and look for a leak", item.record_id, item.name, why)
                )
    if done and not done[-1].sound:
        why = done[-1].remarks or "the last look found it not sound"
        due.append(DueItem(done[-1].on, "do not use; make it safe", item.record_id, item.name, why))
    return due


def _counts(book: Book, item: ShelfItem, on: date) -> list[DueItem]:
    body = book.get_as(item.record_id, Source).body
    counted = [
        start.date()
        for record in book.about(item.record_id, SpectrumFile)
        if (start := record.body.start) is not None and start.date() <= on
    ]
    if body.recovery_id is not None:
        separated = book.get_as(body.recovery_id, Recovery).body.separated_on
        for wait, grown in FIRST_COUNTS:
            if not any(day >= separated + wait for day in counted):
                why = f"{wait.days} days after the separation of {separated}: {grown}"
                return [DueItem(separated + wait, "count", item.record_id, item.name, why)]
        why = "a monthly count follows the ingrowth"
        return [DueItem(max(counted) + MONTH, "next count", item.record_id, item.name, why)]
    if not counted:
        return []
    why = "a yearly count shows whether source and instrument are as they were"
    return [DueItem(max(counted) + YEAR, "next count", item.record_id, item.name, why)]


def _waste(book: Book, item: ShelfItem, on: date) -> DueItem:
    asked = [record.body for record in book.about(item.record_id, Authority) if record.body.asked_on <= on]
    closed = item.since or on
    if not asked:
        why = "nothing goes to a drain or a bin; ask authority and licensed disposer, with the count of it in hand"
        return DueItem(closed, "ask the authority about this waste", item.record_id, item.name, why)
    last = asked[-1]
    if last.answered_on is None or last.answered_on > on:
        why = f"{last.asked_whom} was asked on {last.asked_on}; no reply is in the book"
        return DueItem(last.asked_on + REMIND_AUTHORITY, "remind the authority", item.record_id, item.name, why)
    why = f"{last.asked_whom} replied on {last.answered_on} under no. {last.reply_no or '(none given)'}"
    return DueItem(last.answered_on, "hand it over as the reply says", item.record_id, item.name, why)


def _used_rods(book: Book, on: date) -> list[DueItem]:
    due = []
    for batch in book.current(Batch):
        ended = batch.body.ended_on
        if ended is None or ended.date() > on or not batch.body.stock_ids:
            continue
        if not book.about(batch.id, Departure):
            why = "the rods of a finished batch leave the shelf by a record: used up, how many"
            due.append(DueItem(ended.date(), "write down the rods that were used up", batch.id, batch.name, why))
    return due
