"""What all pages share: the book, the templates, the work, the token; and how a page is put together."""

from __future__ import annotations

import re
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from importlib import resources
from typing import Annotated, Any

from fastapi import Depends, Request
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response

from truekev.book.book import Book
from truekev.book.kinds import KINDS
from truekev.errors import RefusedError
from truekev.version import __version__
from truekev.web.forms import TOKEN
from truekev.web.tour import TourStop, tour_stops
from truekev.web.work import Report, WorkList

__all__ = ["DRAWING", "STATIC", "Site", "SiteOf", "new_site"]

# The drawing library and the typesetter serve one thread at a time.
DRAWING = threading.Lock()

# Every file that is served, read once: no part of a request is ever used as a path.
STATIC: dict[str, tuple[bytes, str]] = {
    entry.name: (entry.read_bytes(), "text/css" if entry.name.endswith(".css") else "text/javascript")
    for entry in resources.files("truekev.web").joinpath("static").iterdir()
    if entry.name.endswith((".css", ".js"))
}


_OPTION = re.compile(r" \(--[^)]*\)")


@dataclass
class Site:
    """One book with its pages.

    `invented` says that it is the book of the tour, whose changes are thrown away. `token` stands in every form.
    """

    book: Book
    title: str
    environment: Environment
    invented: bool = False
    stops: tuple[TourStop, ...] = ()
    work: WorkList = field(default_factory=WorkList)
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    def page(self, request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
        """A page from a template."""
        base = request.scope.get("root_path", "")
        text = self.environment.get_template(template).render(
            base=base,
            path=request.url.path.removeprefix(base),
            book_title=self.title,
            writable=self.book.write,
            invented=self.invented,
            running=self.work.running(),
            form_token=self.token,
            token_name=TOKEN,
            today=date.today(),
            version=__version__,
            kinds=tuple(KINDS),
            stop=self._stop(request),
            stops=self.stops,
            **values,
        )
        return HTMLResponse(text, status_code=status)

    def _stop(self, request: Request) -> int | None:
        """Number of the tour's stop that the address names, from 1."""
        text = request.query_params.get("stop", "")
        number = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0
        return number if 1 <= number <= len(self.stops) else None

    def start(self, request: Request, title: str, run: Callable[[Report], str], back: tuple[str, str]) -> Response:
        """Start work whose result is kept in the book, and lead to its page.

        Raises
        ------
        RefusedError
            The book cannot be written here, or too much is waiting already.
        """
        if not self.book.write:
            raise RefusedError("This book can be read here, not written, so no answer could be kept.",
                               "copy it to a place where it can be written.")  # fmt: skip
        return self.to(request, f"/work/{self.work.start(title[:200], run, back=back).number}")

    def to(self, request: Request, address: str) -> RedirectResponse:
        """The answer to a form that was taken: look there."""
        return RedirectResponse(request.scope.get("root_path", "") + address, status_code=303)


def new_site(book: Book, *, invented: bool = False) -> Site:
    """Pages over an open book."""
    environment = Environment(
        loader=PackageLoader("truekev.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["plainly"] = _plainly
    environment.filters["moment"] = _moment
    environment.filters["duration"] = _duration
    environment.filters["figures"] = _figures
    return Site(book, book.facts()["title"], environment, invented, tour_stops(book) if invented else ())


def _plainly(words: str) -> str:
    """A sentence without the hint at an option of the command line that ends it."""
    return _OPTION.sub("", words)


def _moment(value: datetime | None) -> str:
    """A local time; what carries an offset (as the time of writing does) is told in local time too."""
    if value is None:
        return ""
    local = value.astimezone() if value.tzinfo is not None else value
    return f"{local:%a %d %b %Y, %H:%M}"


def _duration(seconds: float | None) -> str:
    """A counting time in words."""
    if seconds is None:
        return "not given"
    if seconds < 120:
        return f"{seconds:.4g} s"
    if seconds < 7200:
        return f"{seconds / 60:.4g} min"
    return f"{seconds / 3600:.4g} h"


def _figures(value: float) -> str:
    """Three figures, whole numbers above a thousand."""
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def _site_of(request: Request) -> Site:
    site: Site = request.app.state.site
    return site


SiteOf = Annotated[Site, Depends(_site_of)]
