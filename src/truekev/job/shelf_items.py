"""What stands on the shelf on a day: every thing with its place, activity, dose rate and share of published figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Departure, Find, Source, Stock, Waste
from truekev.errors import TruekevError
from truekev.nuclides.history import History
from truekev.quantity import Measured
from truekev.safety.dose_rate import air_kerma_rate_ngy_h
from truekev.safety.rules import Comparison, compare_with_exemption, exemption_values
from truekev.sources.components import aged_bq
from truekev.sources.described import source_of_description
from truekev.sources.settings import read_source_text
from truekev.sources.stock import electrode_class, electrode_mass_g, th232_bq_of_oxide

__all__ = ["DOSE_DISTANCE_CM", "ShelfItem", "item_on", "shelf_items"]

DOSE_DISTANCE_CM = 10.0
_LEAST_BQ = 1e-9
_Thing: TypeAlias = BookRecord[Stock] | BookRecord[Source] | BookRecord[Find] | BookRecord[Waste]


@dataclass(frozen=True)
class ShelfItem:
    """One thing on the shelf on a day.

    Parameters
    ----------
    record_id : int
    kind, name, what, place : str
    n_pieces : int
        Pieces that are left of it.
    since : date or None
        Bought, made, found or closed.
    activities : mapping
        Activity by nuclide with standard uncertainty [Bq]; empty where it is not known.
    head : str
        The nuclide that heads them, or empty.
    mass_g : float or None
        Mass that the activity is spread in.
    dose_rate : Measured or None
        Air kerma rate of its photons at 10 cm, a point without absorption [nGy/h]: an upper estimate.
    fractions : mapping
        "exemption" and "transport" to its share of the published activity, with standard uncertainty.
    comparisons : mapping
        The same with concentration, sources and words.
    counted_in : int or None
        The record in whose activity this one is contained already, so that the sums leave it out.
    remark : str
        What is assumed, or why something is not known.
    """

    record_id: int
    kind: str
    name: str
    what: str
    place: str
    n_pieces: int
    since: date | None
    activities: Mapping[str, Measured]
    head: str
    mass_g: float | None
    dose_rate: Measured | None
    fractions: Mapping[str, Measured]
    comparisons: Mapping[str, Comparison]
    counted_in: int | None
    remark: str

    @property
    def head_activity(self) -> Measured | None:
        """Activity of the nuclide that heads the others [Bq]."""
        return self.activities.get(self.head)

    @property
    def not_listed(self) -> tuple[str, ...]:
        """Nuclides that no entry of the program's exemption list covers."""
        listed = {name for value in exemption_values() for name in (value.nuclide, *value.covers)}
        return tuple(name for name, activity in self.activities.items() if activity.value > 0 and name not in listed)


@dataclass(frozen=True)
class _Content:
    """Activities of a thing, its mass, and what was assumed."""

    activities: Mapping[str, Measured]
    mass_g: float | None = None
    remark: str = ""


def shelf_items(book: Book, on: date) -> tuple[ShelfItem, ...]:
    """Everything that is there on the day: bought, made, found or closed by then, and not gone by a departure."""
    things: list[_Thing] = [
        *book.current(Source),
        *book.current(Stock),
        *book.current(Find),
        *book.current(Waste),
    ]
    items = []
    for record in sorted(things, key=lambda r: r.first_id):
        since = _since(record.body)
        left = _pieces_left(book, record, on)
        if left > 0 and (since is None or since <= on):
            items.append(item_on(record, left, on))
    return tuple(items)


def _since(body: Stock | Source | Find | Waste) -> date | None:
    match body:
        case Stock():
            return body.bought_on
        case Source():
            return body.made_on
        case Find():
            return body.found_on
        case Waste():
            return body.closed_on


def _pieces_left(book: Book, record: _Thing, on: date) -> int:
    left = record.body.count if isinstance(record.body, Stock) else 1
    for departure in book.about(record.id, Departure):
        if departure.body.on <= on:
            left -= departure.body.count or left
    return max(left, 0)


def item_on(record: _Thing, n_pieces: int, on: date) -> ShelfItem:
    """One thing on a day, with `n_pieces` of it left."""
    body = record.body
    counted_in = None
    what: str
    match body:
        case Stock():
            content, what = _of_stock(body, n_pieces), body.what
            if body.what == "rods":
                what = f"rods {body.electrode_class} {body.diameter_mm:g} × {body.length_mm:g} mm".replace("  ", " ")
        case Source():
            content, what = _of_description(body.description, record.id, on), body.form
            if body.oxide_mass_g is not None:
                content = _weighed(content, body.oxide_mass_g.measured)
            if body.form == "bundle of rods":
                counted_in = body.stock_id
        case Find():
            content, what = _of_description(body.description, record.id, on), body.what
            if body.mass_g is not None:
                content = _Content(content.activities, body.mass_g.value, content.remark)
        case Waste():
            content, what = _of_waste(body, on), body.contents
    values = {name: a.value for name, a in content.activities.items()}
    head = next(iter(values), "")
    fractions, comparisons = {}, {}
    if values:
        for list_name in ("exemption", "transport"):
            fractions[list_name] = _carried(content.activities, _fraction(list_name))
            comparisons[list_name] = compare_with_exemption(values, content.mass_g, list_name)
    return ShelfItem(
        record_id=record.id,
        kind=record.kind,
        name=record.name,
        what=what,
        place=body.place,
        n_pieces=n_pieces,
        since=_since(body),
        activities=content.activities,
        head=head,
        mass_g=content.mass_g,
        dose_rate=_dose_rate(content.activities) if values else None,
        fractions=fractions,
        comparisons=comparisons,
        counted_in=counted_in,
        remark=content.remark,
    )


