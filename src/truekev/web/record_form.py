"""Forms for every kind of record, made from the models themselves, and read back into them."""

from __future__ import annotations

import re
import types
import typing
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import ValidationError

from truekev.book.body import Body, Value
from truekev.book.book import Book
from truekev.book.kinds import KINDS
from truekev.book.things import Instrument, Stock
from truekev.errors import InputError, UnknownNameError
from truekev.job.describe import SourceAnswers, description_of_detector, description_of_source
from truekev.matter.scintillators import known_scintillators
from truekev.sources.settings import read_source_text
from truekev.sources.words import source_words
from truekev.transport.detector import DEFAULT_DETECTOR, read_detector_text
from truekev.web.forms import Posted

__all__ = ["FORM_KINDS", "FormField", "body_of_form", "fields_of", "label_of"]

# Kinds that a person fills in; the others are made by the pages that work them out.
FORM_KINDS: dict[str, str] = {
    "stock": "Rods, reagents or equipment that were bought",
    "source": "A source to calibrate with",
    "find": "Something found that emits",
    "waste": "A jar of waste that waits",
    "departure": "A thing that has left the shelf",
    "upkeep": "A look, a wipe, a weighing",
    "instrument": "A spectrometer",
    "recovery": "The washed and dried oxide of a batch",
    "sample": "Something brought to be measured",
    "authority": "A question to the authority, and its reply",
    "house move": "The shelf moves house",
    "note": "A note about anything",
}

_UNITS = {
    "g": "g", "mm": "mm", "ml": "mL", "l": "L", "bq": "Bq", "percent": "%", "cm": "cm", "s": "s", "degc": "°C",
    "kev": "keV",
}  # fmt: skip
_WORDS = {
    "u_mass_g": "standard uncertainty of the mass, g",
    "u_thoria_percent": "standard uncertainty of the thoria content, %",
    "ids": "",
    "crystal": "crystal, in words, as CsI(Tl) cube 10 × 10 × 10 mm",
    "kept": "kept of each element in the oxide: one a line, as Ra = 0.97 (usual shares stand there)",
    "others_kept": "kept of all other elements, 0 to 1",
    "activities_bq": "activities: one a line, as Th-232 = 12 ± 8 (Bq)",
    "dose_rate": "dose rate, nGy/h",
    "wipe": "wipe, Bq",
    "n_channels": "number of channels",
    "n_washes": "number of washes",
    "electrode_class": "class of the electrodes, as WT20",
    "count": "pieces",
}
_VALUE_UNITS = {"dose_rate": "nGy/h", "wipe": "Bq"}
_LINE = re.compile(r"^\s*([A-Za-z0-9-]+)\s*=\s*([-+0-9.,eE]+)\s*(?:±\s*([0-9.,eE+-]+))?\s*(?:Bq)?\s*$")
_MOST_CHOICES = 500
_ANSWERS = (
    *("word", "nuclide", "activity", "activity.u", "on", "pieces", "distance"),
    *("scintillator", "shape", "width", "height", "depth"),
)


@dataclass(frozen=True)
class FormField:
    """One field as a form shows it; `form` is the way it is asked for, `problem` what was wrong with what was given."""

    name: str
    label: str
    form: str
    needed: bool
    value: Any = ""
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    problem: str = ""


def label_of(name: str) -> str:
    """A field's name in plain words, with its unit."""
    if name in _WORDS:
        return _WORDS[name]
    *words, last = name.split("_")
    if last in ("id", "ids"):
        return " ".join(words)
    if words and last in _UNITS:
        return f"{' '.join(words)}, {_UNITS[last]}"
    return " ".join([*words, last])


def _model(kind: str) -> type[Body]:
    if kind not in FORM_KINDS:
        raise UnknownNameError("kind of record", kind, FORM_KINDS)
    return KINDS[kind]


def _bare(annotation: Any) -> Any:
    """The type inside Annotated and Optional."""
    while True:
        if get_origin(annotation) is typing.Annotated:
            annotation = get_args(annotation)[0]
        elif get_origin(annotation) in (Union, types.UnionType):
            inner = [a for a in get_args(annotation) if a is not type(None)]
            annotation = inner[0]
        else:
            return annotation


def _form(name: str, model: type[Body], annotation: Any) -> str:
    bare = _bare(annotation)
    if name == "description":
        return "detector" if model is Instrument else "what"
    if name in model.refers:
        return "records" if get_origin(bare) is tuple else "record"
    if get_origin(bare) is Literal:
        return "choice"
    if get_origin(bare) is dict:
        return "activities" if "Value" in str(annotation) else "shares"
    forms = {Value: "value", bool: "yes", date: "day", datetime: "moment", float: "number", int: "number"}
    if bare in forms:
        return forms[bare]
    return "prose" if name in ("remarks", "text", "question", "reply", "description") else "line"


def fields_of(book: Book, kind: str, given: dict[str, Any]) -> tuple[FormField, ...]:
    """The fields of a kind in order, filled with what is `given` (texts, or a body's own values)."""
    model = _model(kind)
    found = []
    for name, info in model.model_fields.items():
        annotation = info.annotation if not info.metadata else info.rebuild_annotation()
        form = _form(name, model, annotation)
        value = given.get(name, "" if info.is_required() or info.default in (None, ()) else info.get_default())
        if info.default_factory is not None and name not in given:
            value = {}
        if form == "day" and name not in given and info.is_required():
            value = date.today().isoformat()
        choices: tuple[tuple[str, str], ...] = ()
        if form == "choice":
            choices = tuple((str(c), str(c)) for c in get_args(_bare(annotation)))
        elif form in ("record", "records"):
            choices = _records(book, model.refers[name])
        unit = _VALUE_UNITS.get(name, _UNITS.get(name.rsplit("_", 1)[-1], ""))
        if form in ("what", "detector"):
            found.append(_described(book, kind, form, value, given))
            continue
        found.append(FormField(name, label_of(name), form, info.is_required(), _shown(form, value), unit, choices))
    return tuple(found)


