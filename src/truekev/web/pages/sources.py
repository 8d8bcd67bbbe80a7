"""Sources: what they emit on a day; and lines of any nuclide or source word."""

from __future__ import annotations

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.things import Source
from truekev.book.work import Recovery, Result
from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.job.book_control import CONTROL, counts_of_source
from truekev.job.book_own_source import OWN_SOURCE
from truekev.job.source_record import SourceOnDay, source_on_day
from truekev.nuclides.history import date_after, moment
from truekev.quantity import Measured
from truekev.sources.line_list import line_list
from truekev.sources.words import source_words
from truekev.web.chart import Row, chart_svg
from truekev.web.pages.shelf import day_asked
from truekev.web.pages.spectra import checked_source
from truekev.web.site import SiteOf

__all__ = ["router"]

router = APIRouter()
_SHOWN = ("Th-232", "Ra-228", "Th-228", "Ra-224", "U-238", "Ra-226", "K-40", "Am-241")
_YEARS = 30.0
_MOST_LINES = 400


@router.get("/sources")
def sources_page(request: Request, site: SiteOf) -> Response:
    """All sources, and recoveries that wait for a vial."""
    used = {source.body.recovery_id for source in site.book.current(Source)}
    waiting = [r for r in site.book.current(Recovery, limit=50) if r.id not in used]
    return site.page(request, "sources.html", sources=site.book.current(Source, limit=200), waiting=waiting)


@router.get("/sources/{source_id}")
def source_page(request: Request, source_id: int, site: SiteOf, on: str = "") -> Response:
    """A source on a day: every member of its chain, dose rate, what it was made from."""
    day = day_asked(on)
    record = site.book.get_as(source_id, Source)
    found, problem = None, ""
    try:
        found = source_on_day(site.book, record.id, day)
    except (InputError, RefusedError) as error:
        problem = str(error)
    kept = [result for result in site.book.about(record.id, Result) if result.body.question == CONTROL]
    chart = _course(found) if found is not None else ""
    return site.page(
        request,
        "source.html",
        record=record,
        counted=counts_of_source(site.book, record.id),
        kept=kept,
        measured=[result for result in site.book.about(record.id, Result) if result.body.question == OWN_SOURCE],
        found=found,
        problem=problem,
        day=day,
        chart=chart,
    )


def _course(found: SourceOnDay) -> object:
    history = found.history
    if history is None:
        return ""
    start = history.last_date
    days = np.linspace(0.0, 365.25 * _YEARS, 61)[1:]
    days = np.concatenate([[0.0, 7.0, 30.0, 90.0], days])
    dates = [date_after(moment(start).date(), float(d)) for d in days]
    rows = [history.plain_activities_bq(on) for on in dates if on is not None]
    days = days[: len(rows)]
    shown = [name for name in _SHOWN if name in rows[0]][:4] or list(rows[0])[:4]
    styles = ("planned", "second", "third", "fourth")
    return chart_svg(
        [
            Row(name, days / 365.25, np.array([row[name] for row in rows]), style)
            for name, style in zip(shown, styles, strict=False)
        ],
        x_label=f"years after {moment(start).date()}",
        y_label="activity, Bq",
        height=280.0,
    )


@router.get("/lines")
def lines_page(request: Request, site: SiteOf, names: str = "", least: str = "0.001", low: str = "30",
               high: str = "2700") -> Response:  # fmt: skip
    """Photon lines of nuclides and source words."""
    asked = [checked_source(word.strip()) for word in names.replace(";", ",").split(",") if word.strip()]
    if len(asked) > 20:
        raise OutOfRangeError(f"{len(asked)} names: at most 20 at once.")
    rows: list[tuple[str, str, str, str, str]] = []
    remarks: tuple[str, ...] = ()
    if asked:
        numbers = []
        for text, label in ((least, "fewest photons"), (low, "lowest energy"), (high, "highest energy")):
            try:
                numbers.append(float(text.replace(",", ".")))
            except ValueError:
                raise InputError(f"{label}: {text[:40]!r} is not a number.") from None
        found = line_list(asked, min_intensity=numbers[0], lowest_kev=numbers[1], highest_kev=numbers[2])
        rows = [
            (
                str(Measured(line.energy_kev, line.u_energy_kev)),
                line.nuclide,
                f"{Measured(100 * line.intensity, 100 * line.u_intensity)} per 100 decays",
                line.kind,
                line.evaluation,
            )
            for line in found.nuclide_lines
        ] + [
            (
                str(Measured(entry.line.energy_kev, entry.line.u_energy_kev)),
                entry.line.nuclide or entry.component,
                f"{Measured(entry.line.photons_per_s, entry.line.u_photons_per_s)} per second and Bq of the head",
                entry.line.kind,
                entry.source,
            )
            for entry in found.source_lines
        ]
        remarks = found.remarks
    return site.page(
        request, "lines.html", rows=rows[:_MOST_LINES], n_rows=len(rows), remarks=remarks, names=names, least=least,
        low=low, high=high, words=source_words(),
    )  # fmt: skip
