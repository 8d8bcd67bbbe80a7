"""The part of a form that describes a sample: where it stood, what it is made of; read into a sample file."""

from __future__ import annotations

from collections.abc import Mapping

from truekev.book.book import Book
from truekev.book.records import RecordLine
from truekev.book.things import Find, Source, Stock
from truekev.book.work import Result, SpectrumFile
from truekev.errors import FileFormatError, InputError
from truekev.job.book_sample import sample_text, thing_described
from truekev.samples.sample_file import known_matter, read_sample_text
from truekev.web.asked import Asked, FieldGroup
from truekev.web.forms import Posted
from truekev.web.record_form import FormField

__all__ = [
    "NO_SPECTRUM",
    "body_group",
    "choices_of",
    "counted_spectra",
    "described_things",
    "kept_answers",
    "place_group",
    "read_sample",
    "surroundings_group",
    "usual_thing",
    "whole_pieces",
]

_FORMS = (
    ("point", "a point, or something small"),
    ("disc", "a disc, lying flat"),
    ("cylinder", "a jar, its bottom towards the detector"),
    ("bag", "a bag, sizes as it lies"),
)
_SIZES = {"diameter_mm": "diameter, mm", "height_mm": "height or thickness, mm", "mass_g": "mass, g"}
_SCATTER = {
    "back": ("back out of something thick behind it", 1.0, 1.0),
    "forward": ("forward", 0.5, 0.7),
    "side": ("from the side", 0.0, 0.5),
    "once": ("back just once", 0.0, 0.4),
}
_MOST, _KEPT = 300, 12
NO_SPECTRUM = "The book holds no spectrum yet: add the count first, with a scale that fits it."
_TEMPLATE = "; `truekev new sample` prints a template."


def counted_spectra(book: Book) -> dict[int, str]:
    """Spectra that can be asked about, newest first: number to words."""
    found = book.current(SpectrumFile, limit=_MOST)
    return {
        one.id: f"{one.name}{'' if one.body.start is None else f', {one.body.start:%d %b %Y}'} (spectrum {one.id})"
        for one in found
        if one.body.role not in ("background", "intrinsic")
    }


def described_things(book: Book) -> dict[int, str]:
    """Sources, finds and rods whose body is known: number to words."""
    rods = [one for one in book.current(Stock, limit=_MOST) if one.body.what == "rods"]
    sources = book.current(Source, limit=_MOST)
    finds = [one for one in book.current(Find, limit=_MOST) if one.body.description.strip()]
    return {
        one.id: f"{one.name} ({'rods' if one.kind == 'stock' else one.kind} {one.id})"
        for one in (*sources, *rods, *finds)
    }


def choices_of(found: Mapping[int, str]) -> tuple[tuple[str, str], ...]:
    """Records as a field offers them."""
    return tuple((str(number), words) for number, words in found.items())


def kept_answers(book: Book, *names: str) -> list[RecordLine]:
    """The newest answers whose names begin with one of these; without their bodies, which may be long."""
    return [line for line in book.lines(Result.kind, limit=1000) if line.name.startswith(names)][:_KEPT]


def usual_thing(book: Book, posted: Posted) -> str:
    """The described thing that the named spectrum was counted of; empty where the book does not say."""
    number, known = posted.text("spectrum"), described_things(book)
    if not (number.isascii() and number.isdigit() and int(number) in counted_spectra(book)):
        return ""
    things = [book.newest(one).id for one in book.get_as(int(number), SpectrumFile).body.thing_ids]
    return next((str(thing) for thing in things if thing in known), "")


def place_group(distance_mm: str, u_distance_mm: str) -> FieldGroup:
    """Where the sample stood."""
    return FieldGroup(
        "Where it stood",
        (
            FormField(
                "distance_mm",
                "distance from the housing's front to its nearest point",
                "value",
                True,
                (distance_mm, u_distance_mm),
                "mm",
            ),
        ),
    )


def body_group(*, title: str = "What it is") -> FieldGroup:
    """What the sample is, where it is nothing that the book describes."""
    sizes = tuple(FormField(name, label, "number", False) for name, label in _SIZES.items())
    return FieldGroup(
        title,
        (
            FormField("form", "form", "choice", True, "point", "", _FORMS),
            FormField("material", "matter", "choice", True, "soil", "", tuple((m, m) for m in known_matter())),
            *sizes,
            FormField("wall_mm", "wall of plastic towards the detector, mm", "number", False, "0"),
        ),
    )


