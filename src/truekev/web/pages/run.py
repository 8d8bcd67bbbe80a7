"""Batches: where the run stands, the next reading, the end of it, the vial that comes of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from truekev.bench.settings import batch_from_mapping
from truekev.book.run_readings import NewReading, add_readings, last_readings, newest_reading
from truekev.book.things import Source, Waste
from truekev.book.work import Batch, Recovery
from truekev.errors import InputError
from truekev.job.book_run import follow_in_book
from truekev.job.plan_make import plan_of_settings
from truekev.job.vial import VialMeasures, add_vial
from truekev.safety.cautions import cautions_for
from truekev.web.course import course_charts
from truekev.web.forms import PostedForm, checked
from truekev.web.site import Site, SiteOf

__all__ = ["router"]

router = APIRouter()
READ = (
    ("current_a", "current", "A"),
    ("voltage_v", "voltage", "V"),
    ("temperature_degc", "bath", "°C"),
    ("free_hydroxide_mol_l", "free hydroxide", "mol/L"),
    ("mass_g", "rods, weighed", "g"),
    ("level_ml", "level", "mL"),
)


@router.get("/batches")
def batches_page(request: Request, site: SiteOf) -> Response:
    """All batches."""
    return site.page(request, "batches.html", batches=site.book.current(Batch, limit=200))


@router.get("/batches/{batch_id}")
def batch_page(request: Request, batch_id: int, site: SiteOf) -> Response:
    """The run beside its plan, and a form for one reading."""
    return _batch_page(request, site, batch_id)


def _batch_page(
    request: Request, site: Site, batch_id: int, *, problem: str = "", given: Mapping[str, str] | None = None
) -> Response:
    record = site.book.get_as(site.book.newest(batch_id).id, Batch)
    report = follow_in_book(site.book, record.id)
    settings = batch_from_mapping(dict(record.body.settings), file=f"record {record.id}")
    plan = plan_of_settings(settings)
    return site.page(
        request,
        "batch.html",
        status=400 if problem else 200,
        problem=problem,
        given=given or {},
        record=record,
        plan=plan,
        report=report,
        charts=course_charts(settings, plan.plan, None if report is None else report.timeline),
        readings=last_readings(site.book, record.id, 12),
        newest=newest_reading(site.book, record.id),
        fields=READ,
        recoveries=site.book.about(record.id, Recovery),
        sources=site.book.about(record.id, Source),
        waste=site.book.about(record.id, Waste),
    )


@router.get("/batches/{batch_id}/newest")
def newest(batch_id: int, site: SiteOf) -> JSONResponse:
    """The reading written last, for the page's script: what another hand or a logger notes appears by itself."""
    return JSONResponse({"newest": newest_reading(site.book, batch_id)})


@router.post("/batches/{batch_id}/readings")
def note_reading(request: Request, batch_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Note one reading; a wrong one is superseded by its correction."""
    try:
        values = {name: form.number(name, label) for name, label, _ in READ}
        new = NewReading(form.moment("at"), **values, remark=form.text("remark"), supersedes=form.record("supersedes"))
        add_readings(site.book, batch_id, [new])
    except InputError as error:
        return _batch_page(request, site, batch_id, problem=str(error), given=form.shown)
    return site.to(request, f"/batches/{batch_id}#readings")


@router.post("/batches/{batch_id}/end")
def end_batch(request: Request, batch_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Say that the run has ended."""
    record = site.book.get_as(site.book.newest(batch_id).id, Batch)
    try:
        with checked():
            said = {"ended_on": form.moment("ended_on"), "remarks": form.text("remarks")}
            body = Batch.model_validate(record.body.model_dump() | said)
    except InputError as error:
        return _batch_page(request, site, batch_id, problem=str(error), given=form.shown)
    ended = site.book.add(body, supersedes=record.id)
    return site.to(request, f"/batches/{ended.id}")


@router.get("/recoveries/{recovery_id}/vial")
def vial_page(request: Request, recovery_id: int, site: SiteOf) -> Response:
    """The form for the vial that holds a recovered oxide."""
    return _vial_page(request, site, recovery_id, "", {"made_on": date.today().isoformat()})


def _vial_page(request: Request, site: Site, recovery_id: int, problem: str, given: Mapping[str, str]) -> Response:
    return site.page(
        request,
        "vial.html",
        status=400 if problem else 200,
        recovery=site.book.get_as(recovery_id, Recovery),
        problem=problem,
        given=given,
        cautions_of=cautions_for("wash", "dry", "seal"),
    )


@router.post("/recoveries/{recovery_id}/vial")
def new_vial(request: Request, recovery_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Add the vial as a home-made source."""
    try:
        measures = VialMeasures(
            form.needed("fill_height_mm", "height of the fill, mm"),
            form.needed("inner_diameter_mm", "inner diameter, mm"),
            form.needed("wall_mm", "wall, mm"),
        )
        with checked():
            made = add_vial(
                site.book,
                recovery_id,
                name=form.text("name"),
                place=form.text("place"),
                owner=form.text("owner"),
                made_on=form.day("made_on"),
                measures=measures,
                resin=bool(form.text("resin")),
                gross_mass_g=form.measured("gross_mass_g", "g"),
            )
    except InputError as error:
        return _vial_page(request, site, recovery_id, str(error), form.shown)
    return site.to(request, f"/sources/{made.id}")
