"""From what a person gives (a word, a nuclide, a file) to a source."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from truekev.errors import FileFormatError, InputError, OutOfRangeError, UnknownNameError
from truekev.nuclides.names import known_nuclides
from truekev.sources.components import components_of
from truekev.sources.settings import NUCLIDES, SourceDescription, read_source_file
from truekev.sources.source import Body, EmittedLine, Source, SourceComponent
from truekev.sources.words import source_of_nuclide, source_of_word, source_words, word_entry

__all__ = [
    "Body",
    "EmittedLine",
    "Source",
    "SourceComponent",
    "resolve_source",
    "source_of_description",
    "source_words",
]

LOWEST_KEV, HIGHEST_KEV = 30.0, 3000.0
_FAINTEST_PER_DECAY = 1e-4


def resolve_source(word_or_path: str, *, on: date | None = None) -> Source:
    """The source that a word, a nuclide or a source file names.

    Parameters
    ----------
    word_or_path : str
        One of `source_words` (its natural set-up at contact), a nuclide (a point 10 cm away), or the path of a
        TOML file.
    on : date, optional
        The day to compute activities for; without it the last day of the file's history. Words and nuclides are
        relative to 1 Bq and have no date.

    Raises
    ------
    UnknownNameError
        Neither a word, nor a nuclide, nor a file.
    FileFormatError
        The file cannot be used; says where and why.
    InputError
        The source has no photon line between 30 and 3000 keV.
    """
    word = word_or_path.strip()
    if word.lower() in source_words():
        return source_of_word(word.lower())
    if word.lower().endswith(".toml") or Path(word).is_file():
        return source_of_description(read_source_file(word), on=on)
    try:
        source = source_of_nuclide(word)
    except UnknownNameError:
        advice = "A source is a word, a nuclide, or a file ending in .toml."
        raise UnknownNameError("source", word, [*source_words(), *known_nuclides()], advice) from None
    if not _has_lines(source):
        raise InputError(f"source {word}: {_NO_LINES}")
    return source


def source_of_description(description: SourceDescription, *, on: date | None = None) -> Source:
    """The source of a checked file, its activities on the day `on`."""
    history = description.history
    remarks: list[str] = []
    if history is not None:
        day = history.last_date if on is None else on
        try:
            activities = history.activities_on(day)
        except OutOfRangeError as error:
            raise FileFormatError(str(error), file=description.file) from error
        components = components_of(
            {name: m.value for name, m in activities.items()},
            {name: m.u for name, m in activities.items()},
            tied_to={} if description.kind == NUCLIDES else word_entry(description.kind).ties,
        )
    else:
        day = None
        components = _undated_components(description)
        if description.th232_bq is not None:
            remarks.append("No separation is dated, so the thorium counts as aged; the parts float.")
    if description.history_certain:
        components = _tied(components)
    if description.kind != NUCLIDES:
        remarks += word_entry(description.kind).remarks
        components += word_entry(description.kind).extra()
    source = Source(
        name=description.name,
        kind=description.kind,
        components=components,
        body=description.body,
        distance_mm=description.distance_mm,
        activity_known=description.activity_known,
        on=day,
        remarks=tuple(remarks),
    )
    if not _has_lines(source):
        raise FileFormatError(_NO_LINES, file=description.file, line=description.activities_line, field="activities_bq")
    return source


_NO_LINES = (
    f"it has no photon line between {LOWEST_KEV:.0f} and {HIGHEST_KEV:.0f} keV (at least one in ten thousand decays), "
    "so a spectrometer sees no peak of it; choose a source that has."
)


def _undated_components(description: SourceDescription) -> tuple[SourceComponent, ...]:
    activities = dict(word_entry(description.kind).activities())
    u: dict[str, float] = {}
    if description.th232_bq is not None:
        known = description.th232_bq
        u = {name: activity * known.u for name, activity in activities.items()}
        activities = {name: activity * known.value for name, activity in activities.items()}
    return components_of(activities, u, tied_to=word_entry(description.kind).ties)


def _tied(components: tuple[SourceComponent, ...]) -> tuple[SourceComponent, ...]:
    """All components tied to the first one, as a certain history allows."""
    first = components[0].name
    return tuple(replace(c, tied_to=None if c.name == first else first) for c in components)


def _has_lines(source: Source) -> bool:
    total = sum(source.activities_bq.values())
    seen = (line for component in source.components for line in component.lines(_FAINTEST_PER_DECAY * total))
    return any(LOWEST_KEV <= line.energy_kev <= HIGHEST_KEV for line in seen if line.nuclide)
