"""The question: has my instrument changed? Counts of one control source, again and again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from truekev.errors import InputError
from truekev.job.counted import detector_of
from truekev.job.has_it_changed import ControlReport, has_it_changed
from truekev.nuclides.history import History
from truekev.samples.candidates import candidate
from truekev.samples.component_templates import PeakShape
from truekev.samples.control import Reading
from truekev.samples.control_reading import control_reading
from truekev.samples.sample_file import POINT_SAMPLE, read_sample
from truekev.samples.sample_templates import sample_grid, sample_templates
from truekev.scale.energy_scale import read_scale
from truekev.sources.settings import read_source_file
from truekev.spectra.read import read_spectrum

__all__ = ["ControlCharts", "control_charts"]

Progress = Callable[[float, str], None]
_THORIUM = ("Ra-228 part", "Th-228 part")


@dataclass(frozen=True)
class ControlCharts:
    """Readings of all counts in the order of time, with the charts and the verdict.

    `files` are the names of the counts in that order.
    """

    files: tuple[str, ...]
    readings: tuple[Reading, ...]
    report: ControlReport
    said: tuple[str, ...]


def _followed(source: str) -> tuple[tuple[str, ...], str, str | History, str]:
    """Components of the source, the one charted, what it decays as, and the member of the history."""
    if source.lower().endswith(".toml"):
        history = read_source_file(source).history
        if history is None:
            raise InputError(
                f"--source {source}: without a date its strength cannot be foretold; give reference_date or a "
                "separation."
            )
        heads = {"Th-232", "Th-228", "Ra-228"} & set(history.activities_bq)
        if not heads:
            name = next(iter(history.activities_bq))
            return (candidate(name).name,), candidate(name).name, history, name
        return _THORIUM, "Th-228 part", history, "Th-228"
    one = candidate(source)
    if not one.head:
        raise InputError(f"--source {source}: a control source is a nuclide or a source file.")
    return (one.name,), one.name, one.head, one.head


def control_charts(
    files: Sequence[str | Path],
    scale: str | None,
    source: str,
    *,
    background: str | None = None,
    sample: str | None = None,
    detector: str | None = None,
    n_first: int = 20,
    progress: Progress | None = None,
) -> ControlCharts:
    """Charts of gain, resolution and strength from counts of one source in one place.

    Parameters
    ----------
    files
        Counts, in any order; each says when it was made.
    scale, source
        The scale that the charts refer to; a nuclide, or the source's file.
    background, sample, detector
        A spectrum of the room; the place of the source; the detector.
    n_first
        How many first readings set the limits.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        A file cannot be used, or no scale is given.
    RefusedError
        A count shows no source or has no date, or there are too few to set limits.
    """
    if scale is None:
        raise InputError("--scale is missing: charts refer to one energy scale; `truekev calibrate` makes it.")
    tell = progress or (lambda share, what: None)
    base = read_scale(scale)
    used, assumed = detector_of(detector)
    if used.name != base.detector:
        raise InputError(
            f"{scale} was made with the detector {base.detector!r}, this is {used.name!r}; give its file with "
            "--detector."
        )
    place = replace(POINT_SAMPLE, known=True) if sample is None else read_sample(sample)
    names, charted, decays_as, member = _followed(source)
    grid = sample_grid(used, place, PeakShape(base.fwhm_662, base.fwhm_slope), lambda d, w: tell(0.3 * d, w))
    templates = sample_templates(grid, place, used, names)
    room = None if background is None else read_spectrum(background)
    found = []
    for number, file in enumerate(files):
        tell(0.3 + 0.7 * number / len(files), f"{file}, {number + 1} of {len(files)}")
        found.append(
            (
                str(file),
                control_reading(read_spectrum(file), room, base, templates, names, charted, candidate(charted).unit),
            )
        )
    found.sort(key=lambda one: one[1].on.isoformat())
    readings = tuple(reading for _, reading in found)
    report = has_it_changed(readings, decays_as, member=member, n_first=min(n_first, len(readings)))
    return ControlCharts(tuple(name for name, _ in found), readings, report, (assumed, f"Place: {place.name}."))
