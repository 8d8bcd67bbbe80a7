"""The first page: what to do tonight; and the tour of the invented book."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.work import Batch, SpectrumFile
from truekev.job.shelf import shelf_on
from truekev.web.forms import PostedForm
from truekev.web.pages.shelf import next_step
from truekev.web.site import SiteOf

__all__ = ["router"]

router = APIRouter()
_SEEN = "tour_seen"


@router.get("/")
def first_page(request: Request, site: SiteOf) -> Response:
    """What one can do tonight, and what is due."""
    open_batches = [b for b in site.book.current(Batch) if b.body.ended_on is None]
    return site.page(
        request,
        "first.html",
        due=shelf_on(site.book, date.today()).due[:6],
        next_step=next_step,
        open_batches=open_batches,
        latest=site.book.lines(limit=6),
        n_spectra=site.book.count().get(SpectrumFile.kind, 0),
        new_here=not site.invented and _SEEN not in request.cookies,
    )


def _seen(answer: Response) -> Response:
    answer.set_cookie(_SEEN, "yes", max_age=365 * 86400, httponly=True, samesite="strict")
    return answer


@router.get("/tour")
def tour_page(request: Request, site: SiteOf) -> Response:
    """What the tour is, and how to begin."""
    ready = site.invented or request.app.state.tour.ready
    return _seen(site.page(request, "tour.html", ready=ready))


@router.post("/tour")
def start_tour(request: Request, site: SiteOf, _form: PostedForm) -> Response:
    """Fill the invented book, then lead to its first stop."""
    if site.invented:
        return site.to(request, "/?stop=1")
    tour = request.app.state.tour

    def fill(report: object) -> str:
        tour.fill(report)
        return "/invented/?stop=1"

    return _seen(site.to(request, f"/work/{site.work.start('Filling the invented book', fill).number}"))


@router.post("/tour/not-now")
def no_tour(request: Request, site: SiteOf, _form: PostedForm) -> Response:
    """Do not offer the tour on the first page any more."""
    return _seen(site.to(request, "/"))
