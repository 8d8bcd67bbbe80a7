"""The application: the guard, the pages, and how errors become pages."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response
from starlette.types import Receive, Scope, Send

from truekev.book.book import Book
from truekev.errors import InputError, RefusedError, TruekevError
from truekev.job.demo_book import fill_demo_book, is_invented
from truekev.web.forms import checked
from truekev.web.guard import Guard
from truekev.web.pages import (
    align,
    amounts,
    answers,
    emit,
    first,
    forecast,
    own_source,
    plan,
    reckon,
    records,
    run,
    scales,
    sheets,
    shelf,
    sources,
    spectra,
    work,
)
from truekev.web.site import STATIC, Site, new_site

__all__ = ["create_app"]

_PAGES = (
    first,
    answers,
    amounts,
    own_source,
    emit,
    align,
    spectra,
    scales,
    forecast,
    plan,
    run,
    shelf,
    sources,
    reckon,
    records,
    sheets,
    work,
)


def create_app(book_path: str | Path, *, hosts: Iterable[str] = (), password: str = "") -> FastAPI:
    """The web application over a bench book.

    Parameters
    ----------
    book_path : path
        The book; it is opened for writing where that is possible.
    hosts : iterable of str
        Names by which the server may be called, beside this machine's own.
    password : str
        Asked of everybody; needed as soon as other machines can reach it.

    Raises
    ------
    InputError
        No book, or a damaged one.
    """
    book = Book.open(book_path)
    tour = _Tour()

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        yield
        site.work.stop_all()
        tour.close()
        book.close()

    site = new_site(book, invented=is_invented(book))
    app = _pages(site, life)
    app.state.tour = tour
    app.mount("/invented", tour)
    app.add_middleware(Guard, hosts=tuple(hosts), password=password)
    return app


class _Tour:
    """The pages over the invented book, once it has been filled; every server has one of its own."""

    def __init__(self) -> None:
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._site: Site | None = None
        self._app: FastAPI | None = None
        self._lock = threading.Lock()

    @property
    def ready(self) -> bool:
        """Whether the book is there."""
        return self._app is not None

    def fill(self, report: Any) -> None:
        """Fill the book, unless it is there."""
        with self._lock:
            if self._app is not None:
                return
            folder = tempfile.TemporaryDirectory(prefix="truekev-tour-")
            try:
                fill_demo_book(Path(folder.name) / "invented.book", report).close()
                self._site = new_site(Book.open(Path(folder.name) / "invented.book"), invented=True)
            except BaseException:
                folder.cleanup()
                raise
            self._folder, self._app = folder, _pages(self._site, None)

    def close(self) -> None:
        """Throw the book away."""
        with self._lock:
            self._app = None
            if self._site is not None:
                self._site.book.close()
            if self._folder is not None:
                self._folder.cleanup()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer from the invented book, or say that it is not filled."""
        if self._app is None:
            await Response("The invented book is not filled yet; start the tour from the first page.", 404)(
                scope, receive, send
            )
            return
        await self._app(scope, receive, send)


def _pages(site: Site, life: Any) -> FastAPI:
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=life)
    app.state.site = site
    for topic in _PAGES:
        app.include_router(topic.router)
    app.add_api_route("/static/{name}", _static, methods=["GET"])
    app.add_exception_handler(TruekevError, _told)
    app.add_exception_handler(ValidationError, _not_valid)
    app.add_exception_handler(HTTPException, _not_there)
    app.add_exception_handler(RequestValidationError, _not_there)
    app.add_exception_handler(Exception, _fault)
    return app


def _static(name: str) -> Response:
    if name not in STATIC:
        raise HTTPException(404)
    data, media_type = STATIC[name]
    return Response(data, media_type=media_type, headers={"Cache-Control": "max-age=600"})


def _problem(request: Request, status: int, heading: str, problem: str) -> HTMLResponse:
    site: Site = request.app.state.site
    return site.page(request, "problem.html", status=status, heading=heading, problem=problem)


def _told(request: Request, error: Exception) -> HTMLResponse:
    if isinstance(error, RefusedError):
        return _problem(request, 409, "Refused", str(error))
    if isinstance(error, InputError):
        return _problem(request, 400, "This cannot be used", str(error))
    return _problem(request, 500, "It did not work", str(error))


def _not_valid(request: Request, error: Exception) -> HTMLResponse:
    try:
        with checked():
            raise error
    except InputError as told:
        return _told(request, told)


def _not_there(request: Request, error: Exception) -> HTMLResponse:
    status = error.status_code if isinstance(error, HTTPException) else 404
    if status == 404:
        return _problem(request, 404, "No such page", "There is no page of this address; the menu leads on.")
    return _problem(request, status, "This cannot be used", str(getattr(error, "detail", "")))


def _fault(request: Request, _error: Exception) -> HTMLResponse:
    return _problem(request, 500, "A fault of the program", "Nothing was kept. The terminal says more.")
