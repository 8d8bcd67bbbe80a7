"""The question on a Tuesday evening: has the gain moved so far that something must be done?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from truekev.errors import InputError
from truekev.job.relock_spectrum import RelockReport, relock_file
from truekev.job.tonight_settings import BenchSettings, find_settings, read_settings
from truekev.quantity import Measured
from truekev.scale.energy_scale import EnergyScale, read_scale, write_scale
from truekev.scale.temperature import predicted_change

__all__ = [
    "ROOM",
    "Prediction",
    "Tonight",
    "headline_of",
    "keep_scale",
    "predicted",
    "relock_tonight",
    "settings_of",
    "since_words",
]

ROOM = "room-background"
_APART = 2.0  # combined standard uncertainties


@dataclass(frozen=True)
class Prediction:
    """What the temperature says of the gain.

    Parameters
    ----------
    percent : Measured
        Change of the gain since the scale was made.
    agrees : bool
    words : str
    """

    percent: Measured
    agrees: bool
    words: str


@dataclass(frozen=True)
class Tonight:
    """A re-lock and what to do about it.

    Parameters
    ----------
    headline : str
        The verdict in one line.
    report : RelockReport
    limit_percent : float or None
    beyond : bool
        Whether the gain moved by more than the limit; without a limit, true.
    settings_file : str
        Where instrument and source were named; empty if by options.
    written : tuple of str
        Files that were written.
    prediction : Prediction or None
    """

    headline: str
    report: RelockReport
    limit_percent: float | None
    beyond: bool
    settings_file: str
    written: tuple[str, ...]
    prediction: Prediction | None


def settings_of(
    spectrum: str | Path,
    *,
    scale: str | None = None,
    sources: Sequence[str] = (),
    detector: str | None = None,
    background: str | None = None,
) -> tuple[BenchSettings | None, BenchSettings]:
    """Settings of the folder if there are any, and those settings with what was given by hand put over them.

    Raises
    ------
    InputError
        No scale was named, by hand or in a settings file; or the settings file is wrong.
    """
    file = find_settings(spectrum)
    found = None if file is None else read_settings(file)
    if found is None:
        if scale is None:
            raise InputError(
                "no scale was named: give --scale scale.json, or write a truekev.toml into the folder of the spectrum "
                "(`truekev new bench-settings` prints one), or give --book."
            )
        return None, BenchSettings("", detector, tuple(sources), background, Path(scale), 0.0)
    return found, BenchSettings(
        found.file,
        detector or found.detector,
        tuple(sources) or found.sources,
        background or found.background,
        found.scale if scale is None else Path(scale),
        found.limit_percent,
        found.coefficient,
        found.scale_degc,
        found.u_degc,
    )


def since_words(scale: EnergyScale) -> str:
    """The day from which a scale stands, as "since 12 Nov"."""
    if not scale.spectrum_start:
        return "since the last scale"
    start = datetime.fromisoformat(scale.spectrum_start)
    return f"since {start.day} {start:%b}"


def predicted(coefficient: Measured, from_degc: float, to_degc: float, u_degc: float, moved: Measured) -> Prediction:
    """What a change of temperature says of the gain, beside what was found."""
    expected = predicted_change(coefficient, from_degc, to_degc, u_degc)
    agrees = abs(moved.value - expected.value) <= _APART * float(np.hypot(moved.u, expected.u))
    words = f"From {from_degc:g} to {to_degc:g} °C the gain should have moved by {expected} (k = 1). " + (
        "What was found agrees."
        if agrees
        else f"What was found does not agree: {moved}; something else has changed, or a temperature is wrong."
    )
    return Prediction(expected, agrees, words)


def _prediction(settings: BenchSettings, to_degc: float, moved: Measured) -> Prediction:
    if settings.coefficient is None or settings.scale_degc is None:
        raise InputError(
            "--temperature: no temperature coefficient is known; put [temperature] into truekev.toml "
            "(`truekev align --temperatures` finds the coefficient), or keep re-locks with temperatures in the book."
        )
    return predicted(settings.coefficient, settings.scale_degc, to_degc, settings.u_degc, moved)


def headline_of(moved: Measured, since: str, limit: float | None, *, new: str) -> str:
    """The verdict: what moved, the limit, and what follows."""
    if limit is None:
        return f"moved {moved.value:+.1f} % {since}"
    if abs(moved.value) <= limit:
        return f"within your limit: leave it (moved {moved.value:+.1f} % {since}, your limit {limit:g} %)"
    return f"moved {moved.value:+.1f} % {since}, your limit {limit:g} %: {new}"


def keep_scale(report: RelockReport, path: Path) -> tuple[str, ...]:
    """Write the new scale over the old one; the old one stays beside it under the day of its count."""
    written = []
    if path.is_file():
        old = report.old_scale
        day = old.spectrum_start[:10] if old.spectrum_start else "before"
        kept = path.with_name(f"{path.stem}-{day}{path.suffix}")
        number = 2
        while kept.exists():
            kept = path.with_name(f"{path.stem}-{day}-{number}{path.suffix}")
            number += 1
        write_scale(read_scale(path), kept)
        written.append(str(kept))
    write_scale(report.scale, path)
    return (str(path), *written)


def relock_tonight(
    spectrum: str | Path,
    *,
    scale: str | None = None,
    sources: Sequence[str] = (),
    detector: str | None = None,
    background: str | None = None,
    method: str = "whole",
    limit_percent: float | None = None,
    background_only: bool = False,
    temperature_degc: float | None = None,
    out: str | None = None,
    write: bool = True,
    progress: Callable[[float, str], None] | None = None,
) -> Tonight:
    """Re-lock with what the settings of the folder name, judge the move against the limit, and write beyond it.

    Parameters
    ----------
    spectrum
        The new spectrum.
    scale, sources, detector, background
        Over what `truekev.toml` says.
    method, progress
        As in `relock_file`.
    limit_percent
        Over the settings' limit; None takes that, and without settings there is no limit.
    background_only
        The spectrum is the room itself; its natural lines are the source.
    temperature_degc
        Of tonight; the gain is predicted from it as well.
    out
        Where the new scale goes, rather than over the settings' own.
    write
        False writes nothing.

    Raises
    ------
    InputError
        A file or word cannot be used, or no scale is named.
    RefusedError
        The spectrum does not fit scale and source.
    """
    found, settings = settings_of(spectrum, scale=scale, sources=sources, detector=detector, background=background)
    limit = limit_percent if limit_percent is not None else (None if found is None else found.limit_percent)
    if background_only and (sources or background):
        raise InputError("--background-only: the spectrum is the room itself; leave --source and --background away.")
    report = relock_file(
        spectrum,
        settings.scale,
        sources=(ROOM,) if background_only else settings.sources,
        detector=settings.detector,
        background=None if background_only else settings.background,
        method=method,
        progress=progress,
    )
    moved = report.moved_percent
    prediction = None if temperature_degc is None else _prediction(settings, temperature_degc, moved)
    beyond = limit is None or abs(moved.value) > limit
    own_file = found is not None and scale is None
    written: tuple[str, ...] = ()
    if write and beyond and out is not None:
        written = (str(write_scale(report.scale, out)),)
    elif write and beyond and own_file:
        written = keep_scale(report, settings.scale)
    new = "new scale written" if written else "take the new scale (--out FILE writes it)"
    return Tonight(
        headline_of(moved, since_words(report.old_scale), limit, new=new),
        report,
        limit,
        beyond,
        "" if found is None else found.file,
        written,
        prediction,
    )
