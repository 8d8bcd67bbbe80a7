"""Sources beside each other: how long each must be counted, before anything is made."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.things import Find, Instrument, Source, Stock
from truekev.book.work import Result
from truekev.errors import InputError, OutOfRangeError
from truekev.job.book_forecast import FORECAST, FORECAST_NAME, ForecastAsked, forecast_in_book
from truekev.job.worth_it_words import Costs, duration_in_words
from truekev.sources.short_forms import SHORT_FORMS
from truekev.web.chart import Row, chart_svg
from truekev.web.forms import Posted, PostedForm
from truekev.web.pages.spectra import checked_source
from truekev.web.site import Site, SiteOf
from truekev.web.work import Report

__all__ = ["checked_short_form", "router"]

router = APIRouter(prefix="/forecast")
_MOST_SOURCES = 6
_BODIES = ("rods", "vial", "resin", "salt")
_FORMS = {form: words for form, words in SHORT_FORMS.items() if not form.endswith(".toml")}


def _things(site: Site) -> list[tuple[int, str]]:
    book = site.book
    rods = [stock for stock in book.current(Stock, limit=200) if stock.body.what == "rods"]
    known = [
        *book.current(Source, limit=200),
        *(find for find in book.current(Find, limit=200) if find.body.description),
    ]
    return [(one.id, f"{one.name} ({'rods' if one.kind == 'stock' else one.kind} {one.id})") for one in (*rods, *known)]


@router.get("")
def forecast_page(request: Request, site: SiteOf, stock: str = "", words: str = "", rods: str = "10") -> Response:
    """The form, and the answers that were kept."""
    kept = [line for line in site.book.lines(Result.kind, limit=1000) if line.name.startswith(FORECAST_NAME)]
    return site.page(
        request, "forecast.html", things=_things(site), chosen=stock, words=words, rods=rods, forms=_FORMS,
        instruments=site.book.current(Instrument), kept=kept[:20],
    )  # fmt: skip


@router.post("")
def start_forecast(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Start the comparison; its answer is kept in the book."""
    asked = _asked(form)

    def run(report: Report) -> str:
        return f"/forecast/{forecast_in_book(site.book, asked, date.today(), report).id}"

    back = ("/forecast", "Back to the question")
    return site.start(request, "Comparing counting times", run, back)


def checked_short_form(word: str) -> str:
    """A source in one line as it was given: a known head, a colon, and what measures are written with; never a file.

    Raises
    ------
    InputError
        It is none.
    """
    head, _, rest = word.partition(":")
    if not re.fullmatch(r"[A-Za-z0-9.,= -]+", rest) or rest.lower().endswith(".toml"):
        raise InputError(f"{word[:60]!r}: write one source a line, as {next(iter(_FORMS))} or Cs-137:10kBq.")
    if head.lower() not in _BODIES:
        checked_source(head)
    return word


def _asked(form: Posted) -> ForecastAsked:
    words = [line.strip() for line in form.text("words").splitlines() if line.strip()]
    for word in words:
        checked_short_form(word)
    things = form.numbers_of_records("thing_ids")
    if not 0 < len(words) + len(things) <= _MOST_SOURCES:
        raise OutOfRangeError(f"{len(words) + len(things)} sources: choose from 1 to {_MOST_SOURCES}.")
    rods = form.number("n_rods", "rods taken") or 1
    return ForecastAsked(
        things,
        words,
        int(rods),
        form.record("instrument_id"),
        form.needed("reach_percent", "wanted uncertainty, %") / 100,
        form.needed("resolution_percent", "peak width, %") / 100,
        bool(form.text("only_these")),
        Costs(
            form.number("rod_price", "price of one more rod"),
            form.number("make_cost", "cost of material"),
            form.number("make_hours", "hours of work"),
            form.number("hour_price", "worth of an hour"),
        ),
    )


@router.get("/{record_id}")
def answer_page(request: Request, record_id: int, site: SiteOf) -> Response:
    """An answer that was kept."""
    record = site.book.get_as(record_id, Result)
    if record.body.question != FORECAST:
        raise InputError(f"record {record_id} answers another question: {record.body.question}.")
    answer: Any = record.body.answer
    for choice in answer["choices"]:
        choice["reach"] = dict(sorted(choice["reach"].items(), key=lambda item: item[1]["energy_kev"]))
    return site.page(
        request,
        "forecast_answer.html",
        record=record,
        answer=answer,
        spent=duration_in_words,
        priced=any(choice["money"] for choice in answer["choices"]),
        charts=[_chart(choice) for choice in answer["choices"]],
        behind=[site.book.get(one.id) for one in record.body.inputs],
    )


def _chart(choice: dict[str, Any]) -> object:
    energy = np.asarray(choice["energy_kev"], dtype=np.float64)
    hour = 3600.0
    rows = [
        Row("with the room", energy, np.sqrt(hour * np.asarray(choice["per_kev_s"])), "planned"),
        Row("room alone", energy, np.sqrt(hour * np.asarray(choice["room_per_kev_s"])), "third"),
    ]
    return chart_svg(rows, x_label="energy, keV", y_label="root of counts per keV in an hour", height=200.0)
