"""The question: did the gain drift during the long count, and can it be undone?"""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from truekev.errors import FileFormatError, InputError, RefusedError
from truekev.job.counted import crystal_in, detector_of, read_background, scaled_background, scatter_in
from truekev.job.sound_count import check_sound
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.scale.energy_scale import EnergyScale, read_scale
from truekev.scale.polynomials import InstrumentPolynomial, instrument_polynomial
from truekev.scale.sample import sample_of
from truekev.scale.temperature import TemperatureLine, temperature_line
from truekev.scale.whole.align import align_whole
from truekev.sources.described import resolve_source
from truekev.spectra.read import read_spectra
from truekev.spectra.slices import sum_of_slices, why_not_slices
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.spectra.write import write_spectrum
from truekev.tables.loader import table_versions

__all__ = ["AlignReport", "SliceLine", "align_files", "write_aligned"]

Array = npt.NDArray[np.float64]
_DEFAULT_SLICE_S = 600.0
_LEAST_COUNTS = 200


@dataclass(frozen=True)
class SliceLine:
    """One slice.

    Parameters
    ----------
    number : int
        From 1.
    start : datetime or None
    hours : float
        Middle of the slice, from the first start.
    counts : float
    gain_percent : Measured
        Gain over the mean, less one, told by its neighbours too; the sum is made with it.
    alone_percent : Measured or None
        The same from this slice alone; None where it does not tell.
    temperature_degc : float or None
    """

    number: int
    start: datetime | None
    hours: float
    counts: float
    gain_percent: Measured
    alone_percent: Measured | None
    temperature_degc: float | None


@dataclass(frozen=True)
class AlignReport:
    """Slices, their drift, and the aligned sum.

    Parameters
    ----------
    assumed : str
    source : str
    slices : tuple of SliceLine
    drift_percent : Measured
        Highest gain less lowest.
    common_u_percent : float
        Standard uncertainty that all gains share.
    moved_percent : float or None
        Mean gain over that of the scale that was given.
    temperature : TemperatureLine or None
    temperature_refused : str
        Why there is no coefficient, where temperatures were given.
    counts_in, counts_out : float
        Counts of all slices, and of the sum with its overflow.
    complete_to : int
        Last channel of the sum that every slice reaches.
    verdict : str
    scale : EnergyScale
    to_type_in : tuple of InstrumentPolynomial
    total : Spectrum
        The aligned sum; its counts were shared between channels.
    record : Record
    """

    assumed: str
    source: str
    slices: tuple[SliceLine, ...]
    drift_percent: Measured
    common_u_percent: float
    moved_percent: float | None
    temperature: TemperatureLine | None
    temperature_refused: str
    counts_in: float
    counts_out: float
    complete_to: int
    verdict: str
    scale: EnergyScale
    to_type_in: tuple[InstrumentPolynomial, ...]
    total: Spectrum
    record: Record


def _slices_of(files: Sequence[str | Path]) -> list[Spectrum]:
    found: list[Spectrum] = []
    for file in files:
        spectra = read_spectra(file)
        for one in spectra:
            if len(spectra) == 1 or one.role != "background":
                found += one.slices or (one,)
    if len(found) < 2:
        raise InputError(f"{len(found)} slice was given; give several files, or one N42 file of many measurements.")
    if all(one.start is not None for one in found):
        try:
            found.sort(key=lambda one: one.start or datetime.min)
        except TypeError:
            raise InputError("some slices name their time zone and others do not; export them alike.") from None
    for one in found:
        check_sound(one, least_counts=0)
    why = why_not_slices(found)
    if why:
        raise InputError(f"These are not slices of one count: {why}")
    if sum(float(one.counts.sum()) for one in found) < _LEAST_COUNTS:
        raise InputError("all slices together are empty, or nearly; count longer.")
    return found


def _middles(slices: Sequence[Spectrum]) -> Array:
    """Middle of every slice [s] from the first start; one after the other where starts are not given."""
    lengths = [one.real_time_s or one.best_live_time_s or _DEFAULT_SLICE_S for one in slices]
    first = slices[0].start
    if first is not None and all(one.start is not None for one in slices):
        starts = [(one.start - first).total_seconds() for one in slices if one.start is not None]
    else:
        starts = np.concatenate(([0.0], np.cumsum(lengths)[:-1])).tolist()
    middles = np.array([start + 0.5 * length for start, length in zip(starts, lengths, strict=True)])
    # Clocks that are cut to whole seconds must not put two slices at one time.
    return np.maximum.accumulate(middles + 1e-3 * np.arange(middles.size))


