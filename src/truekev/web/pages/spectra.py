"""Spectra: add one, see it, make a scale from it."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.spectra import add_spectrum
from truekev.book.things import Find, Instrument, Source, Stock, Waste
from truekev.book.work import Relock, Result, Sample, Scale, SpectrumFile
from truekev.errors import InputError, UnknownNameError
from truekev.job.book_identify import IDENTIFIED
from truekev.job.book_scales import calibrate_in_book, has_scale, relock_in_book
from truekev.job.spectrum_figure import figure_of_spectrum, figure_on_scale, scale_of_count
from truekev.nuclides.names import known_nuclides, nuclide_name
from truekev.sheets.for_record import ANSWER_SHEETS
from truekev.sources.words import source_words
from truekev.web.figure import figure_document
from truekev.web.forms import Posted, PostedForm, checked
from truekev.web.site import Site, SiteOf
from truekev.web.work import Report

__all__ = ["checked_source", "router"]

router = APIRouter(prefix="/spectra")
_PAGE, _MOST_MARKED = 50, 10


def checked_source(word: str) -> str:
    """A source word or nuclide as it was given; nothing else, so that no file is ever named from outside.

    Raises
    ------
    UnknownNameError
        It is neither.
    """
    if word in source_words():
        return word
    try:
        return nuclide_name(word)
    except UnknownNameError:
        raise UnknownNameError("source", word[:40], [*source_words(), *known_nuclides()]) from None


def _choices(book: Book) -> dict[str, Any]:
    return {
        "words": source_words(),
        "nuclides": sorted(known_nuclides()),
        "things": _countable(book),
        "instruments": book.current(Instrument),
        "samples": book.current(Sample, limit=100),
    }


def _countable(book: Book) -> list[tuple[int, str]]:
    """Things that can stand before the crystal: number and words."""
    rods = [stock for stock in book.current(Stock, limit=200) if stock.body.what == "rods"]
    things = (*book.current(Source, limit=200), *rods, *book.current(Find, limit=200), *book.current(Waste, limit=200))
    return [
        (thing.id, f"{thing.name} ({'rods' if thing.kind == 'stock' else thing.kind} {thing.id})") for thing in things
    ]


@router.get("")
def spectra_page(request: Request, site: SiteOf, skip: int = 0) -> Response:
    """All spectra, newest first."""
    skip = max(min(skip, 10**9), 0)
    found = site.book.current(SpectrumFile, limit=_PAGE + 1, skip=skip)
    return site.page(request, "spectra.html", spectra=found[:_PAGE], skip=skip, more=len(found) > _PAGE, step=_PAGE)


@router.get("/new")
def new_spectrum_page(request: Request, site: SiteOf, then: str = "", thing: str = "") -> Response:
    """The form for a spectrum file; the address may say what comes then, and what was counted."""
    return _new_page(request, site, Posted({"then": (then,), "thing_ids": (thing,)}, {}))


def _new_page(request: Request, site: Site, given: Posted, problem: str = "") -> Response:
    return site.page(
        request,
        "spectrum_new.html",
        status=400 if problem else 200,
        problem=problem,
        given=given.shown,
        then=given.text("then"),
        thing_ids=given.many("thing_ids"),
        has_scale=has_scale(site.book, None),
        **_choices(site.book),
    )


@router.post("/new")
def new_spectrum(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Keep the file, then make or re-lock a scale as was chosen."""
    try:
        with checked():
            record, words = _kept(site.book, form)
    except InputError as error:
        return _new_page(request, site, form, str(error))
    if form.text("role") == "background" or form.text("then") == "keep" or not (words or record.body.thing_ids):
        return site.to(request, f"/spectra/{record.id}")
    return _start(request, site, record.id, words, form.text("then"))


def _kept(book: Book, form: Posted) -> tuple[BookRecord[SpectrumFile], list[str]]:
    file = form.files.get("file")
    if file is None:
        raise InputError("no file was sent; choose a spectrum file (N42, or plain columns).")
    words = _words(form)
    number = form.number("number")
    record = add_spectrum(
        book,
        file.data,
        file.name,
        name=form.text("name"),
        number=None if number is None else int(number),
        role=form.text("role"),
        instrument_id=form.record("instrument_id"),
        thing_ids=form.numbers_of_records("thing_ids"),
        sample_id=form.record("sample_id"),
        place=form.text("place"),
        temperature_degc=form.measured("temperature", "°C"),
        remarks=form.text("remarks"),
    )
    return record, words


def _start(request: Request, site: Site, spectrum_id: int, words: list[str], then: str) -> Response:
    spectrum = site.book.get_as(spectrum_id, SpectrumFile)
    again = then == "relock" or (then != "calibrate" and has_scale(site.book, spectrum.body.instrument_id))

    def run(report: Report) -> str:
        if again:
            made = relock_in_book(site.book, spectrum_id, words, made_on=date.today(), progress=report)[0].id
        else:
            made = calibrate_in_book(site.book, spectrum_id, words, made_on=date.today(), progress=report)[0].id
        return f"/scales/{made}"

    title = f"{'Re-locking' if again else 'Calibrating'} with {spectrum.name}"
    back = (f"/spectra/{spectrum_id}", "The spectrum itself is in the book")
    return site.start(request, title, run, back)


@router.get("/{spectrum_id}")
def spectrum_page(request: Request, spectrum_id: int, site: SiteOf, over: str = "", lines: str = "") -> Response:
    """One spectrum on the scale that belongs to it (over its channels where none does), and what is said of it."""
    record = site.book.get_as(spectrum_id, SpectrumFile)
    scale = None if over == "channels" else scale_of_count(site.book, record.id)
    marked = [checked_source(word.strip()) for word in lines.split(",")[:_MOST_MARKED] if word.strip()]
    if scale is None:
        figure = figure_of_spectrum(site.book, record.id)
    else:
        figure = figure_on_scale(site.book, record.id, scale.id, marked)
    scales = (*site.book.about(record.id, Scale), *site.book.about(record.id, Relock))
    return site.page(
        request,
        "spectrum.html",
        record=record,
        figure=figure_document(figure),
        scale=scale,
        kept=[r for r in site.book.about(record.id, Result) if r.body.question == IDENTIFIED],
        amounts=[r for r in site.book.about(record.id, Result) if r.body.question in ANSWER_SHEETS],
        over=over,
        lines=lines,
        counted=[site.book.newest(i) for i in record.body.thing_ids],
        instrument=None if record.body.instrument_id is None else site.book.newest(record.body.instrument_id),
        scales=scales,
        can_relock=has_scale(site.book, record.body.instrument_id),
        **_choices(site.book),
    )


@router.post("/{spectrum_id}/scale")
def scale_from_spectrum(request: Request, spectrum_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Calibrate or re-lock with a spectrum that is in the book."""
    return _start(request, site, spectrum_id, _words(form), form.text("then"))


def _words(form: Posted) -> list[str]:
    return [
        *(checked_source(word) for word in form.many("word")),
        *(checked_source(word.strip()) for word in form.text("nuclide").split(",") if word.strip()),
    ]
