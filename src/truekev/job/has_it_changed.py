"""Has the instrument changed: the control source counted again and again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from truekev.errors import InputError
from truekev.nuclides.history import History
from truekev.nuclides.names import nuclide_name
from truekev.record import Record
from truekev.samples.control import InstrumentCharts, Reading, decay_of, history_strength, instrument_charts
from truekev.samples.run_length import average_run_length
from truekev.tables.loader import table_versions

__all__ = ["ControlReport", "has_it_changed"]


@dataclass(frozen=True)
class ControlReport:
    """Charts and verdict; `points_to_false_alarm` is the mean number of readings until a chart of three errs."""

    charts: InstrumentCharts
    points_to_false_alarm: float
    record: Record


def has_it_changed(
    readings: Sequence[Reading],
    source: str | History,
    *,
    reference: date | datetime | None = None,
    member: str = "Th-228",
    n_first: int = 20,
) -> ControlReport:
    """Judge the readings of a control source.

    Parameters
    ----------
    readings : sequence of Reading
        In the order of time.
    source : str or History
        A nuclide whose decay the strength follows, or the history of a source with parts that grow in.
    reference : date or datetime, optional
        Date to which strengths are carried; that of the first reading if left out.
    member : str
        Member of the history that the strength is that of.
    n_first : int
        How many first readings set the limits.

    Raises
    ------
    InputError
        No readings, or readings that are not in the order of time.
    RefusedError
        Too few readings to set limits.
    """
    if not readings:
        raise InputError("no reading is given; the charts need those that set the limits and one more.")
    start = readings[0].on if reference is None else reference
    relative = history_strength(source, member, start) if isinstance(source, History) else decay_of(source, start)
    name = nuclide_name(member if isinstance(source, History) else source)
    settings = {"followed": name, "reference": start, "n_first": n_first, "readings": tuple(readings)}
    return ControlReport(
        charts=instrument_charts(readings, relative, n_first=n_first),
        points_to_false_alarm=average_run_length(run_of=9) / 3,
        record=Record.make(settings=settings, tables=table_versions()),
    )
