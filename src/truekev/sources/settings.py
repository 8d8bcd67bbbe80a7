"""The file that describes a source: TOML that a person writes, checked here, with a commented template."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, field_validator

from truekev.errors import FileFormatError, InputError, UnknownNameError
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.history import History, Separation, moment
from truekev.nuclides.names import known_nuclides, nuclide, nuclide_name
from truekev.quantity import Measured
from truekev.sources.source import Body
from truekev.sources.stock import electrode_class, th232_bq_of_oxide, th232_bq_of_rods
from truekev.sources.words import NUCLIDE_DISTANCE_MM, source_words, word_entry
from truekev.toml_text import line_of_key

__all__ = ["SourceDescription", "read_source_file", "read_source_text", "word_heads"]

NUCLIDES = "nuclides"
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Day = Annotated[date | datetime, AfterValidator(lambda day: (moment(day), day)[1])]
_Pair = Annotated[list[NotNegative], Field(min_length=2, max_length=2)]
_STRICT = ConfigDict(extra="forbid", frozen=True, strict=True)


class _SeparationEntry(BaseModel):
    model_config = _STRICT
    on: Day
    kept: dict[str, Fraction] = {}
    others_kept: Fraction = 1.0
    u_kept: dict[str, Fraction] = {}


class _BodyEntry(BaseModel):
    model_config = _STRICT
    form: Literal["point", "disc", "vial", "resin", "bag", "rods", "surroundings"] | None = None
    material: str | None = None
    n_rods: Annotated[int, Field(ge=1)] | None = None
    diameter_mm: Positive | None = None
    length_mm: Positive | None = None
    electrode_class: str | None = None
    rods_mass_g: Positive | None = None
    thoria_fraction: Fraction | None = None
    u_thoria_fraction: Fraction | None = None
    oxide_mass_g: Positive | None = None
    u_oxide_mass_g: NotNegative = 0.0
    fill_height_mm: Positive | None = None
    inner_diameter_mm: Positive | None = None
    wall_mm: Positive | None = None
    bulk_density_g_cm3: Positive | None = None
    tungsten_fraction: Fraction | None = None
    wall_material: str | None = None
    arrangement: Literal["side by side", "bundled"] | None = None
    counted_length_mm: Positive | None = None
    salt_mass_g: Positive | None = None


class _SourceFile(BaseModel):
    model_config = _STRICT
    name: Annotated[str, Field(min_length=1)]
    kind: str
    distance_mm: NotNegative | None = None
    reference_date: Day | None = None
    aged: bool | None = None
    history_certain: bool = False
    activities_bq: dict[str, NotNegative | _Pair] = {}
    separation: list[_SeparationEntry] = []
    radon_escape: dict[str, Fraction] = {}
    body: _BodyEntry = _BodyEntry()

    @field_validator("kind")
    @classmethod
    def _known_kind(cls, kind: str) -> str:
        words = [NUCLIDES, *source_words()]
        if kind not in words:
            raise UnknownNameError("kind", kind, words, f"Use {NUCLIDES} or one of: {', '.join(words[1:])}.")
        return kind


@dataclass(frozen=True)
class SourceDescription:
    """A source file after its checks.

    `history` is None where the file gives no date; then activities are relative or, with `th232_bq` known from
    rods or oxide, hold for aged thorium. `history_certain` says that the ratios between components may be trusted.
    `activities_line` is the line of [activities_bq] in the file.
    """

    file: str
    name: str
    kind: str
    distance_mm: float
    body: Body
    history: History | None
    history_certain: bool
    th232_bq: Measured | None
    activity_known: bool
    activities_line: int | None


def _field_name(path: tuple[str | int, ...]) -> str:
    name = ""
    for part in path:
        name += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if name else part
    return name


class _Reader:
    """Holds the file's name and text so that every complaint says where."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text

    def complaint(self, problem: str, *path: str | int) -> FileFormatError:
        field = _field_name(path) or None
        return FileFormatError(problem, file=self.file, line=line_of_key(self.text, path), field=field)

    def parse(self) -> _SourceFile:
        try:
            entries = tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            where = re.search(r"line (\d+)", str(error))
            line = int(where[1]) if where else len(self.text.splitlines())
            said = re.sub(r"\s*\(at .*\)", "", str(error))
            raise FileFormatError(f"not valid TOML: {said}.", file=self.file, line=line) from error
        try:
            return _SourceFile.model_validate(entries)
        except ValidationError as error:
            path, problem = _first_problem(error)
            raise self.complaint(problem, *path) from error

    def nuclide_keys(self, table: str, values: Mapping[str, Any]) -> dict[str, Any]:
        named: dict[str, Any] = {}
        for key, value in values.items():
            try:
                name = nuclide_name(key)
            except InputError as error:
                raise self.complaint(str(error), table, key) from error
            for other in named:
                if nuclide(other).booked_with == name or nuclide(name).booked_with == other:
                    raise self.complaint(
                        f"the photons of {name} and {other} stand together in the tables, as the short-lived one "
                        "follows the other; keep the longer-lived one only.",
                        *(table, key),
                    )
            if name in named:
                raise self.complaint(f"{name} is given twice; keep one.", table, key)
            named[name] = value
        return named

    def read(self) -> SourceDescription:
        entry = self.parse()
        measured = {
            name: Measured(value[0], value[1], "Bq") if isinstance(value, list) else Measured(value, 0.0, "Bq")
            for name, value in self.nuclide_keys("activities_bq", entry.activities_bq).items()
        }
        if entry.kind == NUCLIDES and not measured:
            raise self.complaint("kind nuclides needs at least one activity under [activities_bq].", "kind")
        body = self.body(entry)
        th232 = self.th232_of_body(entry, body)
        if th232 is not None and measured:
            raise self.complaint(
                "the body gives the thorium activity as well; leave out [activities_bq], or the body's "
                "electrode_class, thoria_fraction or oxide_mass_g.",
                "activities_bq",
            )
        if th232 is not None:
            measured = {"Th-232": th232}
        history = self.history(entry, measured)
        if entry.history_certain and history is None:
            raise self.complaint(
                "a certain history needs dates; give reference_date or a separation.", "history_certain"
            )
        default_mm = NUCLIDE_DISTANCE_MM if entry.kind == NUCLIDES else 0.0
        return SourceDescription(
            file=self.file,
            name=entry.name,
            kind=entry.kind,
            distance_mm=default_mm if entry.distance_mm is None else entry.distance_mm,
            body=body,
            history=history,
            history_certain=entry.history_certain,
            th232_bq=th232,
            activity_known=bool(measured),
            activities_line=line_of_key(self.text, ("activities_bq",)),
        )

    def body(self, entry: _SourceFile) -> Body:
        body = Body("point") if entry.kind == NUCLIDES else word_entry(entry.kind).body
        if entry.body.form not in (None, body.form):
            body = Body(str(entry.body.form))
        given = {f.name: getattr(entry.body, f.name) for f in fields(Body)}
        body = replace(body, **{name: value for name, value in given.items() if value is not None})
        if entry.body.bulk_density_g_cm3 is not None:
            body = self.filled(entry, body, entry.body.bulk_density_g_cm3)
        if entry.body.electrode_class is not None:
            if entry.body.thoria_fraction is not None:
                raise self.complaint("give electrode_class or thoria_fraction, not both.", "body", "thoria_fraction")
            try:
                of_class = electrode_class(entry.body.electrode_class)
            except InputError as error:
                raise self.complaint(str(error), "body", "electrode_class") from error
            return replace(body, thoria_fraction=of_class.fraction, u_thoria_fraction=of_class.u_fraction)
        if entry.body.thoria_fraction is not None and entry.body.u_thoria_fraction is None:
            return replace(body, u_thoria_fraction=0.0)
        return body

    def filled(self, entry: _SourceFile, body: Body, bulk_g_cm3: float) -> Body:
        """The body with its fill height from the powder's bulk density."""
        if entry.body.fill_height_mm is not None:
            raise self.complaint("give fill_height_mm or bulk_density_g_cm3, not both.", "body", "bulk_density_g_cm3")
        if body.oxide_mass_g is None or body.inner_diameter_mm is None:
            raise self.complaint(
                "a bulk density needs oxide_mass_g and inner_diameter_mm beside it.", "body", "bulk_density_g_cm3"
            )
        powder_g = body.oxide_mass_g / max(1.0 - (body.tungsten_fraction or 0.0), 0.05)
        height_mm = powder_g / bulk_g_cm3 / (math.pi / 4 * body.inner_diameter_mm**2) * 1e3
        return replace(body, fill_height_mm=height_mm)

    def th232_of_body(self, entry: _SourceFile, body: Body) -> Measured | None:
        """Th-232 activity where the file itself states what the body holds; a word's own body is only an example."""
        if body.form == "rods" and (entry.body.electrode_class or entry.body.thoria_fraction is not None):
            for name in ("n_rods", "diameter_mm", "length_mm"):
                if getattr(entry.body, name) is None:
                    raise self.complaint(f"{name} is needed to know how much thorium the rods hold.", "body", name)
            try:
                return th232_bq_of_rods(
                    n_rods=body.n_rods or 1,
                    diameter_mm=body.diameter_mm or 0.0,
                    length_mm=body.length_mm or 0.0,
                    thoria_fraction=body.thoria_fraction or 0.0,
                    u_thoria_fraction=body.u_thoria_fraction or 0.0,
                    mass_g=entry.body.rods_mass_g,
                )
            except InputError as error:
                raise self.complaint(str(error), "body", "rods_mass_g") from error
        if body.form in ("vial", "resin") and entry.body.oxide_mass_g is not None:
            return th232_bq_of_oxide(entry.body.oxide_mass_g, entry.body.u_oxide_mass_g)
        return None

    def history(self, entry: _SourceFile, measured: Mapping[str, Measured]) -> History | None:
        first = entry.separation[0].on if entry.separation else None
        reference = entry.reference_date or first
        if reference is None:
            if entry.activities_bq:
                raise self.complaint(
                    "reference_date is missing; give the day on which the activities hold.", "activities_bq"
                )
            return None
        before = reference
        for i, separation in enumerate(entry.separation):
            if moment(separation.on) < moment(before):
                raise self.complaint(
                    f"the separation on {separation.on} comes before {before}; put separations in the order of their "
                    "dates, and as reference_date the day of the first one or an earlier day.",
                    *("separation", i, "on"),
                )
            before = separation.on
            for element in separation.kept:
                if element not in _elements():
                    raise self.complaint(
                        f"{element!r} is no element of the tables; write its symbol, as Ra.", "separation", i, "kept"
                    )
            for element in separation.u_kept:
                if element not in separation.kept:
                    raise self.complaint(
                        f"u_kept names {element}, kept does not: give the fraction and its uncertainty.",
                        *("separation", i, "u_kept"),
                    )
        escape = self.nuclide_keys("radon_escape", entry.radon_escape)
        for key in entry.radon_escape:
            if not nuclide_name(key).startswith("Rn-"):
                raise self.complaint("only radon (Rn-219, Rn-220, Rn-222) escapes as a gas.", "radon_escape", key)
        values = {name: m.value for name, m in measured.items()} or word_heads(entry.kind)
        aged = entry.aged if entry.aged is not None else entry.kind != NUCLIDES
        if aged and (fed := _fed_by_another(values)) is not None:
            raise self.complaint(
                f"{fed} is a descendant of another nuclide given here; with aged = true its activity follows from that "
                "one: leave it out, or set aged = false and give every nuclide.",
                *("activities_bq", fed),
            )
        return History(
            activities_bq=values,
            reference_date=reference,
            u_activities_bq={name: m.u for name, m in measured.items()},
            separations=tuple(Separation(s.on, s.kept, s.others_kept, s.u_kept) for s in entry.separation),
            radon_escape=escape,
            aged=aged,
        )