def _fraction(list_name: str) -> Callable[[Mapping[str, float]], float]:
    return lambda activities: compare_with_exemption(activities, None, list_name).activity_fraction


def _carried(activities: Mapping[str, Measured], of: Callable[[Mapping[str, float]], float]) -> Measured:
    """A figure of the activities, all of them moved together by their standard uncertainty."""
    value = of({name: a.value for name, a in activities.items()})
    moved = of({name: a.value + a.u for name, a in activities.items()})
    return Measured(value, abs(moved - value), "")


def _dose_rate(activities: Mapping[str, Measured]) -> Measured:
    def rate(of: Mapping[str, float]) -> float:
        return air_kerma_rate_ngy_h(of, DOSE_DISTANCE_CM).value

    lines = air_kerma_rate_ngy_h({name: a.value for name, a in activities.items()}, DOSE_DISTANCE_CM)
    return Measured(lines.value, math.hypot(lines.u, _carried(activities, rate).u), "nGy/h")


def _of_stock(body: Stock, n_pieces: int) -> _Content:
    if body.what != "rods" or body.diameter_mm is None or body.length_mm is None:
        return _Content({}, None, "not counted as radioactive")
    if body.electrode_class:
        found = electrode_class(body.electrode_class)
        fraction, u_fraction = found.fraction, found.u_fraction
    else:
        fraction, u_fraction = (body.thoria_percent or 0.0) / 100, (body.u_thoria_percent or 0.0) / 100
    mass_g = n_pieces * (
        body.mass_g / body.count
        if body.mass_g is not None
        else electrode_mass_g(diameter_mm=body.diameter_mm, length_mm=body.length_mm, thoria_fraction=fraction)
    )
    th232 = th232_bq_of_oxide(mass_g * fraction, mass_g * u_fraction)
    activities = {
        name: Measured(ratio * th232.value, ratio * th232.u, "Bq") for name, ratio in aged_bq("Th-232").items()
    }
    return _Content(activities, mass_g, "daughters taken as in equilibrium: an upper estimate")


def _of_description(text: str, record_id: int, on: date) -> _Content:
    if not text:
        return _Content({}, None, "activity not known: no description")
    try:
        description = read_source_text(text, file=f"record {record_id}")
        if not description.activity_known:
            return _Content({}, None, "activity not known: its description gives none")
        source = source_of_description(description, on=on if description.history is not None else None)
    except TruekevError as error:
        return _Content({}, None, f"activity not known: {error}")
    activities: dict[str, Measured] = {}
    for component in source.components:
        for name, activity in component.activities_bq.items():
            activities[name] = Measured(activity, component.u_activities_bq.get(name, 0.0), "Bq")
    body = source.body
    mass_g = body.oxide_mass_g
    if body.form == "rods" and body.n_rods and body.diameter_mm and body.length_mm:
        mass_g = body.n_rods * electrode_mass_g(
            diameter_mm=body.diameter_mm, length_mm=body.length_mm, thoria_fraction=body.thoria_fraction or 0.0
        )
    dated = "" if description.history is not None else "no date given: taken as aged"
    return _Content(activities, mass_g, dated)


def _weighed(content: _Content, oxide_g: Measured) -> _Content:
    """The same with the uncertainty of the oxide's mass, which the description does not carry."""
    activities = {
        name: Measured(a.value, math.hypot(a.u, a.value * oxide_g.relative_u), a.unit)
        for name, a in content.activities.items()
    }
    return _Content(activities, oxide_g.value, content.remark)


def _of_waste(body: Waste, on: date) -> _Content:
    mass_g = None if body.mass_g is None else body.mass_g.value
    if not body.activities_bq:
        return _Content({}, mass_g, "activity not measured yet")
    given = {name: value.measured for name, value in body.activities_bq.items()}
    day = body.measured_on or body.closed_on
    if on <= day:
        return _Content(given, mass_g, f"as of {day}")
    history = History(
        activities_bq={name: m.value for name, m in given.items()},
        reference_date=day,
        u_activities_bq={name: m.u for name, m in given.items()},
    )
    now = {name: m for name, m in history.activities_on(on).items() if m.value > _LEAST_BQ}
    return _Content(now, mass_g, f"from the activities of {day}")
