"""The question: what is the energy scale of this instrument?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from truekev.job.counted import (
    checked_method,
    count_of,
    crystal_in,
    detector_of,
    per_spectrum,
    read_background,
    scatter_in,
)
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.scale.calibrate import calibrate
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.polynomials import InstrumentPolynomial, PeakPolynomial, instrument_polynomial, peak_polynomials
from truekev.scale.verdict import Confidence
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.spectra.spectrum import Spectrum
from truekev.tables.loader import table_versions

__all__ = ["CalibratedSpectrum", "CalibrationReport", "Reading", "calibrate_files", "readings_of"]

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Reading:
    """What the instrument reads at a known energy.

    Parameters
    ----------
    energy_kev : float
        The energy of a line group.
    claimed_kev : float or None
        What the claimed scale says there; None where the file claims none.
    scale_kev : Measured
        What the new scale says at the place where the group was found.
    """

    name: str
    energy_kev: float
    claimed_kev: float | None
    scale_kev: Measured


@dataclass(frozen=True)
class CalibratedSpectrum:
    """One spectrum of a calibration.

    Parameters
    ----------
    file, source : str
    scale : EnergyScale
    confidence : Confidence
    readings : tuple of Reading
        Groups found, with what the instrument read there before.
    to_type_in : tuple of InstrumentPolynomial
        Degrees 1, 2 and 3: the best the instrument can be told.
    through_peaks : tuple of PeakPolynomial
        Degrees 1, 2 and 3 through the same groups, as bench habit does it, for comparison.
    verdict : str
        How well the model describes the spectrum and where it does not; empty for the method by peaks.
    """

    file: str
    source: str
    scale: EnergyScale
    confidence: Confidence
    readings: tuple[Reading, ...]
    to_type_in: tuple[InstrumentPolynomial, ...]
    through_peaks: tuple[PeakPolynomial, ...]
    verdict: str
    spectrum: Spectrum
    fitted: FittedSpectrum


@dataclass(frozen=True)
class CalibrationReport:
    """What was assumed, and the result for each spectrum."""

    assumed: str
    spectra: tuple[CalibratedSpectrum, ...]


def readings_of(scale: EnergyScale, spectrum: Spectrum) -> tuple[Reading, ...]:
    """What the claimed scale and the new one say at the groups that were used."""
    claimed = spectrum.claimed_scale
    return tuple(
        Reading(
            group.name,
            group.energy_kev,
            None if claimed is None else float(claimed.energy_kev(group.channel)),
            _measured_at(scale, group.channel, group.u_channel),
        )
        for group in scale.groups
        if group.used
    )


def _measured_at(scale: EnergyScale, channel: float, u_channel: float) -> Measured:
    energy = float(scale.energy_kev(channel))
    slope = float(scale.pulse.slope_per_kev(energy))
    return Measured(energy, float(np.hypot(scale.u_energy_kev(energy), u_channel / slope)), "keV")


def calibrate_files(
    files: Sequence[str | Path],
    sources: Sequence[str],
    *,
    detector: str | None = None,
    background: str | None = None,
    method: str = "whole",
    progress: Progress | None = None,
) -> CalibrationReport:
    """Calibrate spectra of one instrument from files.

    Parameters
    ----------
    files
        Spectra; all of one instrument, each with a gain of its own.
    sources
        Words, nuclides or source files: one for all spectra, one for each in order, or several for a single
        spectrum that holds them all.
    detector, background
        Detector file (default: CsI(Tl) cube of 10 mm) and a background spectrum.
    method
        "whole": all counts by one forward model; "peaks": line groups one by one.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        A file or word cannot be used.
    RefusedError
        No safe lock; says why and what would help.
    """
    tell = progress or (lambda share, what: None)
    checked_method(method)
    used_detector, assumed = detector_of(detector)
    room = read_background(background)
    counted = [
        count_of(file, words, used_detector, room)
        for file, words in zip(files, per_spectrum(sources, len(files)), strict=True)
    ]
    crystal = crystal_in(used_detector, tell)
    spectra = [one.counted for one in counted]
    if method == "whole":
        scatter = scatter_in(used_detector, tell)
        tell(0.2, "looking for the gain, then fitting all counts")
        whole = calibrate_whole(spectra, crystal, scatter)
        found, verdicts = whole.calibration, [one.words for one in whole.verdicts]
        how = "the whole spectrum"
    else:
        tell(0.2, "looking for the gain")
        found, verdicts = calibrate(spectra, crystal), [""] * len(spectra)
        how = "peaks"
    inputs = [InputFile(str(one.spectrum.file), one.spectrum.sha256) for one in counted]
    if room is not None:
        inputs.append(InputFile(room.spectrum.file, room.spectrum.sha256))
    settings = {"sources": list(sources), "detector": used_detector.name, "method": method}
    record = Record.make(inputs, settings, table_versions())
    results = []
    for one, bare, confidence, fitted, verdict in zip(
        counted, found.scales, found.confidences, found.spectra, verdicts, strict=True
    ):
        spectrum = one.spectrum
        start = "" if spectrum.start is None else spectrum.start.isoformat()
        scale = replace(
            bare,
            detector=used_detector.name,
            claimed_coefficients_kev=() if spectrum.claimed_scale is None else spectrum.claimed_scale.coefficients_kev,
            spectrum_start=start,
            history=(f"calibrated by {how} with {one.counted.sample.name} from {spectrum.file}",),
            record=record,
        )
        results.append(
            CalibratedSpectrum(
                spectrum.file,
                one.counted.sample.name,
                scale,
                confidence,
                readings_of(scale, spectrum),
                tuple(instrument_polynomial(scale, degree) for degree in (1, 2, 3)),
                peak_polynomials(scale.groups, scale),
                verdict,
                spectrum,
                fitted,
            )
        )
    tell(1.0, "done")
    return CalibrationReport(assumed, tuple(results))
