"""Scales and re-locks: the spectrum with its model, the readings before and after, what to type in."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.book.work import Relock, Scale
from truekev.job.scale_record import scale_of_record
from truekev.job.spectrum_figure import figure_of_scale
from truekev.web.figure import figure_document
from truekev.web.site import DRAWING, SiteOf

__all__ = ["router"]

router = APIRouter(prefix="/scales")


@router.get("")
def scales_page(request: Request, site: SiteOf) -> Response:
    """All scales and re-locks, newest first."""
    found = [*site.book.current(Scale, limit=200), *site.book.current(Relock, limit=200)]
    found.sort(key=lambda record: -record.id)
    return site.page(request, "scales.html", scales=found)


@router.get("/{record_id}")
def scale_page(request: Request, record_id: int, site: SiteOf) -> Response:
    """One scale."""
    found = scale_of_record(site.book, record_id)
    return site.page(request, "scale.html", found=found, figure=figure_document(figure_of_scale(site.book, record_id)))


@router.get("/{record_id}/departure.png")
def departure_picture(record_id: int, site: SiteOf) -> Response:
    """How far a straight line is from the scale, as a picture."""
    from truekev.pictures.canvas import png_of
    from truekev.pictures.scale_pictures import picture_of_scale

    found = scale_of_record(site.book, record_id)
    with DRAWING:
        data = png_of(picture_of_scale(found.scale, found.through_peaks, found.record.name))
    return Response(data, media_type="image/png")
