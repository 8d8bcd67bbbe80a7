"""Sheets to print: the same content as a page and as PDF."""

from __future__ import annotations

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from truekev.job.book_assay import ASSAYED_NAME
from truekev.job.book_own_source import OWN_SOURCE_NAME
from truekev.sheets.for_record import BATCH_SHEETS, SHELF_SHEETS, sheet_for
from truekev.sheets.html import sheet_html
from truekev.web.pages.shelf import day_asked
from truekev.web.sample_form import kept_answers
from truekev.web.site import DRAWING, SiteOf

__all__ = ["router"]

router = APIRouter(prefix="/sheets")
_KINDS = ("batch", "recovery", "source", "waste", "scale", "relock")


@router.get("")
def sheets_page(request: Request, site: SiteOf) -> Response:
    """What can be printed."""
    lines = [line for kind in _KINDS for line in site.book.lines(kind, limit=30)]
    lines += kept_answers(site.book, ASSAYED_NAME, OWN_SOURCE_NAME)
    return site.page(request, "sheets.html", lines=lines, batch_sheets=BATCH_SHEETS, shelf_sheets=SHELF_SHEETS)


@router.get("/{what}")
def sheet_page(request: Request, what: str, site: SiteOf, which: str = "", on: str = "") -> Response:
    """A sheet as a page."""
    day = day_asked(on)
    with DRAWING:
        sheet = sheet_for(site.book, what, day, which=which)
    return site.page(
        request, "sheet.html", title=sheet.title, body=Markup(sheet_html(sheet)), what=what, which=which, day=day,
    )  # fmt: skip


@router.get("/{what}/pdf")
def sheet_file(what: str, site: SiteOf, which: str = "", on: str = "") -> Response:
    """The sheet as PDF."""
    from truekev.sheets.pdf import sheet_pdf

    with DRAWING:
        data = sheet_pdf(sheet_for(site.book, what, day_asked(on), which=which))
    name = "".join(c for c in f"sheet-{what}-{which}" if c.isascii() and (c.isalnum() or c == "-")).strip("-")
    return Response(
        data, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}.pdf"'}
    )
