"""What is in a described source on a date: every member with its uncertainty, and when it is back in equilibrium."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from truekev.errors import FileFormatError, OutOfRangeError
from truekev.nuclides.history import date_after
from truekev.nuclides.names import nuclide
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.sources.components import components_of
from truekev.sources.settings import read_source_file
from truekev.tables.loader import table_versions

__all__ = ["ChainReport", "ComponentActivities", "chain_report"]

TOLERANCE = 0.01


@dataclass(frozen=True)
class ComponentActivities:
    """One component on the date.

    `days_to_equilibrium` counts the days until its members stay within 1 % of equilibrium with its head: 0 if
    they are, None if that takes more than 1000 years or there is nothing to come into equilibrium; the date is
    None likewise.
    """

    name: str
    activities: Mapping[str, Measured]
    half_lives_s: Mapping[str, Measured]
    days_to_equilibrium: float | None
    equilibrium_date: date | None


@dataclass(frozen=True)
class ChainReport:
    """Activities of a described source on a date.

    `series_days_to_equilibrium` maps every head of the source to the days until all that descends from it is in
    equilibrium with it, within 1 % (None: more than 1000 years). `relative` says that the file gives no activity,
    so that the numbers are per 1 Bq of the head.
    """

    name: str
    on: date
    relative: bool
    components: tuple[ComponentActivities, ...]
    series_days_to_equilibrium: Mapping[str, float | None]
    series_equilibrium_date: Mapping[str, date | None]
    record: Record


def chain_report(path: str | Path, on: date) -> ChainReport:
    """Read a source file and compute the activity of every member on the date.

    Raises
    ------
    FileFormatError
        The file cannot be used, gives no date to count from, or its history ends after `on`.
    """
    description = read_source_file(path)
    history = description.history
    if history is None:
        raise FileFormatError(
            "the file gives no date to count from; give reference_date or a dated [[separation]].",
            file=path,
            field="reference_date",
        )
    try:
        activities = history.activities_on(on)
    except OutOfRangeError as error:
        raise FileFormatError(str(error), file=path) from error
    parts = components_of({name: m.value for name, m in activities.items()})
    heads = {next(iter(part.activities_bq)): part for part in parts}
    waits = history.days_to_equilibrium(
        on, groups={head: tuple(part.activities_bq) for head, part in heads.items()}, tolerance=TOLERANCE
    )
    series = history.days_to_equilibrium(on, tolerance=TOLERANCE)
    return ChainReport(
        name=description.name,
        on=on,
        relative=not description.activity_known,
        components=tuple(
            ComponentActivities(
                name=part.name,
                activities={name: activities[name] for name in part.activities_bq},
                half_lives_s={name: _half_life(name) for name in part.activities_bq},
                days_to_equilibrium=waits.get(head),
                equilibrium_date=_day(on, waits.get(head)),
            )
            for head, part in heads.items()
        ),
        series_days_to_equilibrium=series,
        series_equilibrium_date={head: _day(on, days) for head, days in series.items()},
        record=Record.make([InputFile.of(path)], {"on": on, "tolerance": TOLERANCE}, table_versions()),
    )


def _half_life(name: str) -> Measured:
    return Measured(nuclide(name).half_life_s, nuclide(name).u_half_life_s, "s")


def _day(on: date, days: float | None) -> date | None:
    return None if days is None else date_after(on, days)