def _described(book: Book, kind: str, form: str, text: str, given: dict[str, Any]) -> FormField:
    """A description: asked for in a few answers, or as the text of a file."""
    answers = {name: given.get(f"answer.{name}", "") for name in (*_ANSWERS, "stock")}
    if "stock_id" in given and not answers["stock"]:
        answers["stock"] = str(given["stock_id"] or "")
    answers["text"] = text
    if form == "detector":
        choices = tuple((name, name) for name in known_scintillators())
        answers["scintillator"] = answers["scintillator"] or DEFAULT_DETECTOR.scintillator.name
    else:
        choices = tuple(source_words().items())
    rods = [record for record in book.current(Stock, limit=200) if record.body.what == "rods"]
    answers["rods"] = [(str(record.id), record.name) for record in rods] if kind == "source" else []
    return FormField("description", label_of("description"), form, False, answers, "", choices)


def _records(book: Book, kinds: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    lines = [line for kind in (kinds or (None,)) for line in book.lines(kind, limit=_MOST_CHOICES)]
    lines.sort(key=lambda line: -line.id)
    return tuple((str(line.id), f"{line.name} ({line.kind} {line.id})") for line in lines[:_MOST_CHOICES])


def _shown(form: str, value: Any) -> Any:
    if value is None:
        return ""
    if form == "value" and isinstance(value, Value):
        return (repr(value.value), repr(value.u))
    if form in ("activities", "shares") and isinstance(value, dict):
        return "\n".join(
            f"{k} = {v.value!r} ± {v.u!r}" if isinstance(v, Value) else f"{k} = {v!r}" for k, v in value.items()
        )
    if form == "records":
        return tuple(str(v) for v in value) if not isinstance(value, str) else tuple(filter(None, [value]))
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value


def body_of_form(book: Book, kind: str, posted: Posted) -> Body:
    """The record that a form describes.

    Raises
    ------
    InputError
        A field is missing or wrong; every such field is named.
    """
    model = _model(kind)
    entries: dict[str, Any] = {}
    for name, info in model.model_fields.items():
        annotation = info.annotation if not info.metadata else info.rebuild_annotation()
        form = _form(name, model, annotation)
        if form == "what":
            value: Any = _source_text(book, posted)
        elif form == "detector":
            value = _detector_text(posted)
        else:
            value = _read(name, form, posted)
        if value is not None:
            entries[name] = value
    try:
        return model.model_validate(entries)
    except ValidationError as error:
        told = [_told(item["loc"], item["msg"]) for item in error.errors()]
        raise InputError("; ".join(told) + ".") from None


def _source_text(book: Book, posted: Posted) -> str:
    if text := posted.text("description"):
        read_source_text(text, file="description")
        return text + "\n"
    stock = posted.record("answer.stock")
    pieces = posted.number("answer.pieces", "pieces in the bundle")
    activity = posted.measured("answer.activity", "Bq")
    answers = SourceAnswers(
        word=posted.text("answer.nuclide") or posted.text("answer.word"),
        activity_bq=activity,
        reference_date=posted.day("answer.on") if posted.text("answer.on") else None,
        stock=None if stock is None else book.get_as(stock, Stock).body,
        n_rods=None if pieces is None else int(pieces),
        distance_mm=posted.number("answer.distance", "distance to the detector, mm"),
    )
    return description_of_source(posted.text("name") or "source", answers)


def _detector_text(posted: Posted) -> str:
    if text := posted.text("description"):
        read_detector_text(text, file="description")
        return text + "\n"
    sizes = [posted.number(f"answer.{name}", name) for name in ("width", "height", "depth")]
    given = tuple(size for size in sizes if size is not None)
    if not given:
        return ""
    name = posted.text("crystal") or posted.text("name") or "detector"
    return description_of_detector(name, posted.text("answer.scintillator"), posted.text("answer.shape"), given)


def _told(path: tuple[int | str, ...], message: str) -> str:
    where = label_of(str(path[0])) if path else "the record"
    return f"{where}: {message.removeprefix('Value error, ')}"


def _read(name: str, form: str, posted: Posted) -> Any:
    match form:
        case "record":
            return posted.record(name)
        case "records":
            return posted.numbers_of_records(name)
        case "yes":
            return bool(posted.text(name))
        case "number":
            return posted.number(name, label_of(name))
        case "value":
            unit = _VALUE_UNITS.get(name, _UNITS.get(name.rsplit("_", 1)[-1], ""))
            return posted.measured(name, unit)
        case "activities":
            return {k: Value(value=v, u=u, unit="Bq") for k, v, u in _lines(name, posted)}
        case "shares":
            return {k: v for k, v, _ in _lines(name, posted)}
        case _:
            return posted.text(name) or None


def _lines(name: str, posted: Posted) -> list[tuple[str, float, float]]:
    found = []
    for line in filter(str.strip, posted.text(name).splitlines()):
        match = _LINE.match(line)
        try:
            assert match is not None
            value, u = (float((text or "0").replace(",", ".")) for text in (match[2], match[3]))
        except (AssertionError, ValueError):
            raise InputError(f"{label_of(name)}: the line {line[:60]!r} cannot be read.") from None
        found.append((match[1], value, u))
    return found
