"""The page of a question with a form: the same for every question, with what is wrong beside its field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from fastapi import Request
from starlette.responses import Response

from truekev.book.book import Book
from truekev.safety.cautions import Caution
from truekev.web.asked import FieldGroup, shown_groups
from truekev.web.forms import Posted
from truekev.web.sample_form import NO_SPECTRUM, counted_spectra, kept_answers
from truekev.web.site import Site

__all__ = ["Question", "address_fields"]

_MOST_CHARACTERS = 300


@dataclass(frozen=True)
class Question:
    """What is asked on a page.

    Parameters
    ----------
    heading, under
        Title, and the line below it.
    groups
        The form's fields, of the book and of what was sent or stands in the address.
    gives : tuple of str
        What the answer will tell.
    kept_name : str
        How names of its kept answers begin.
    button : str
    cautions : tuple of Caution
    many_files, needs_spectrum : bool
        Whether several files are sent at once; whether nothing can be asked of a book without spectra.
    """

    heading: str
    under: str
    groups: Callable[[Book, Posted], tuple[FieldGroup, ...]]
    gives: tuple[str, ...]
    kept_name: str
    button: str = "Work it out"
    cautions: tuple[Caution, ...] = field(default=())
    many_files: bool = False
    needs_spectrum: bool = False

    def page(
        self, request: Request, site: Site, posted: Posted, wrong: dict[str, str], *, sent: bool = False
    ) -> Response:
        """The form as it stands in `posted`; `sent` where a person filled it."""
        lacking = self.needs_spectrum and not counted_spectra(site.book)
        return site.page(
            request,
            "question.html",
            status=400 if wrong else 200,
            heading=self.heading,
            under=self.under,
            groups=shown_groups(self.groups(site.book, posted), posted, wrong, filled=sent),
            wrong=wrong,
            button=self.button,
            many_files=self.many_files,
            cautions_of=self.cautions,
            gives=self.gives,
            kept=kept_answers(site.book, self.kept_name),
            nothing=NO_SPECTRUM if lacking else "",
            nothing_at="/spectra/new?then=keep" if lacking else "",
        )


def address_fields(request: Request) -> Posted:
    """Fields that the page's address fills."""
    return Posted({name: (value[:_MOST_CHARACTERS],) for name, value in request.query_params.items()}, {})