def surroundings_group() -> FieldGroup:
    """What a known source has told of the place."""
    scatter = tuple(
        FormField(name, f"scattered {words}", "value", False, (f"{value:g}", f"{u:g}"), "")
        for name, (words, value, u) in _SCATTER.items()
    )
    return FieldGroup(
        "What a known source told of this place",
        (
            FormField("extra_distance_mm", "how much deeper the crystal sits", "value", False, ("0", "0"), "mm"),
            *scatter,
            FormField(
                "u_efficiency", "standard uncertainty of the computed efficiency, %", "number", False, "7",
                hint="7 % where sizes are known, 10 % for a point that nobody measured",
            ),
        ),
        folded=True,
    )  # fmt: skip


def read_sample(
    asked: Asked, book: Book, name: str, thing_id: int | None, n_rods: int | None, *, prefix: str = ""
) -> str:
    """The text of the sample's file, checked; problems are noted at their fields.

    With a thing of the book the body is that one's, and form and matter are passed over.
    """
    others = set(asked.wrong)
    distance = asked.measured(f"{prefix}distance_mm", "distance", "mm")
    if distance is not None and distance.value < 0:
        asked.wrong[f"{prefix}distance_mm"] = f"distance: {distance.value:g} mm is below zero."
    if distance is None:
        asked.wrong.setdefault(f"{prefix}distance_mm", "distance: a number with its uncertainty is needed.")
    body: dict[str, str | float] = {}
    if thing_id is not None:
        asked.noted(f"{prefix}thing_id", lambda: thing_described(book, thing_id, n_rods))
    elif not prefix and asked.posted.text("form") not in ("", "point"):
        body = _body(asked)
    more, surroundings = _more(asked)
    if set(asked.wrong) - others or distance is None:
        return ""
    text = sample_text(name, distance.value, distance.u, body, more=more, surroundings=surroundings)
    try:
        read_sample_text(text, file="the sample")
    except FileFormatError as error:
        field = (error.field or "distance_mm").rpartition(".")[2]
        field = (
            field
            if field in (*_SIZES, *_SCATTER, "form", "material", "wall_mm", "extra_distance_mm")
            else "distance_mm"
        )
        asked.wrong[f"{prefix}{field}" if field == "distance_mm" else field] = _said(error.problem)
    return text


def _said(problem: str) -> str:
    """A complaint about a file in the words of the page."""
    for name, label in _SIZES.items():
        problem = problem.replace(name, label.partition(",")[0])
    return problem.replace(_TEMPLATE, ".")


def _body(asked: Asked) -> dict[str, str | float]:
    body: dict[str, str | float] = {"form": asked.posted.text("form"), "material": asked.posted.text("material")}
    for name, label in _SIZES.items():
        value = asked.number(name, label)
        if value is not None:
            body[name] = value
    wall = asked.number("wall_mm", "wall")
    if wall:
        body["wall_mm"] = wall
    return body


def _more(asked: Asked) -> tuple[Mapping[str, float], Mapping[str, float]]:
    more: dict[str, float] = {}
    extra = asked.measured("extra_distance_mm", "how much deeper the crystal sits", "mm")
    if extra is not None:
        more = {"extra_distance_mm": extra.value, "u_extra_distance_mm": extra.u}
    percent = asked.number("u_efficiency", "uncertainty of the efficiency", least=0.0, most=99.0)
    if percent is not None:
        more["u_efficiency"] = percent / 100
    surroundings: dict[str, float] = {}
    for name, (words, _, _) in _SCATTER.items():
        value = asked.measured(name, f"scattered {words}", "")
        if value is not None:
            surroundings |= {name: value.value, f"u_{name}": value.u}
    return more, surroundings


def whole_pieces(asked: Asked, name: str) -> int | None:
    """How many rods were counted."""

    def read() -> int | None:
        value = asked.posted.number(name, "pieces")
        if value is None:
            return None
        if value < 1 or value != int(value):
            raise InputError(f"pieces: {value:g} is no number of rods.")
        return int(value)

    return asked.noted(name, read)
