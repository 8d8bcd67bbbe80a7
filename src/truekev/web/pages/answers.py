"""What a spectrum holds: the question on the spectrum's page, and the answer that was kept."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.body import Value
from truekev.book.work import Result
from truekev.errors import InputError
from truekev.job.book_identify import IDENTIFIED, identify_in_book, sample_text
from truekev.samples.sample_file import read_sample_text
from truekev.web.forms import Posted, PostedForm
from truekev.web.site import SiteOf
from truekev.web.work import Report

__all__ = ["router"]

router = APIRouter()
_USUAL_MM = 100.0
_MEASURES = (("diameter_mm", "diameter, mm"), ("height_mm", "height, mm"), ("mass_g", "mass, g"))


@router.post("/spectra/{spectrum_id}/what")
def ask(request: Request, spectrum_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Start looking what the spectrum holds."""
    record = site.book.get(spectrum_id)
    sample = _sample(record.name, form)

    def run(report: Report) -> str:
        return f"/answers/{identify_in_book(site.book, spectrum_id, sample, report).id}"

    back = (f"/spectra/{spectrum_id}", "Back to the spectrum")
    return site.start(request, f"Looking what is in {record.name}", run, back)


def _sample(name: str, form: Posted) -> str:
    """The sample as far as it was described; empty where nothing was said of it."""
    distance = form.measured("distance", "mm")
    body: dict[str, str | float] = {}
    if form.text("form") not in ("", "point"):
        body = {"form": form.text("form"), "material": form.text("material")}
        body |= {key: form.needed(key, label) for key, label in _MEASURES}
    if distance is None and not body:
        return ""
    distance = distance or Value(value=_USUAL_MM, u=3.0, unit="mm")
    text = sample_text(name, distance.value, distance.u, body)
    read_sample_text(text, file="the sample")
    return text


@router.get("/answers/{record_id}")
def answer_page(request: Request, record_id: int, site: SiteOf) -> Response:
    """An answer that was kept."""
    record = site.book.get_as(record_id, Result)
    if record.body.question != IDENTIFIED:
        raise InputError(f"record {record_id} answers another question: {record.body.question}.")
    answer: Any = record.body.answer
    return site.page(
        request,
        "answer.html",
        record=record,
        answer=answer,
        found=[(one, str(Value(**one["activity"]).measured)) for one in answer["answers"]],
        behind=[site.book.get(one.id) for one in record.body.inputs],
        sample=record.body.settings["sample"],
    )
