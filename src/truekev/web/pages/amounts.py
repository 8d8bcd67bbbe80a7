"""How much of a nuclide is in a sample: the question, and how its answer looks."""

from __future__ import annotations

import tomllib
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Result
from truekev.job.book_assay import ASSAYED_NAME, AssayAsked, assay_in_book
from truekev.job.book_sample import CountAsked
from truekev.job.worth_it_words import duration_in_words
from truekev.samples.candidates import candidate
from truekev.sheets.answer_sheets import CLEARS_NOTHING, place_words
from truekev.web.asked import Asked, FieldGroup
from truekev.web.forms import Posted, PostedForm
from truekev.web.question import Question, address_fields
from truekev.web.record_form import FormField
from truekev.web.sample_form import (
    body_group,
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

__all__ = ["assay_page", "router"]

router = APIRouter()
_TELLS_AMOUNT = (
    "For each nuclide its activity with uncertainty, decision threshold, detection limit, best estimate and coverage "
    "limits (ISO 11929-1), and where the uncertainty comes from.",
    "Per mass, where the sample was weighed.",
    "How long to count, where a detection limit is wanted.",
    "The sheet of it to print.",
)


def _assay_groups(book: Book, posted: Posted) -> tuple[FieldGroup, ...]:
    body = body_group(title="Or describe it")
    return (
        FieldGroup(
            "What is asked",
            (
                FormField("spectrum", "spectrum", "record", True, "", "", choices_of(counted_spectra(book))),
                FormField(
                    "nuclides", "nuclides", "line", False, hint="as Cs-137, K-40; left empty: all that is recognised"
                ),
                FormField(
                    "plan", "detection limit wanted, Bq", "number", False, hint="tells how long to count until it is so"
                ),
            ),
        ),
        place_group("100", "3"),
        FieldGroup(
            "A thing of this book",
            (
                FormField(
                    "thing_id",
                    "source, rods or find",
                    "record",
                    False,
                    usual_thing(book, posted),
                    "",
                    choices_of(described_things(book)),
                    hint="its own body is taken then; leave what follows as it is",
                ),
                FormField("n_rods", "pieces, of rods", "number", False),
            ),
        ),
        body,
        surroundings_group(),
        FieldGroup(
            "It is a source of known activity",
            (
                FormField("known", "nuclide", "line", False, hint="tells what this place does to such sources"),
                FormField("known_bq", "its activity on the day of the count, Bq", "number", False),
            ),
            folded=True,
        ),
        FieldGroup(
            "Probabilities",
            (
                FormField("alpha", "of seeing something where nothing is, %", "number", False, "5"),
                FormField("beta", "of missing what is at the detection limit, %", "number", False, "5"),
                FormField("coverage", "of the coverage intervals, %", "number", False, "95"),
            ),
            folded=True,
        ),
    )


_HOW_MUCH = Question(
    "How much is in it?",
    "Activities in a counted sample. The scale and the background that belong to the spectrum are taken.",
    _assay_groups,
    _TELLS_AMOUNT,
    ASSAYED_NAME,
    needs_spectrum=True,
)


@router.get("/how-much")
def ask_how_much(request: Request, site: SiteOf) -> Response:
    """The form; the address may fill fields."""
    return _HOW_MUCH.page(request, site, address_fields(request), {})


@router.post("/how-much")
def start_how_much(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Start the assay, or say what is to be mended."""
    asked = Asked(form)
    found = _assay_asked(asked, site.book)
    if asked.wrong or found is None:
        return _HOW_MUCH.page(request, site, form, asked.wrong, sent=True)

    def run(report: Report) -> str:
        return f"/answers/{assay_in_book(site.book, found, report).id}"

    back = (f"/how-much?spectrum={found.count.spectrum_id}", "Back to the question")
    return site.start(request, f"Assaying {site.book.get(found.count.spectrum_id).name}", run, back)


def _assay_asked(asked: Asked, book: Book) -> AssayAsked | None:
    spectrum = asked.record("spectrum", "spectrum", counted_spectra(book), needed=True)
    words = [word.strip() for word in asked.posted.text("nuclides").replace(";", ",").split(",") if word.strip()]
    nuclides = [asked.noted("nuclides", lambda word=word: candidate(word[:40]).name) for word in words]  # type: ignore[misc]
    plan = asked.number("plan", "detection limit wanted")
    if plan is not None and plan <= 0:
        asked.wrong["plan"] = "detection limit wanted: it must be above zero."
    thing = asked.record("thing_id", "thing", described_things(book))
    pieces = whole_pieces(asked, "n_rods")
    known = _known(asked)
    shares = {
        name: asked.number(name, label, least=low, most=high)
        for name, label, low, high in (
            ("alpha", "probability", 0.001, 49.0),
            ("beta", "probability", 0.001, 49.0),
            ("coverage", "coverage", 50.0, 99.99),
        )
    }
    name = "sample" if spectrum is None else book.get(spectrum).name
    sample = read_sample(asked, book, name, thing, pieces)
    if asked.wrong or spectrum is None:
        return None
    given = {key: value / 100 for key, value in shares.items() if value is not None}
    named = [one for one in nuclides if one is not None]
    return AssayAsked(CountAsked(spectrum, sample, thing, pieces), named, plan, known, **given)


def _known(asked: Asked) -> str | None:
    word = asked.posted.text("known")
    activity = asked.number("known_bq", "known activity")
    if not word and activity is None:
        return None
    if not word:
        asked.wrong["known"] = "name the nuclide whose activity is known."
        return None
    if activity is None or activity <= 0:
        asked.wrong.setdefault("known_bq", "give the activity, above zero.")
        return None
    head = asked.noted("known", lambda: candidate(word[:40]).head)
    if head == "":
        asked.wrong["known"] = "this is no nuclide, so it has no activity."
    return f"{head}:{activity:.6f}Bq" if head else None


def _shown(one: dict[str, Any]) -> SimpleNamespace:
    unit = one["unit"]

    def valued(value: float | None) -> str:
        return "none" if value is None else f"{value:.4g} {unit}"

    return SimpleNamespace(
        verdict="Recognised"
        if one["recognised"]
        else f"Not recognised (detection limit {valued(one['detection_limit'])})",
        estimate=str(Value(**one["estimate"]).measured),
        best=str(Value(**one["best_estimate"]).measured),
        threshold=valued(one["decision_threshold"]),
        limit=valued(one["detection_limit"]),
        symmetric="{:.4g} to {:.4g} ".format(*one["symmetric_limits"]) + unit,
        shortest="{:.4g} to {:.4g} ".format(*one["shortest_limits"]) + unit,
        per_mass="" if one["per_mass"] is None else str(Value(**one["per_mass"]).measured),
    )


def assay_page(request: Request, site: Site, record: BookRecord[Result]) -> Response:
    """The answer of an assay."""
    answer: Any = record.body.answer
    settings: Any = record.body.settings
    place = answer["place"]
    return site.page(
        request,
        "assay.html",
        record=record,
        answer=answer,
        assayed=[(one, _shown(one)) for one in answer["assayed"]],
        behind=[site.book.get(one.id) for one in record.body.inputs],
        sample=settings["count"]["sample"],
        spent=duration_in_words,
        clears_nothing=CLEARS_NOTHING,
        place="" if place is None else place_words(place),
        place_asked="" if place is None else _place_asked(settings["count"]["sample"], place),
    )


def _place_asked(sample: str, place: dict[str, Any]) -> str:
    """What a form starts from after a known source told of its place: the extra distance on top of what was there."""
    there = tomllib.loads(sample)
    extra, u = place["extra_distance_mm"]["value"], place["extra_distance_mm"]["u"]
    given = {
        "distance_mm": f"{there['distance_mm']:g}",
        "distance_mm.u": f"{there['u_distance_mm']:g}",
        "extra_distance_mm": f"{there.get('extra_distance_mm', 0.0) + extra:.1f}",
        "extra_distance_mm.u": f"{max(u, 0.1):.1f}",
    }
    for name, value in place["scattering"].items():
        given |= {name: f"{value['value']:.2f}", f"{name}.u": f"{value['u']:.2f}"}
    return urlencode(given)
