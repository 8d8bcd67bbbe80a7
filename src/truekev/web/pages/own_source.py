"""What one's own source holds: the question, how its answer looks, and what is kept of it."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source
from truekev.book.work import Result, SpectrumFile
from truekev.errors import InputError
from truekev.job.book_own_source import OWN_SOURCE, OWN_SOURCE_NAME, OwnSourceAsked, keep_as_source, own_source_in_book
from truekev.job.book_sample import CountAsked
from truekev.nuclides.history import moment
from truekev.safety.cautions import cautions_for
from truekev.sheets.answer_sheets import ages_words, has_ages, measured_facts
from truekev.sources.settings import read_source_text
from truekev.web.asked import Asked, FieldGroup
from truekev.web.forms import Posted, PostedForm
from truekev.web.question import Question, address_fields
from truekev.web.record_form import FormField
from truekev.web.sample_form import (
    choices_of,
    counted_spectra,
    described_things,
    place_group,
    read_sample,
    surroundings_group,
    usual_thing,
    whole_pieces,
)
from truekev.web.site import Site, SiteOf
from truekev.web.work import Report

__all__ = ["own_source_page", "router"]

router = APIRouter()
_TELLS_SOURCE = (
    "Ra-228 and Th-228, and every age of the thorium that agrees with them; most ratios have two.",
    "With the balance, a count months later or the day of a separation: less is left open; with a count of the rods "
    "before, the radium kept.",
    "With an open and a sealed count: the radon that leaves. With the oxide's mass: its purity.",
    "The source record, to download or to keep: calibration takes it as its source.",
)


def _source_groups(book: Book, posted: Posted) -> tuple[FieldGroup, ...]:
    spectra, things = choices_of(counted_spectra(book)), choices_of(described_things(book))
    usual = _usual(book, posted)
    return (
        FieldGroup(
            "The count",
            (
                FormField("spectrum", "spectrum", "record", True, "", "", spectra),
                FormField("on", "day of the count", "day", False, hint="where its file does not say"),
            ),
        ),
        FieldGroup(
            "What was counted",
            (
                FormField(
                    "thing_id", "source or rods", "record", False, usual.get("thing_id", ""), "", things,
                    hint="its body is needed for what it absorbs itself; without one a point is taken",
                ),
                FormField("n_rods", "pieces, of rods", "number", False),
            ),
        ),
        place_group("10", "1"),
        FieldGroup(
            "What else is known",
            (
                FormField(
                    "separated", "day of the last separation", "day", False, usual.get("separated", ""),
                    hint="when rods were dissolved, or the oxide was washed",
                ),
                FormField("oxide_mass_g", "thoria by the balance", "value", False, usual.get("oxide", ""), "g"),
            ),
        ),
        FieldGroup(
            "A count of the rods before",
            (
                FormField("before", "its spectrum", "record", False, "", "", spectra),
                FormField("before_thing_id", "rods", "record", False, "", "", things),
                FormField("before_n_rods", "pieces", "number", False),
                FormField("before_distance_mm", "their distance", "value", False, ("10", "1"), "mm"),
            ),
            folded=True,
        ),
        FieldGroup(
            "Counts of the same source in the same place",
            (
                FormField("sealed", "closed tightly for a day (that above: open)", "record", False, "", "", spectra),
                FormField("later", "months later", "records", False, (), "", spectra),
            ),
            folded=True,
        ),
        surroundings_group(),
    )  # fmt: skip


def _usual(book: Book, posted: Posted) -> dict[str, Any]:
    """What the book knows of the spectrum that the address names: thing, separation, mass."""
    number = usual_thing(book, posted)
    if not number:
        return {}
    found: dict[str, Any] = {"thing_id": number}
    thing = book.get(int(number))
    if isinstance(thing.body, Source):
        history = read_source_text(thing.body.description, file=thing.name).history
        if history is not None and history.separations:
            found["separated"] = moment(history.separations[-1].on).date().isoformat()
        mass = thing.body.oxide_mass_g
        if mass is not None and mass.u > 0:
            found["oxide"] = (f"{mass.value:g}", f"{mass.u:g}")
    return found


_MY_SOURCE = Question(
    "What does my own source hold?",
    "Thoriated rods as they are, or the oxide in its vial: counted with this book's spectrometer.",
    _source_groups,
    _TELLS_SOURCE,
    OWN_SOURCE_NAME,
    cautions=cautions_for("seal"),
    needs_spectrum=True,
)


@router.get("/my-source")
def ask_my_source(request: Request, site: SiteOf) -> Response:
    """The form; the address may name the spectrum, and the book fills in what it knows of it."""
    return _MY_SOURCE.page(request, site, address_fields(request), {})


@router.post("/my-source")
def start_my_source(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Start looking what the source holds, or say what is to be mended."""
    asked = Asked(form)
    found = _source_asked(asked, site.book)
    if asked.wrong or found is None:
        return _MY_SOURCE.page(request, site, form, asked.wrong, sent=True)

    def run(report: Report) -> str:
        return f"/answers/{own_source_in_book(site.book, found, report).id}"

    back = (f"/my-source?spectrum={found.count.spectrum_id}", "Back to the question")
    return site.start(
        request, f"Looking what the source in {site.book.get(found.count.spectrum_id).name} holds", run, back
    )


