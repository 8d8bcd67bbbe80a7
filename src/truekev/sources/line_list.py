"""The photon lines of nuclides and of sources, chosen by intensity and energy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.nuclides.lines import PhotonLine, photon_lines
from truekev.nuclides.names import known_nuclides, nuclide, nuclide_name
from truekev.record import InputFile, Record
from truekev.sources.described import resolve_source
from truekev.sources.source import EmittedLine
from truekev.sources.words import source_words
from truekev.tables.loader import table_versions

__all__ = ["LineList", "SourceLine", "line_list"]


@dataclass(frozen=True)
class SourceLine:
    """A line of a component of a source; where the activity is unknown, its rate is per Bq of the source's head."""

    source: str
    component: str
    line: EmittedLine


@dataclass(frozen=True)
class LineList:
    """Lines of nuclides (photons per decay) and of sources (photons per second), each sorted by energy.

    `remarks` say where an evaluation gives the photons of an isomer under its parent.
    """

    nuclide_lines: tuple[PhotonLine, ...]
    source_lines: tuple[SourceLine, ...]
    remarks: tuple[str, ...]
    record: Record


def line_list(
    names: Iterable[str],
    *,
    min_intensity: float = 0.0,
    lowest_kev: float = 0.0,
    highest_kev: float = 1e6,
    on: date | None = None,
) -> LineList:
    """Lines of all `names` (nuclides, source words, source files) between two energies.

    Parameters
    ----------
    names : iterable of str
        A nuclide gives its own lines; a source word or file those of all its components.
    min_intensity : float
        Fewest photons per decay (of a source: per second at its activities) that a line needs.
    lowest_kev, highest_kev : float
        Range of energy [keV].
    on : date, optional
        The day for which source files are computed; without it the last day of their history.

    Raises
    ------
    UnknownNameError
        A name that is neither nuclide nor source.
    OutOfRangeError
        A range that is empty, or a negative intensity.
    InputError
        No line is left.
    """
    if not 0 <= lowest_kev < highest_kev:
        raise OutOfRangeError(f"range {lowest_kev:g}:{highest_kev:g} keV: the first must be lower, and not negative.")
    if not 0 <= min_intensity < float("inf"):
        raise OutOfRangeError(f"least intensity {min_intensity}: it must not be negative.")
    given = list(dict.fromkeys(names))
    of_nuclides: list[PhotonLine] = []
    of_sources: list[SourceLine] = []
    files: list[InputFile] = []
    for name in given:
        is_file = name.strip().lower().endswith(".toml")
        if is_file or name.strip().lower() in source_words():
            source = resolve_source(name, on=on)
            files += [InputFile.of(name.strip())] if is_file else []
            of_sources += [
                SourceLine(source.name, part, line)
                for part, lines in source.lines(min_intensity).items()
                for line in lines
                if lowest_kev <= line.energy_kev <= highest_kev
            ]
        else:
            of_nuclides += [
                line
                for line in photon_lines(_nuclide(name), min_intensity=min_intensity)
                if lowest_kev <= line.energy_kev <= highest_kev
            ]
    if not of_nuclides and not of_sources:
        raise InputError(
            f"{', '.join(given)}: no photon line of at least {min_intensity:g} per decay (source: per second) from "
            f"{lowest_kev:g} to {highest_kev:g} keV; widen the range or lower the intensity."
        )
    settings = {"names": given, "min_intensity": min_intensity, "range_kev": [lowest_kev, highest_kev], "on": on}
    return LineList(
        nuclide_lines=tuple(sorted(of_nuclides, key=lambda line: line.energy_kev)),
        source_lines=tuple(sorted(of_sources, key=lambda entry: entry.line.energy_kev)),
        remarks=tuple(_remarks({line.nuclide for line in of_nuclides})),
        record=Record.make(files, settings=settings, tables=table_versions()),
    )


def _remarks(names: set[str]) -> list[str]:
    return [
        f"The lines of {name} include those of {nuclide(name).booked_with}, in equilibrium with it; do not add both."
        for name in sorted(names)
        if nuclide(name).booked_with
    ]


def _nuclide(name: str) -> str:
    try:
        return nuclide_name(name)
    except UnknownNameError:
        raise UnknownNameError("nuclide or source", name, [*known_nuclides(), *source_words()]) from None
