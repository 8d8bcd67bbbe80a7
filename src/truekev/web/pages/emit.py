"""What a source gives off on a day: the question, and how its answer looks."""

from __future__ import annotations

from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Instrument
from truekev.book.work import Result
from truekev.job.book_emit import GIVEN_OFF_NAME, EmitAsked, emit_in_book
from truekev.safety.cautions import cautions_for
from truekev.sources.short_forms import SHORT_FORMS
from truekev.sources.words import source_words
from truekev.web.asked import Asked, FieldGroup
from truekev.web.chart import Row, chart_svg
from truekev.web.forms import Posted, PostedForm
from truekev.web.pages.forecast import checked_short_form
from truekev.web.pages.spectra import checked_source
from truekev.web.question import Question, address_fields
from truekev.web.record_form import FormField
from truekev.web.sample_form import choices_of, described_things, whole_pieces
from truekev.web.site import Site, SiteOf
from truekev.web.work import Report

__all__ = ["emit_page", "router"]

router = APIRouter()
_MOST_STEMS, _FAINT = 80, 0.01
_TELLS = (
    "Photons per second of every line on the day: born inside, and leaving the body unscattered.",
    "X-rays that the body makes of its own photons; betas, and the share of the counts that they make.",
)


def _instruments(book: Book) -> dict[int, str]:
    return {one.id: one.name for one in book.current(Instrument)}


def _groups(book: Book, _posted: Posted) -> tuple[FieldGroup, ...]:
    words = tuple((word, f"{word}: {what}") for word, what in source_words().items())
    return (
        FieldGroup(
            "The source",
            (
                FormField("thing_id", "of this book", "record", False, "", "", choices_of(described_things(book))),
                FormField("n_rods", "pieces, of rods", "number", False),
                FormField("word", "or in a word", "choice", False, "", "", words),
                FormField(
                    "words", "or in one line", "line", False,
                    hint=f"as {', '.join(form for form in list(SHORT_FORMS)[:2])} or Cs-137:10kBq",
                ),
            ),
        ),
        FieldGroup("The day", (FormField("on", "on (today, if empty)", "day", False),)),
        FieldGroup(
            "The spectrometer",
            (FormField("instrument_id", "which", "record", False, "", "", choices_of(_instruments(book))),),
            folded=True,
        ),
    )  # fmt: skip


_EMIT = Question(
    "What does a source give off?",
    "Of a source of this book, or of one in words, on any day.",
    _groups,
    _TELLS,
    GIVEN_OFF_NAME,
)


@router.get("/emit")
def ask_emit(request: Request, site: SiteOf) -> Response:
    """The form; the address may fill fields."""
    return _EMIT.page(request, site, address_fields(request), {})


@router.post("/emit")
def start_emit(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Start working it out, or say what is to be mended."""
    asked = Asked(form)
    book = site.book
    thing = asked.record("thing_id", "source", described_things(book))
    pieces = whole_pieces(asked, "n_rods")
    word, words = form.text("word"), form.text("words")
    if word:
        asked.noted("word", lambda: checked_source(word))
    if words:
        asked.noted("words", lambda: checked_short_form(words) if ":" in words else checked_source(words))
    instrument = asked.record("instrument_id", "spectrometer", _instruments(book))
    asked.day("on", "day")
    given = [bool(thing), bool(word), bool(words)]
    if sum(given) != 1 and not asked.wrong:
        which = "thing_id" if not any(given) else "words" if words else "word"
        asked.wrong[which] = "name one source: of this book, in a word, or in one line."
    if asked.wrong:
        return _EMIT.page(request, site, form, asked.wrong, sent=True)
    found = EmitAsked(form.day("on"), thing, words or word, pieces, instrument)

    def run(report: Report) -> str:
        return f"/answers/{emit_in_book(book, found, report).id}"

    return site.start(request, "Working out what the source gives off", run, ("/emit", "Back to the question"))


def emit_page(request: Request, site: Site, record: BookRecord[Result]) -> Response:
    """The answer."""
    answer: Any = record.body.answer

    def rates(one: dict[str, Any]) -> tuple[dict[str, Any], str, str]:
        born, outside = (Value(**one[key] | {"unit": ""}).measured for key in ("born_per_s", "outside_per_s"))
        return one, str(born), str(outside)

    lines = sorted(answer["lines"], key=lambda one: -one["outside_per_s"]["value"])
    least = _FAINT * lines[0]["outside_per_s"]["value"] if lines else 0.0
    return site.page(
        request,
        "emit.html",
        record=record,
        answer=answer,
        unit="per second and Bq of its head" if answer["relative"] else "per second",
        lines=[rates(one) for one in answer["lines"] if one["outside_per_s"]["value"] >= least],
        fainter=[rates(one) for one in answer["lines"] if one["outside_per_s"]["value"] < least],
        made=[rates(one) for one in answer["made"]],
        chart=_stems(lines[:_MOST_STEMS]),
        behind=[site.book.get(one.id) for one in record.body.inputs],
        cautions_of=cautions_for("dose"),
    )


def _stems(lines: list[dict[str, Any]]) -> object:
    """A stem for every line, compressed so that faint ones are seen too."""
    rows = []
    for one in lines:
        at = np.full(2, one["energy_kev"])
        rows.append(Row("", at, np.array([0.0, one["outside_per_s"]["value"] ** 0.5])))
    return chart_svg(rows, x_label="energy, keV", y_label="root of photons per second", height=260.0)