def _elements() -> set[str]:
    return {name.partition("-")[0] for name in known_nuclides()}


def word_heads(kind: str) -> dict[str, float]:
    """The nuclides of a word that nothing else in it feeds, relative."""
    activities = word_entry(kind).activities()
    fed = {d for name in activities for d in DecayChain.of([name]).members[1:]}
    return {name: activity for name, activity in activities.items() if name not in fed}


def _fed_by_another(values: Mapping[str, float]) -> str | None:
    for name in values:
        for descendant in DecayChain.of([name]).members[1:]:
            if descendant in values:
                return descendant
    return None


def _first_problem(error: ValidationError) -> tuple[tuple[str | int, ...], str]:
    """Path and sentence of the first and deepest thing that pydantic found."""
    cleaned = [
        (tuple(part for part in found["loc"] if not (isinstance(part, str) and _UNION_BRANCH.search(part))), found)
        for found in error.errors()
    ]
    first = cleaned[0][0]
    path, found = max((entry for entry in cleaned if entry[0][: len(first)] == first), key=lambda entry: len(entry[0]))
    given = found["input"]
    if path and path[0] == "activities_bq" and found["type"] != "greater_than_equal":
        return path, f"{given!r} was given; an activity is a number of Bq, or [value, standard uncertainty]."
    match found["type"]:
        case "extra_forbidden":
            return path, "this key is not known; `truekev new source` prints all that are."
        case "missing":
            return path, f"{path[-1]} is missing."
        case "value_error":
            return path, str(found["ctx"]["error"])
        case _:
            return path, f"{given!r} was given; {found['msg'][0].lower()}{found['msg'][1:]}."


_UNION_BRANCH = re.compile(r"^(constrained-|list\[|float$|date$|datetime$|function-)")


def read_source_file(path: str | Path) -> SourceDescription:
    """Read and check a source file.

    Raises
    ------
    FileFormatError
        The file cannot be read or a value cannot be: names file, line and field.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not text in UTF-8"
        raise FileFormatError(f"cannot be read ({why}).", file=file) from error
    return read_source_text(text, file=str(path))


def read_source_text(text: str, *, file: str) -> SourceDescription:
    """Check the text of a source file; `file` is what messages call it.

    Raises
    ------
    FileFormatError
        A value cannot be: names file, line and field.
    """
    return _Reader(file, text).read()
