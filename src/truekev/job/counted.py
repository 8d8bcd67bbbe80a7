"""Files and words become counted spectra: what calibration and re-lock share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from truekev.errors import InputError
from truekev.job.preparing import ENGINE, SEARCH, SMEAR, announce_preparation
from truekev.job.sound_count import check_sound
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal, crystal_of, scatter_of
from truekev.scale.sample import sample_of
from truekev.scale.search import BACKGROUND_U, MeasuredBackground
from truekev.sources.described import resolve_source
from truekev.spectra.read import read_spectrum
from truekev.spectra.spectrum import Spectrum
from truekev.transport.detector import DEFAULT_DETECTOR, Detector, read_detector
from truekev.transport.stand import Scatter

__all__ = [
    "METHODS",
    "Counted",
    "ReadBackground",
    "checked_method",
    "count_of",
    "crystal_in",
    "detector_of",
    "per_spectrum",
    "read_background",
    "scaled_background",
    "scatter_in",
]

METHODS = ("whole", "peaks")  # all counts by one model; line groups one by one


@dataclass(frozen=True)
class Counted:
    """A spectrum from a file beside its counted form."""

    spectrum: Spectrum
    counted: CountedSpectrum


@dataclass(frozen=True)
class ReadBackground:
    """A background spectrum from a file."""

    spectrum: Spectrum


def detector_of(path: str | None) -> tuple[Detector, str]:
    """The detector of a file, or the default one; and a sentence that says what was taken."""
    if path is None:
        return (
            DEFAULT_DETECTOR,
            f"Detector: none given, so a {DEFAULT_DETECTOR.name} is assumed (--detector says otherwise).",
        )
    detector = read_detector(path)
    return detector, f"Detector: {detector.name} ({path})."


def crystal_in(detector: Detector, tell: Callable[[float, str], None]) -> Crystal:
    """The detector's crystal as the scale sees it; says before it compiles."""
    announce_preparation(tell, SEARCH, *(() if detector == DEFAULT_DETECTOR else (ENGINE,)))
    tell(0.1, "computing the crystal's response")
    return crystal_of(detector, tell)


def scatter_in(detector: Detector, tell: Callable[[float, str], None]) -> tuple[Scatter, ...]:
    """What scatters into the detector from its surroundings; says before it compiles or computes."""
    announce_preparation(tell, SMEAR, *(() if detector == DEFAULT_DETECTOR else (ENGINE,)))
    return scatter_of(detector, tell)


def checked_method(method: str) -> str:
    """The method, if there is one of that name.

    Raises
    ------
    InputError
        There is none.
    """
    if method not in METHODS:
        raise InputError(f"--method {method}: there are {' and '.join(METHODS)}.")
    return method


def per_spectrum(words: Sequence[str], n_spectra: int) -> list[tuple[str, ...]]:
    """Which sources each spectrum holds.

    One word serves all spectra; as many words as spectra go in order; several words for one spectrum are
    all in it.

    Raises
    ------
    InputError
        No word, or another number of words than that.
    """
    if not words:
        raise InputError("--source is missing: name what was counted, as thoriated-rods, Eu-152 or a source file.")
    if n_spectra == 1:
        return [tuple(words)]
    if len(words) == 1:
        return [(words[0],)] * n_spectra
    if len(words) == n_spectra:
        return [(word,) for word in words]
    raise InputError(
        f"{n_spectra} spectra and {len(words)} sources: give one source for all, or one for each spectrum in order."
    )


def read_background(path: str | Path | None) -> ReadBackground | None:
    """A background file, or None."""
    return None if path is None else ReadBackground(read_spectrum(path))


def scaled_background(background: Spectrum, spectrum: Spectrum) -> MeasuredBackground:
    """A background as it would have counted in the time of a spectrum.

    Raises
    ------
    InputError
        It is not sound, has other channels, or is the spectrum itself.
    """
    check_sound(background, least_counts=0)
    if np.array_equal(background.counts, spectrum.counts):
        raise InputError(
            f"background {background.file} holds the same counts as {spectrum.file}: one measurement cannot be both. "
            "Give a count of the room without the source, or leave the background away."
        )
    if background.n_channels != spectrum.n_channels:
        raise InputError(
            f"background {background.file} has {background.n_channels} channels, {spectrum.file} has "
            f"{spectrum.n_channels}; a background must come from the same setting of the instrument."
        )
    own, other = spectrum.best_live_time_s, background.best_live_time_s
    known = bool(own and other)
    factor = own / other if own and other else float(spectrum.counts.sum() / max(background.counts.sum(), 1.0))
    counts = np.asarray(background.counts, dtype=np.float64)
    return MeasuredBackground(counts * factor, counts * factor**2, BACKGROUND_U if known else None)


def count_of(
    path: str | Path, words: Sequence[str], detector: Detector, background: ReadBackground | None = None
) -> Counted:
    """Read a spectrum and declare what it holds.

    A background inside the file is used where none is given. A source file is reckoned for the day of the
    count; where the spectrum does not say when it was counted, for today.

    Raises
    ------
    InputError
        The file cannot be read, the count is not sound (see `job.sound_count`), or the background does not belong
        to it.
    """
    spectrum = read_spectrum(path)
    check_sound(spectrum)
    room = background.spectrum if background is not None else spectrum.background
    day = date.today() if spectrum.start is None else spectrum.start.date()
    sample = sample_of([resolve_source(word, on=day) for word in words], (detector.window, detector.window_mm))
    return Counted(
        spectrum,
        CountedSpectrum(
            np.asarray(spectrum.counts, dtype=np.float64),
            None if room is None else scaled_background(room, spectrum),
            sample,
        ),
    )
