"""Work under way: how far it is, and a button that stops it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from truekev.web.forms import PostedForm
from truekev.web.site import SiteOf

__all__ = ["router"]

router = APIRouter(prefix="/work")


@router.get("/{number}")
def work_page(request: Request, number: int, site: SiteOf) -> Response:
    """The page of one piece of work; leads on to its result once that is there."""
    work = site.work.get(number)
    if work.state == "done":
        return site.to(request, work.address)
    return site.page(request, "work.html", work=work)


@router.get("/{number}/state")
def work_state(number: int, site: SiteOf) -> JSONResponse:
    """How far it is, for the page's script."""
    work = site.work.get(number)
    return JSONResponse({"state": work.state, "share": work.share, "what": work.what})


@router.post("/{number}/stop")
def stop_work(request: Request, number: int, site: SiteOf, _form: PostedForm) -> Response:
    """Ask it to stop; nothing of it is kept."""
    site.work.get(number).stop.set()
    return site.to(request, f"/work/{number}")
