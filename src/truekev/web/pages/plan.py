"""The plan of a batch: inputs at the left, results that follow them at the right."""

from __future__ import annotations

import tomllib
from datetime import datetime, time
from typing import Any, Literal, get_args, get_origin

from fastapi import APIRouter, Request
from pydantic import BaseModel
from starlette.responses import HTMLResponse, Response

from truekev.bench.settings import BatchSettings, RodLot, batch_from_mapping, batch_template
from truekev.bench.write_batch import batch_toml
from truekev.book.book import Book
from truekev.book.things import Stock
from truekev.errors import InputError, TruekevError
from truekev.job.book_entry import batch_body
from truekev.job.book_results import keep_plan
from truekev.job.plan_make import MakeReport, plan_of_settings
from truekev.web.course import course_charts
from truekev.web.forms import Posted, PostedForm
from truekev.web.record_form import FormField, label_of
from truekev.web.site import Site, SiteOf

__all__ = ["router"]

router = APIRouter(prefix="/plan")

# What the form asks for, by table of the batch file; the rest of a batch file keeps the program's own values.
_ASKED: dict[str, tuple[str, ...]] = {
    "rods": ("count", "diameter_mm", "length_mm", "mass_g", "u_mass_g", "class"),
    "anode": ("holder", "basket_material", "dipped_mm"),
    "cell": (
        *("volume_ml", "vessel_diameter_mm", "vessel_height_mm", "vessel_material", "cover"),
        *("cathode_material", "cathode_area_cm2", "gap_mm", "stirring"),
    ),
    "hydroxide": ("mass_g", "assay_percent", "u_assay_percent"),
    "supply": ("current_a", "voltage_cap_v", "rating_a"),
    "room": ("temperature_degc", "relative_humidity_percent", "air"),
    "attendance": ("from_time", "to_time", "top_up_every_h"),
}  # fmt: skip
_HEADINGS = {
    "rods": "Rods that dissolve", "anode": "How they hang", "cell": "Vessel and cathode",
    "hydroxide": "Sodium hydroxide", "supply": "Supply", "room": "Room", "attendance": "Who is there, when",
}  # fmt: skip
_LABELS = {
    "class": "class, as WT20", "u_mass_g": "standard uncertainty of the mass, g", "mass_g": "mass, g",
    "u_assay_percent": "standard uncertainty of the assay, %", "count": "pieces", "from_time": "from", "to_time": "to",
    "top_up_every_h": "topped up every, h", "current_a": "current, A", "voltage_cap_v": "voltage cap, V",
    "rating_a": "rating, A", "cathode_area_cm2": "cathode area, cm²",
}  # fmt: skip


def _models() -> dict[str, type[BaseModel]]:
    models: dict[str, type[BaseModel]] = {"rods": RodLot}
    for name, info in BatchSettings.model_fields.items():
        if isinstance(info.annotation, type) and issubclass(info.annotation, BaseModel):
            models[name] = info.annotation
    return models


def _defaults(stock: Stock | None) -> dict[str, str]:
    example = tomllib.loads(batch_template())
    shown = {"name": "", "start": datetime.now().strftime("%Y-%m-%dT09:00")}
    for table, names in _ASKED.items():
        entries: dict[str, Any] = example["rods"][0] if table == "rods" else example[table]
        for name in names:
            value = entries.get(name, "")
            shown[f"{table}.{name}"] = value.strftime("%H:%M") if isinstance(value, time) else f"{value}"
    shown["rods.mass_g"] = ""
    if stock is not None and stock.what == "rods":
        shown |= {
            "rods.class": stock.electrode_class,
            "rods.diameter_mm": f"{stock.diameter_mm:g}",
            "rods.length_mm": f"{stock.length_mm:g}",
            "rods.count": str(min(stock.count, 3)),
        }
    return shown