def _overflow_apart(one: Spectrum) -> Spectrum:
    """A last channel that collects the overflow is no channel; its counts go on as overflow."""
    if not one.last_channel_stands_out:
        return one
    counts = one.counts.copy()
    last = float(counts[-1])
    counts[-1] = 0.0
    return replace(one, counts=counts, overflow=one.overflow + last)


def _temperatures(path: str, slices: Sequence[Spectrum], middles: Array) -> Array:
    """Temperature [°C] of every slice from a file: `time,temperature` (interpolated), or one value per line and slice.

    Raises
    ------
    FileFormatError
        With file, line and field.
    """
    file = Path(path)
    try:
        rows = [row for row in csv.reader(file.read_text(encoding="utf-8").splitlines())]
    except (OSError, UnicodeDecodeError) as error:
        raise FileFormatError(f"cannot be read ({error}).", file=file) from None
    times: list[float] = []
    values: list[float] = []
    first = slices[0].start
    headed = False
    for number, row in enumerate(rows, start=1):
        cells = [cell.strip() for cell in row]
        if not any(cells) or cells[0].startswith("#"):
            continue
        try:
            value = float(cells[-1])
        except ValueError:
            if not values and not headed:
                headed = True
                continue
            raise FileFormatError(f"{cells[-1]!r} is no number.", file=file, line=number, field="temperature") from None
        if not -60.0 <= value <= 90.0:
            raise FileFormatError(f"{value:g} °C is outside -60 to 90 °C.", file=file, line=number, field="temperature")
        values.append(value)
        if len(cells) > 1:
            if first is None:
                raise FileFormatError(
                    "times are given, but the slices have no start; give one temperature per line and slice.",
                    file=file,
                    line=number,
                    field="time",
                )
            try:
                at = datetime.fromisoformat(cells[0])
                times.append((at - first).total_seconds())
            except (ValueError, TypeError) as error:
                raise FileFormatError(
                    f"{cells[0]!r} is no time that fits the slices' starts ({error}); write it as {first.isoformat()}.",
                    file=file,
                    line=number,
                    field="time",
                ) from None
    if not times and len(values) == len(slices):
        return np.array(values)
    if len(times) != len(values) or not values:
        raise FileFormatError(
            f"holds {len(values)} temperatures for {len(slices)} slices; give lines of `time,temperature`, or one "
            "temperature per slice in order.",
            file=file,
        )
    order = np.argsort(times)
    at_middles = np.interp(middles, np.array(times)[order], np.array(values)[order], left=np.nan, right=np.nan)
    return np.asarray(at_middles, dtype=np.float64)


