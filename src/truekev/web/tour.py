"""The stops of the tour through the invented book."""

from __future__ import annotations

from dataclasses import dataclass

from truekev.book.book import Book
from truekev.book.things import Source, Stock
from truekev.book.work import Batch, Relock, Scale

__all__ = ["TourStop", "tour_stops"]


@dataclass(frozen=True)
class TourStop:
    """One page to look at, and what to see there."""

    title: str
    text: str
    address: str


def tour_stops(book: Book) -> tuple[TourStop, ...]:
    """The stops in the order of the job; what the book does not hold is left out."""
    found = [
        TourStop("Tonight", "The book opens here. It asks what you want to do, and says what is due.", "/"),
    ]
    for model, address, title, text in (
        (
            Stock,
            "/records/{}",
            "Rods in a drawer",
            "The lab bought welding electrodes with thoria. The book knows class and measures, so it knows the "
            "thorium in them.",
        ),
        (
            Scale,
            "/scales/{}",
            "One hour of rods",
            "The rods as they are were counted for an hour. Touch the figure, or use the arrow keys: under it stand "
            "energy, counts and model. Further down: what the instrument read before, and what to type into it.",
        ),
        (
            Relock,
            "/scales/{}",
            "A cold morning",
            "Some weeks later it is cold and the gain has moved. A short count is enough to set it right again.",
        ),
        (
            Batch,
            "/batches/{}",
            "The autumn batch",
            "Three rods were dissolved under the authority's reply. Readings stand beside the plan; while it ran, "
            "each was noted in large fields.",
        ),
        (
            Source,
            "/sources/{}",
            "What the vial emits",
            "Radium was washed out and grows back over years. The page computes every member of the series on any day.",
        ),
    ):
        records = [r for r in book.current(model) if not isinstance(r.body, Stock) or r.body.what == "rods"]
        if records:
            found.append(TourStop(title, text, address.format(records[0].id)))
    found += [
        TourStop("The shelf", "Everything that emits, where it stands, how much in all, and what is due.", "/shelf"),
        TourStop("Sheets", "Anything can be printed with its cautions, and signed. The PDF is the same sheet.",
                 "/sheets"),
        TourStop("The records", "Nothing is ever overwritten. A wrong record is superseded, and stays readable.",
                 "/records"),
    ]  # fmt: skip
    return tuple(found)