def _fields(given: dict[str, str]) -> list[tuple[str, list[FormField]]]:
    models = _models()
    tables = []
    for table, names in _ASKED.items():
        fields = []
        for name in names:
            info = models[table].model_fields["class_" if name == "class" else name]
            choices: tuple[tuple[str, str], ...] = ()
            if get_origin(info.annotation) is Literal:
                choices = tuple((str(c), str(c)) for c in get_args(info.annotation) if c != "lid")
            form = (
                "choice" if choices else "clock" if name.endswith("_time") else "line" if name == "class" else "number"
            )
            label = _LABELS.get(name, label_of(name))
            fields.append(
                FormField(
                    f"{table}.{name}", label, form, info.is_required(), given.get(f"{table}.{name}", ""), "", choices
                )
            )
        tables.append((_HEADINGS[table], fields))
    return tables


def _settings(form: Posted) -> BatchSettings:
    entries: dict[str, Any] = {"name": form.text("name") or "Batch", "start": form.text("start")}
    for table, names in _ASKED.items():
        values: dict[str, Any] = {}
        for name in names:
            text = form.text(f"{table}.{name}")
            if text:
                values[name] = text.replace(",", ".") if name[-3:] in ("_mm", "_ml", "_cm2") else text
        entries[table] = [values] if table == "rods" else values
    return batch_from_mapping(entries)


def _report(form: Posted) -> MakeReport:
    done_by = form.text("done_by")
    return plan_of_settings(
        _settings(form),
        activity_bq=form.number("wanted_bq", "activity wanted, Bq"),
        done_by=form.moment("done_by") if done_by else None,
    )


def _page(
    request: Request,
    site: Site,
    given: dict[str, str],
    report: MakeReport | None,
    problem: str,
    stock_ids: list[str],
    *,
    status: int = 200,
) -> HTMLResponse:
    return site.page(
        request,
        "plan.html",
        status=status,
        tables=_fields(given),
        given=given,
        stocks=[s for s in site.book.current(Stock, limit=200) if s.body.what == "rods"],
        stock_ids=stock_ids,
        report=report,
        charts=() if report is None else course_charts(report.batch, report.plan),
        problem=problem,
    )


@router.get("")
def plan_page(request: Request, site: SiteOf, stock: int | None = None) -> Response:
    """The form, filled with the template's example or the rods of a stock, and what follows from it."""
    given = _defaults(None if stock is None else site.book.get_as(stock, Stock).body)
    form = Posted({name: (value,) for name, value in given.items()}, {})
    report, problem = _tried(form)
    return _page(request, site, given, report, problem, [] if stock is None else [str(stock)])


@router.post("")
def planned_page(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """The same page with the results of the inputs as they were sent."""
    report, problem = _tried(form)
    return _page(request, site, form.shown, report, problem, list(form.many("stock_ids")))


@router.post("/results")
def plan_results(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """The results alone, for the page's script."""
    report, problem = _tried(form)
    charts = () if report is None else course_charts(report.batch, report.plan)
    return site.page(request, "plan_results.html", report=report, charts=charts, problem=problem)


def _tried(form: Posted) -> tuple[MakeReport | None, str]:
    try:
        return _report(form), ""
    except TruekevError as error:
        return None, str(error)


@router.post("/keep")
def keep(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Write the batch and its plan into the book."""
    report, problem = _tried(form)
    if report is None:
        return _page(request, site, form.shown, None, problem, list(form.many("stock_ids")), status=400)
    body = batch_body(batch_toml(report.batch, report.answer), "batch")
    stock_ids = form.numbers_of_records("stock_ids")
    _check_stock(site.book, stock_ids)
    batch = site.book.add(body.model_copy(update={"stock_ids": stock_ids}))
    keep_plan(site.book, batch.id)
    return site.to(request, f"/batches/{batch.id}")


def _check_stock(book: Book, numbers: tuple[int, ...]) -> None:
    for number in numbers:
        if book.get(number).kind != Stock.kind:
            raise InputError(f"record {number} is no stock.")