def _source_asked(asked: Asked, book: Book) -> OwnSourceAsked | None:
    spectra, things = counted_spectra(book), described_things(book)
    spectrum = asked.record("spectrum", "spectrum", spectra, needed=True)
    on = asked.day("on", "day of the count")
    thing = asked.record("thing_id", "source or rods", things)
    pieces = whole_pieces(asked, "n_rods")
    separated = asked.day("separated", "day of the last separation")
    mass = asked.measured("oxide_mass_g", "thorium dioxide by the balance", "g", above_zero=True)
    sealed = asked.record("sealed", "sealed count", spectra)
    later = asked.noted("later", lambda: asked.posted.numbers_of_records("later")) or ()
    if any(number not in spectra for number in later):
        asked.wrong["later"] = "choose among the spectra that are offered."
    _check_days(asked, book, spectrum, on, separated)
    before = _before(asked, book, spectra, things)
    name = "source" if spectrum is None else book.get(thing or spectrum).name
    sample = read_sample(asked, book, name, thing, pieces)
    for field, number in (("sealed", sealed), ("before", None if before is None else before.spectrum_id)):
        if number is not None and number == spectrum:
            asked.wrong[field] = "this is the count above itself; choose another one."
    if asked.wrong or spectrum is None:
        return None
    return OwnSourceAsked(
        CountAsked(spectrum, sample, thing, pieces), on, before, tuple(later), sealed, separated, mass
    )


def _check_days(asked: Asked, book: Book, spectrum: int | None, on: date | None, separated: date | None) -> None:
    if spectrum is None:
        return
    start = book.get_as(spectrum, SpectrumFile).body.start
    day = on or (None if start is None else start.date())
    if day is None:
        asked.wrong.setdefault("on", "day of the count: its file does not say it, so give it here.")
    elif separated is not None and separated > day:
        asked.wrong["separated"] = f"the separation on {separated} comes after the count on {day}."


def _before(asked: Asked, book: Book, spectra: dict[int, str], things: dict[int, str]) -> CountAsked | None:
    number = asked.record("before", "spectrum of the rods", spectra)
    if number is None:
        return None
    thing = asked.record("before_thing_id", "rods", things)
    pieces = whole_pieces(asked, "before_n_rods")
    sample = read_sample(asked, book, book.get(thing or number).name, thing, pieces, prefix="before_")
    return CountAsked(number, sample, thing, pieces)


def own_source_page(
    request: Request, site: Site, record: BookRecord[Result], *, given: dict[str, str] | None = None, problem: str = ""
) -> Response:
    """The answer about one's own source."""
    answer: Any = record.body.answer
    settings: Any = record.body.settings
    count = settings["count"]
    thing = None if count["thing_id"] is None else site.book.newest(count["thing_id"])
    return site.page(
        request,
        "own_source.html",
        status=400 if problem else 200,
        record=record,
        answer=answer,
        facts=measured_facts(answer),
        ages=ages_words(answer) if has_ages(answer) else "",
        behind=[site.book.get(one.id) for one in record.body.inputs],
        sample=count["sample"],
        spectrum_id=count["spectrum_id"],
        thing=thing,
        cautions_of=cautions_for("seal", "dose"),
        given=given or {},
        problem=problem,
    )


@router.get("/answers/{record_id}/source.toml")
def source_file(record_id: int, site: SiteOf) -> Response:
    """The source record as a file."""
    record = site.book.get_as(record_id, Result)
    answer: Any = record.body.answer
    if record.body.question != OWN_SOURCE or not answer["source_toml"]:
        raise InputError(f"record {record_id} holds no source record.")
    headers = {"Content-Disposition": f'attachment; filename="source-{record_id}.toml"'}
    return Response(answer["source_toml"].encode(), media_type="application/toml", headers=headers)


@router.post("/answers/{record_id}/keep")
def keep_source(request: Request, record_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Keep the source record as a source of the book."""
    record = site.book.get_as(record_id, Result)
    try:
        made = keep_as_source(
            site.book, record_id, name=form.text("name"), place=form.text("place"), owner=form.text("owner")
        )
    except InputError as error:
        if record.body.question != OWN_SOURCE:
            raise
        return own_source_page(request, site, record, given=form.shown, problem=str(error))
    return site.to(request, f"/sources/{made.id}")
