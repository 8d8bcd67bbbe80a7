"""The shelf: what stands there on a day, sums, what is due."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.errors import InputError
from truekev.job.shelf import shelf_on
from truekev.job.shelf_due import DueItem
from truekev.web.site import SiteOf

__all__ = ["day_asked", "next_step", "router"]

router = APIRouter()
# What is due, by words in it, and where it is done; the first that fits.
_STEPS = (
    ("background", "/spectra/new"),
    ("count", "/spectra/new?thing={}"),
    ("authority", "/records/new/authority?about_ids={}"),
    ("hand it over", "/records/new/departure?thing_id={}"),
    ("used up", "/records/new/departure?batch_id={}&how=used%20up"),
    ("", "/records/new/upkeep?thing_id={}"),
)


def next_step(due: DueItem) -> str:
    """The address of the form in which something due is done."""
    return next(address for words, address in _STEPS if words in due.what).format(due.record_id)


def day_asked(text: str) -> date:
    """The day in an address; today if there is none."""
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        raise InputError(f"on: {text[:40]!r} is no day; write it as 2027-03-01.") from None


@router.get("/shelf")
def shelf_page(request: Request, site: SiteOf, on: str = "") -> Response:
    """Everything on the shelf."""
    return site.page(request, "shelf.html", report=shelf_on(site.book, day_asked(on)), next_step=next_step)
