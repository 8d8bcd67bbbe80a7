"""Records of every kind: look through them, write one, correct one, withdraw one; stored files."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.bench.recovery import KEPT
from truekev.book.body import InputRecord, Value
from truekev.book.book import Book
from truekev.book.kinds import kind_named
from truekev.book.records import BookRecord, NewFile
from truekev.book.things import THINGS
from truekev.book.work import Note, Picture, Result, SpectrumFile
from truekev.errors import InputError
from truekev.job.book_align import ALIGNED
from truekev.job.book_assay import ASSAYED
from truekev.job.book_control import CONTROL
from truekev.job.book_emit import GIVEN_OFF
from truekev.job.book_forecast import FORECAST
from truekev.job.book_identify import IDENTIFIED
from truekev.job.book_own_source import OWN_SOURCE
from truekev.job.book_results import can_be_recomputed, recomputed
from truekev.safety.cautions import cautions_for
from truekev.sheets.for_record import ANSWER_SHEETS, BATCH_SHEETS
from truekev.web.forms import PostedForm
from truekev.web.record_form import FORM_KINDS, body_of_form, fields_of, label_of
from truekev.web.site import SiteOf
from truekev.web.work import Report

__all__ = ["router"]

router = APIRouter()
_PAGE = 50
_PAGES_OF_KINDS = {
    "batch": "/batches/{}", "source": "/sources/{}", "scale": "/scales/{}", "relock": "/scales/{}",
    "spectrum": "/spectra/{}",
}  # fmt: skip
_WITH_SHEETS = {"batch": BATCH_SHEETS, **dict.fromkeys(("recovery", "source", "waste", "scale", "relock"), ("",))}
_ANSWERS = {
    **dict.fromkeys((IDENTIFIED, CONTROL, ASSAYED, OWN_SOURCE, GIVEN_OFF, ALIGNED), "/answers/{}"),
    FORECAST: "/forecast/{}",
}
_SIGNATURES = ((b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"))
_SHORT = 4000
# Shares of the elements that the bench expects to stay with the oxide.
_PREFILLED: dict[str, dict[str, Any]] = {"recovery": {"kept": {one.element: one.value for one in KEPT}}}
_CAUTIONS = {
    "find": ("find",), "recovery": ("wash", "dry"), "waste": ("waste",), "departure": ("waste",), "source": ("seal",),
    "house move": ("seal", "waste"),
}  # fmt: skip


@router.get("/records")
def records_page(request: Request, site: SiteOf, kind: str = "", skip: int = 0, all: str = "") -> Response:
    """Records as a list, newest first."""
    skip = max(min(skip, 10**9), 0)
    if kind:
        kind_named(kind)
    found = site.book.lines(kind or None, only_current=not all, limit=_PAGE + 1, skip=skip)
    return site.page(
        request, "records.html", lines=found[:_PAGE], more=len(found) > _PAGE, skip=skip, step=_PAGE, kind=kind,
        everything=bool(all), count=site.book.count(), form_kinds=FORM_KINDS,
    )  # fmt: skip


@router.get("/records/new/{kind}")
def new_record_page(request: Request, kind: str, site: SiteOf) -> Response:
    """The form of a kind; the address may fill fields."""
    given: dict[str, Any] = _PREFILLED.get(kind, {}) | {n: value[:300] for n, value in request.query_params.items()}
    return site.page(
        request, "record_form.html", kind=kind, what=FORM_KINDS.get(kind, ""), problem="", old=None,
        cautions_of=cautions_for(*_CAUTIONS.get(kind, ())), fields=fields_of(site.book, kind, given),
    )  # fmt: skip


@router.post("/records/new/{kind}")
def new_record(request: Request, kind: str, site: SiteOf, form: PostedForm) -> Response:
    """Write a record; where it supersedes another the form says which."""
    old = form.record("supersedes")
    try:
        if old is not None and site.book.get(old).kind != kind:
            raise InputError(f"record {old} is no {kind}.")
        made = site.book.add(body_of_form(site.book, kind, form), supersedes=old)
    except InputError as error:
        given: dict[str, Any] = {name: values if len(values) > 1 else values[0] for name, values in form.fields.items()}
        for name in [n for n in form.fields if f"{n}.u" in form.fields and "." not in n]:
            given[name] = (form.text(name), form.text(f"{name}.u"))
        return site.page(
            request, "record_form.html", status=400, kind=kind, what=FORM_KINDS.get(kind, ""), problem=str(error),
            old=old, cautions_of=cautions_for(*_CAUTIONS.get(kind, ())), fields=fields_of(site.book, kind, given),
        )  # fmt: skip
    return site.to(request, _PAGES_OF_KINDS.get(kind, "/records/{}").format(made.id))


@router.post("/records/{record_id}/again")
def again(request: Request, record_id: int, site: SiteOf, _form: PostedForm) -> Response:
    """Work a result out again from the records that it names, and compare."""
    record = site.book.get_as(record_id, Result)

    def run(report: Report) -> str:
        report(0.1, "working it out again; this takes as long as the first time")
        return f"/records/{record_id}?again={'same' if recomputed(site.book, record_id).same else 'other'}"

    back = (f"/records/{record_id}", "Back to the result")
    work = site.work.start(f"Working out again: {record.name}"[:200], run, back=back)
    return site.to(request, f"/work/{work.number}")


@router.get("/records/{record_id}")
def record_page(request: Request, record_id: int, site: SiteOf, again: str = "") -> Response:
    """A record with all it says, its history, and what can be done with it."""
    record = site.book.get(record_id)
    return site.page(
        request,
        "record.html",
        record=record,
        again=again,
        facts=_facts(site.book, record),
        history=site.book.history(record_id),
        notes=site.book.about(record_id, Note),
        pictures=site.book.about(record_id, Picture),
        can_again=isinstance(record.body, Result) and can_be_recomputed(record.body),
        own_page=_page_of(record),
        sheets=_sheets_of(record),
        can_correct=record.kind in FORM_KINDS,
        is_thing=record.kind in THINGS,
    )


@router.get("/records/{record_id}/correct")
def correct_page(request: Request, record_id: int, site: SiteOf) -> Response:
    """The form filled with what the record says; it will be superseded, not overwritten."""
    record = site.book.get(record_id)
    given = {name: getattr(record.body, name) for name in type(record.body).model_fields}
    return site.page(
        request, "record_form.html", kind=record.kind, what=FORM_KINDS.get(record.kind, ""), problem="",
        old=record.id, cautions_of=cautions_for(*_CAUTIONS.get(record.kind, ())),
        fields=fields_of(site.book, record.kind, given),
    )  # fmt: skip


@router.post("/records/{record_id}/withdraw")
def withdraw(request: Request, record_id: int, site: SiteOf, form: PostedForm) -> Response:
    """Say that a record should not have been written."""
    why = form.text("why")
    if not why:
        raise InputError("why: say in a few words why it is withdrawn.")
    made = site.book.withdraw(record_id, why)
    return site.to(request, f"/records/{made.id}")


@router.post("/pictures/new")
def new_picture(request: Request, site: SiteOf, form: PostedForm) -> Response:
    """Add a photograph to a record; its bytes say what it is."""
    file = form.files.get("file")
    if file is None:
        raise InputError("no picture was sent; choose a PNG or JPEG file.")
    media_type = next((kind for start, kind in _SIGNATURES if file.data.startswith(start)), None)
    if media_type is None:
        raise InputError("this is neither a PNG nor a JPEG picture.")
    about = form.record("about_id")
    plain = "".join(c if c.isprintable() else "_" for c in file.name)[-200:] or "picture"
    new = NewFile(file.data, media_type)
    body = Picture(
        name=form.text("caption")[:200].replace("\n", " ") or plain,
        file_sha256=new.sha256,
        file_name=plain,
        caption=form.text("caption"),
        about_ids=() if about is None else (about,),
    )
    made = site.book.add(body, files=[new])
    return site.to(request, f"/records/{about or made.id}")


@router.get("/records/{record_id}/file")
def stored_file(record_id: int, site: SiteOf) -> Response:
    """The stored file of a record: pictures to look at, everything else to save."""
    body = site.book.get(record_id).body
    if not isinstance(body, Picture | SpectrumFile):
        raise InputError(f"record {record_id} is a {body.kind}; it holds no file.")
    file = site.book.file(body.file_sha256)
    seen = dict((kind, start) for start, kind in _SIGNATURES).get(file.media_type)
    if seen is not None and file.data.startswith(seen):
        return Response(file.data, media_type=file.media_type)
    ending = ".n42" if file.media_type == "application/xml" else ".csv" if file.media_type == "text/csv" else ".bin"
    headers = {"Content-Disposition": f'attachment; filename="record-{record_id}{ending}"'}
    return Response(file.data, media_type="application/octet-stream", headers=headers)


def _page_of(record: BookRecord[Any]) -> str:
    """The page that shows a record as what it is, if there is one."""
    if isinstance(record.body, Result) and record.body.question in _ANSWERS:
        return _ANSWERS[record.body.question].format(record.id)
    return _PAGES_OF_KINDS.get(record.kind, "").format(record.id)


def _sheets_of(record: BookRecord[Any]) -> tuple[str, ...]:
    if isinstance(record.body, Result) and record.body.question in ANSWER_SHEETS:
        return ("",)
    return _WITH_SHEETS.get(record.kind, ())


def _facts(book: Book, record: BookRecord[Any]) -> list[tuple[str, str, list[tuple[int, str]]]]:
    """Every field as (label, text, records it refers to); empty ones are left out."""
    facts = []
    body = record.body
    for name in type(body).model_fields:
        value = getattr(body, name)
        if value in (None, "", (), {}) or name == "name":
            continue
        links: list[tuple[int, str]] = []
        if name in body.refers:
            ids = [v.id if isinstance(v, InputRecord) else v for v in (value if isinstance(value, tuple) else (value,))]
            links = [(i, book.get(i).name) for i in ids]
            text = ""
        else:
            text = _text(value)
        facts.append((label_of(name), text[:_SHORT] + ("…" if len(text) > _SHORT else ""), links))
    return facts


def _text(value: Any) -> str:
    if isinstance(value, Value):
        return str(value.measured)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return "\n".join(f"{k} = {_text(v)}" for k, v in value.items())
    return str(value)
