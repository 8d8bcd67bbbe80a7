"""The question: what stands on the shelf, how much is it in all, and what is due?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from truekev.book.book import Book
from truekev.book.things import Departure
from truekev.job.shelf_due import DueItem, due_on_shelf
from truekev.job.shelf_items import ShelfItem, shelf_items
from truekev.quantity import Measured
from truekev.record import Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.safety.rules import ASK_FIRST, PublishedRule, published_rules
from truekev.tables.loader import table_versions

__all__ = ["ShelfReport", "SumOfFractions", "shelf_on", "sum_of_fractions"]


@dataclass(frozen=True)
class SumOfFractions:
    """The shelf beside one published list of figures: information, not permission.

    Parameters
    ----------
    list_name : str
        "exemption" or "transport".
    fraction : Measured
        Sum over all things of activity over published activity, with standard uncertainty.
    parts : tuple of (record id, name, Measured)
        What each thing adds, largest first.
    above_concentration : tuple of str
        Things whose concentration is above the published one as well, or not known.
    not_counted : tuple of str
        Things that are not in the sum, each with the reason.
    citations : tuple of str
        Where the figures were published.
    say : str
    """

    list_name: str
    fraction: Measured
    parts: tuple[tuple[int, str, Measured], ...]
    above_concentration: tuple[str, ...]
    not_counted: tuple[str, ...]
    citations: tuple[str, ...]
    say: str


@dataclass(frozen=True)
class ShelfReport:
    """The shelf on a day: things, dose rate of all of them together at 10 cm, sums, what is due, what has left."""

    book: str
    on: date
    items: tuple[ShelfItem, ...]
    dose_rate_all: Measured
    sums: tuple[SumOfFractions, ...]
    due: tuple[DueItem, ...]
    left: tuple[tuple[int, str], ...]
    rules: tuple[PublishedRule, ...]
    cautions: tuple[Caution, ...]
    record: Record


def shelf_on(book: Book, on: date) -> ShelfReport:
    """Everything on the shelf on a day, the sums, and what is due.

    Raises
    ------
    InputError
        The book cannot be read.
    """
    items = shelf_items(book, on)
    counted = [item for item in items if item.counted_in is None]
    rates = [item.dose_rate for item in counted if item.dose_rate is not None]
    return ShelfReport(
        book=book.facts()["title"],
        on=on,
        items=items,
        dose_rate_all=Measured(sum(r.value for r in rates), math.hypot(*(r.u for r in rates)), "nGy/h"),
        sums=tuple(sum_of_fractions(items, name) for name in ("exemption", "transport")),
        due=due_on_shelf(book, items, on),
        left=_left(book, on),
        rules=tuple(rule for rule in published_rules() if rule.key in ("exemption", "transport")),
        cautions=cautions_for("dose", "waste"),
        record=Record.make(
            settings={"on": on.isoformat(), "records": {str(i.record_id): book.get(i.record_id).sha256 for i in items}},
            tables=table_versions(),
        ),
    )


def sum_of_fractions(items: Sequence[ShelfItem], list_name: str) -> SumOfFractions:
    """Sum of activity over published activity, over things and nuclides.

    Uncertainties of things are independent of each other; those of the nuclides of one thing go together.

    References
    ----------
    Sum over nuclides of activity over its limit, to be at most one: UK SI 2017/1075 Schedule 7; IAEA GSR Part 3,
    Schedule I, I.7 (from memory).
    """
    parts, above, out = [], [], []
    citations: list[str] = []
    for item in items:
        if item.counted_in is not None:
            out.append(f"{item.name}: counted with record {item.counted_in}")
            continue
        if not item.activities:
            if item.kind != "stock" or item.what.startswith("rods"):
                out.append(f"{item.name}: {item.remark}")
            continue
        compared = item.comparisons[list_name]
        if item.not_listed:
            out.append(f"{item.name}: {', '.join(item.not_listed)} not in this program's list; look them up")
        if not compared.nuclides:
            continue
        parts.append((item.record_id, item.name, item.fractions[list_name]))
        citations += compared.sources
        if compared.concentration_fraction is None:
            above.append(f"{item.name}: mass not known")
        elif compared.concentration_fraction > 1:
            times = compared.concentration_fraction
            above.append(f"{item.name}: {times:.0f} times" if times >= 100 else f"{item.name}: {times:.3g} times")
    total = Measured(sum(m.value for *_, m in parts), math.hypot(*(m.u for *_, m in parts)), "")
    parts.sort(key=lambda part: -part[2].value)
    words = {
        "exemption": "published exemption activities",
        "transport": "published activities for an exempt consignment",
    }
    say = f"Together {total} times the {words[list_name]}. "
    if total.value + 2 * total.u > 1:
        say += f"{ASK_FIRST} "
    if out:
        say += f"{len(out)} not counted. "
    return SumOfFractions(
        list_name,
        total,
        tuple(parts),
        tuple(above),
        tuple(out),
        tuple(dict.fromkeys(citations)),
        say + "Information, not permission: the authority's answer counts.",
    )


def _left(book: Book, on: date) -> tuple[tuple[int, str], ...]:
    gone = []
    for record in reversed(book.current(Departure)):
        body = record.body
        if body.on > on:
            continue
        thing = book.newest(body.thing_id).name
        pieces = "" if body.count is None else f"{body.count} of "
        to = f" to {body.to}" if body.to else ""
        number = f", reference no. {body.reference_no}" if body.reference_no else ""
        gone.append((record.id, f"{body.on} {pieces}{thing}: {body.how}{to}{number}"))
    return tuple(gone)
