"""Slices of a long count on one gain: the question, and how its answer looks."""

from __future__ import annotations

from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Instrument
from truekev.book.work import Relock, Result, Scale
from truekev.errors import InputError
from truekev.job.book_align import ALIGNED_NAME, MOST_FILES, AlignAsked, align_in_book
from truekev.spectra.read import spectra_of_bytes
from truekev.web.asked import Asked, FieldGroup
from truekev.web.chart import Row, chart_svg
from truekev.web.forms import Posted, PostedForm, SentFile
from truekev.web.pages.spectra import checked_source
from truekev.web.question import Question
from truekev.web.record_form import FormField
from truekev.web.sample_form import choices_of, described_things
from truekev.web.site import Site, SiteOf
from truekev.web.work import Report

__all__ = ["align_page", "router"]

router = APIRouter()
_TELLS = (
    "The gain of every slice, how far it drifted, and how it goes with the temperature where that was noted.",
    "The sum of all slices on one gain, every count kept: as a spectrum of this book and as a file.",
    "The scale of the sum, with the coefficients to type in.",
)


def _scales(book: Book) -> dict[int, str]:
    found: list[BookRecord[Scale] | BookRecord[Relock]] = [
        *book.current(Scale, limit=200),
        *book.current(Relock, limit=200),
    ]
    found.sort(key=lambda one: (one.body.made_on, one.id), reverse=True)
    return {one.id: f"{one.name}, {one.body.made_on} ({one.kind} {one.id})" for one in found}


def _instruments(book: Book) -> dict[int, str]:
    return {one.id: one.name for one in book.current(Instrument)}


def _groups(book: Book, _posted: Posted) -> tuple[FieldGroup, ...]:
    instruments, scales = choices_of(_instruments(book)), choices_of(_scales(book))
    newest = scales[0][0] if scales else ""
    return (
        FieldGroup(
            "The slices",
            (
                FormField(
                    "slices", "files of one count, or one N42 file of many measurements", "files", True,
                    hint=f"at most {MOST_FILES} files; they stay with you, the book keeps their sum",
                ),
            ),
        ),
        FieldGroup(
            "What was counted",
            (
                FormField("thing_id", "of this book", "record", False, "", "", choices_of(described_things(book))),
                FormField("word", "or in a word, or a nuclide", "line", False, hint="as thoriated-rods or Eu-152"),
            ),
        ),
        FieldGroup(
            "With what",
            (
                FormField(
                    "instrument_id", "spectrometer", "record", False, instruments[0][0] if instruments else "", "",
                    instruments,
                ),
                FormField(
                    "scale_id", "scale whose shape is held", "record", False, newest, "", scales,
                    hint="none: the sum is calibrated anew, for which it needs more counts",
                ),
            ),
        ),
        FieldGroup(
            "Temperatures, and what is kept",
            (
                FormField(
                    "temperatures", "°C: one a slice, or lines of time,temperature", "prose", False,
                    hint="as 2026-11-18T22:10,19.4",
                ),
                FormField("keep_scale", "keep the scale of the sum as a scale of this book", "yes", False, "yes"),
            ),
            folded=True,
        ),
    )  # fmt: skip


_ALIGN = Question(
    "Did the gain drift within a long count?",
    "A night that was saved in slices, set on one gain.",
    _groups,
    _TELLS,
    ALIGNED_NAME,
    button="Align them",
    many_files=True,
)


@router.get("/align")
def ask_align(request: Request, site: SiteOf) -> Response:
    """The form."""
    return _ALIGN.page(request, site, Posted({}, {}), {})


@router.post("/align")
def start_align(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Start aligning, or say what is to be mended."""
    asked = Asked(form)
    book = site.book
    files = form.all_files("slices")
    asked.noted("slices", lambda: _check_slices(files))
    thing = asked.record("thing_id", "what was counted", described_things(book))
    word = form.text("word")
    if word:
        asked.noted("word", lambda: checked_source(word))
    if thing is not None and word:
        asked.wrong.setdefault("word", "name what was counted once: of this book, or in a word.")
    scale = asked.record("scale_id", "scale", _scales(book))
    if thing is None and not word and scale is None:
        asked.wrong.setdefault("word", "name what was counted, or choose a scale that says it.")
    instrument = asked.record("instrument_id", "spectrometer", _instruments(book))
    if asked.wrong:
        return _ALIGN.page(request, site, form, asked.wrong, sent=True)
    found = AlignAsked(
        [(one.name, one.data) for one in files], thing, word, scale, instrument, form.text("temperatures"),
        bool(form.text("keep_scale")),
    )  # fmt: skip

    def run(report: Report) -> str:
        return f"/answers/{align_in_book(book, found, report).id}"

    return site.start(request, f"Aligning {len(files)} files", run, ("/align", "Back to the question"))


def _check_slices(files: tuple[SentFile, ...]) -> None:
    if not files:
        raise InputError("no file was sent; choose the slices again.")
    if len(files) > MOST_FILES:
        raise InputError(f"{len(files)} files: at most {MOST_FILES}; put them into one N42 file.")
    found = sum(len(spectra_of_bytes(one.data, file=one.name[:80])) for one in files)
    if found < 2:
        raise InputError("that is one slice; choose several files, or one N42 file of many measurements.")


def align_page(request: Request, site: Site, record: BookRecord[Result]) -> Response:
    """The answer."""
    answer: Any = record.body.answer
    slices = answer["slices"]

    def shown(value: dict[str, Any] | None) -> str:
        return "" if value is None else str(Value(**value | {"unit": ""}).measured)

    hours = np.array([one["hours"] for one in slices])
    alone = np.array([np.nan if one["alone_percent"] is None else one["alone_percent"]["value"] for one in slices])
    together = np.array([one["gain_percent"]["value"] for one in slices])
    degc = np.array([np.nan if one["temperature_degc"] is None else one["temperature_degc"] for one in slices])
    chart = chart_svg(
        [Row("each slice alone", hours, alone, "read", points=True), Row("with its neighbours", hours, together)],
        x_label="hours from the start",
        y_label="gain over the mean, %",
        height=260.0,
    )
    warmth = chart_svg([Row("", hours, degc, "third")], x_label="hours from the start", y_label="°C", height=160.0)
    line = answer["temperature"]
    return site.page(
        request,
        "align.html",
        record=record,
        answer=answer,
        slices=[(one, shown(one["gain_percent"]), shown(one["alone_percent"])) for one in slices],
        drift=str(Value(**answer["drift_percent"]).measured),
        coefficient="" if line is None else str(Value(**line["percent_per_degc"]).measured),
        chart=chart,
        warmth=warmth,
        behind=[site.book.get(one.id) for one in record.body.inputs],
    )
