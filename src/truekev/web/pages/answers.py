"""What a spectrum holds, whether source and instrument are as they were: questions, and answers that were kept."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.body import Value
from truekev.book.records import BookRecord
from truekev.book.work import Result
from truekev.errors import InputError
from truekev.job.book_align import ALIGNED
from truekev.job.book_assay import ASSAYED
from truekev.job.book_control import CONTROL, control_in_book
from truekev.job.book_emit import GIVEN_OFF
from truekev.job.book_identify import IDENTIFIED, identify_in_book
from truekev.job.book_own_source import OWN_SOURCE
from truekev.job.book_sample import sample_text
from truekev.samples.sample_file import read_sample_text
from truekev.sheets.answer_sheets import has_ages
from truekev.web.chart import Row, chart_svg
from truekev.web.forms import Posted, PostedForm
from truekev.web.pages.align import align_page
from truekev.web.pages.amounts import assay_page
from truekev.web.pages.emit import emit_page
from truekev.web.pages.own_source import own_source_page
from truekev.web.site import DRAWING, SiteOf
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


@router.post("/sources/{source_id}/charts")
def chart_source(request: Request, source_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Start charting all counts of a source."""
    record = site.book.get(source_id)
    sample = _sample(record.name, form)

    def run(report: Report) -> str:
        return f"/answers/{control_in_book(site.book, source_id, sample, report).id}"

    back = (f"/sources/{source_id}", "Back to the source")
    return site.start(request, f"Charting the counts of {record.name}", run, back)


@router.get("/answers/{record_id}")
def answer_page(request: Request, record_id: int, site: SiteOf) -> Response:
    """An answer that was kept."""
    record = site.book.get_as(record_id, Result)
    answer: Any = record.body.answer
    behind = [site.book.get(one.id) for one in record.body.inputs]
    match record.body.question:
        case question if question == IDENTIFIED:
            return site.page(
                request,
                "answer.html",
                record=record,
                answer=answer,
                found=[(one, str(Value(**one["activity"]).measured)) for one in answer["answers"]],
                asked=[one["name"] for one in answer["answers"] if not one["name"].startswith("room")],
                behind=behind,
                sample=record.body.settings["sample"],
            )
        case question if question == CONTROL:
            rows = [
                (
                    on.replace("T", ", ")[:17],
                    *(str(Value(**one[key]).measured) for key in ("gain", "resolution", "strength")),
                )
                for on, one in zip(answer["on"], answer["readings"], strict=True)
            ]
            charts = [_control_chart(answer["on"], chart) for chart in answer["charts"]]
            return site.page(
                request, "control.html", record=record, answer=answer, behind=behind, rows=rows, charts=charts
            )
        case question if question == ASSAYED:
            return assay_page(request, site, record)
        case question if question == OWN_SOURCE:
            return own_source_page(request, site, record)
        case question if question == GIVEN_OFF:
            return emit_page(request, site, record)
        case question if question == ALIGNED:
            return align_page(request, site, record)
        case other:
            raise InputError(f"record {record_id} answers another question: {other}.")


def _control_chart(on: list[str], chart: dict[str, Any]) -> object:
    start = datetime.fromisoformat(on[0])
    days = np.array([(datetime.fromisoformat(day) - start).total_seconds() / 86400 for day in on])
    ends = np.array([days[0], max(days[-1], days[0] + 1.0)])
    rows = [Row("counts", days, np.array(chart["scores"]), "read", points=True)]
    for style, key in (("second", "warning"), ("third", "action")):
        for sign in (1.0, -1.0):
            rows.append(Row("" if sign < 0 else key, ends, np.full(2, sign * chart[key]), style))
    return chart_svg(rows, x_label=f"days after {start.date()}", y_label="standard deviations", height=200.0)


@router.get("/answers/{record_id}/figure.png")
def answer_figure(record_id: int, site: SiteOf) -> Response:
    """The picture that belongs to an answer."""
    return Response(_figure(site.book.get_as(record_id, Result)), media_type="image/png")


def _figure(record: BookRecord[Result]) -> bytes:
    from truekev.pictures.answer_pictures import picture_of_ages, picture_of_limits
    from truekev.pictures.canvas import png_of

    answer: Any = record.body.answer
    with DRAWING:
        if record.body.question == ASSAYED:
            return png_of(picture_of_limits(answer["assayed"]))
        if record.body.question == OWN_SOURCE and has_ages(answer):
            ratio = answer["ratio"]
            return png_of(picture_of_ages(ratio["value"], ratio["u"], answer["ages"]))
    raise InputError(f"record {record.id} has no picture.")