def align_files(
    files: Sequence[str | Path],
    *,
    scale_file: str | None = None,
    sources: Sequence[str] = (),
    detector: str | None = None,
    background: str | None = None,
    temperatures: str | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> AlignReport:
    """Find the gain of every slice of a count, and add the slices on one gain.

    Parameters
    ----------
    files
        Slices, or one N42 file that holds them.
    scale_file, sources
        A scale of the instrument (its shape is held), or what was counted (the sum is calibrated), or both.
    detector, background
        As in calibration.
    temperatures
        A file of `time,temperature` lines, or one temperature per slice.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        Files that cannot be read, that are not slices of one count, or are not sound.
    RefusedError
        The sum cannot be locked, or a slice is of something else.
    """
    tell = progress or (lambda share, what: None)
    slices = _slices_of(files)
    middles = _middles(slices)
    degc = None if temperatures is None else _temperatures(temperatures, slices, middles)
    old = None if scale_file is None else read_scale(scale_file)
    used_detector, assumed = detector_of(detector)
    words = list(sources)
    if old is not None:
        stated = old.record.settings.get("sources", [])
        words = words or ([str(word) for word in stated] if isinstance(stated, list) else [])
        if used_detector.name != old.detector:
            raise InputError(
                f"{scale_file} was made with the detector {old.detector!r}; give its file with --detector."
            )
        if slices[0].n_channels != old.n_channels:
            raise InputError(f"the slices have {slices[0].n_channels} channels, the scale belongs to {old.n_channels}.")
    if not words:
        raise InputError("--source is missing: name what was counted, or give --scale with a scale that says it.")
    plain_sum = sum_of_slices([replace(one, claimed_scale=slices[0].claimed_scale) for one in slices])
    own = [_overflow_apart(one) for one in slices]
    room = read_background(background)
    day = plain_sum.start.date() if plain_sum.start else None
    sample = sample_of(
        [resolve_source(word, on=day) if day else resolve_source(word) for word in words],
        (used_detector.window, used_detector.window_mm),
    )
    crystal = crystal_in(used_detector, tell)
    scatter = scatter_in(used_detector, tell)
    found = align_whole(
        [np.asarray(one.counts, dtype=np.float64) for one in own],
        middles,
        sample,
        None if room is None else scaled_background(room.spectrum, plain_sum),
        crystal,
        scatter,
        old,
        tell,
    )
    settings = {"sources": words, "detector": used_detector.name, "method": "slices aligned, whole spectrum"}
    inputs = [InputFile(file, sha) for file, sha in dict.fromkeys((one.file, one.sha256) for one in slices)]
    record = Record.make(inputs, settings, table_versions())
    scale = replace(
        found.scale,
        detector=used_detector.name,
        spectrum_start="" if plain_sum.start is None else plain_sum.start.isoformat(),
        history=(*(() if old is None else old.history), f"mean gain of {len(slices)} aligned slices of {sample.name}"),
        record=record,
    )
    overflow = sum(one.overflow for one in own) + found.total.above
    best = instrument_polynomial(scale, 3)
    total = replace(
        plain_sum,
        counts=found.total.counts,
        variance=found.total.variance,
        overflow=overflow,
        claimed_scale=None,
        corrected_scale=ClaimedScale(best.coefficients_kev, "polynomial of degree 3 of the aligned sum"),
        slices=(),
        rebinned=True,
        notes=(
            *plain_sum.notes,
            f"{len(slices)} slices, each moved to their mean gain; counts shared between channels.",
        ),
    )
    line, refused = None, ""
    if degc is not None:
        try:
            line = temperature_line(degc, found.own.log_ratio, found.own.u_log_ratio)
        except RefusedError as refusal:
            refused = str(refusal)
    lines = tuple(
        SliceLine(
            j + 1,
            one.start,
            float(middles[j]) / 3600.0,
            float(one.counts.sum()),
            Measured(100.0 * float(np.expm1(found.log_ratio[j])), 100.0 * float(found.u_log_ratio[j]), "%"),
            None
            if not np.isfinite(found.own.log_ratio[j])
            else Measured(
                100.0 * float(np.expm1(found.own.log_ratio[j])), 100.0 * float(found.own.u_log_ratio[j]), "%"
            ),
            None if degc is None or not np.isfinite(degc[j]) else float(degc[j]),
        )
        for j, one in enumerate(slices)
    )
    high, low = int(np.argmax(found.log_ratio)), int(np.argmin(found.log_ratio))
    drift = Measured(
        100.0 * float(found.log_ratio[high] - found.log_ratio[low]),
        100.0 * float(np.hypot(found.u_log_ratio[high], found.u_log_ratio[low])),
        "%",
    )
    tell(1.0, "done")
    return AlignReport(
        assumed,
        sample.name,
        lines,
        drift,
        100.0 * found.u_common,
        None if found.moved is None else 100.0 * (found.moved - 1.0),
        line,
        refused,
        float(sum(one.counts.sum() + one.overflow for one in slices)),
        float(found.total.counts.sum() + overflow),
        found.total.complete_to,
        found.verdict,
        scale,
        tuple(instrument_polynomial(scale, degree) for degree in (1, 2, 3)),
        total,
        record,
    )


def write_aligned(report: AlignReport, path: str | Path) -> Path:
    """Write the aligned sum with its energies: .n42, or .csv with energy columns.

    Raises
    ------
    InputError
        Another ending.
    """
    if Path(path).suffix.lower() == ".csv":
        edges = report.scale.edges_kev()
        return write_spectrum(report.total, path, energy_edges_kev=edges, record=report.record)
    return write_spectrum(report.total, path, record=report.record)
