"""The question: what is the energy scale of this instrument?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from truekev.errors import FitError, InputError
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
from truekev.scale.whole.calibrate_whole import WholeCalibration, calibrate_whole
from truekev.scale.whole.prior import GAIN_SPREAD, shape_prior
from truekev.scale.whole.profile import ProfileInterval, profile_interval
from truekev.spectra.spectrum import Spectrum
from truekev.tables.loader import table_versions

__all__ = ["CalibratedSpectrum", "CalibrationReport", "Reading", "calibrate_files", "readings_of"]

Progress = Callable[[float, str], None]
_PROFILED_KEV = (60.0, 239.0, 662.0, 1461.0, 2614.5)


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
    intervals : tuple of ProfileInterval
        By profile likelihood, where asked for.
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
    intervals: tuple[ProfileInterval, ...] = ()


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


def _intervals(whole: WholeCalibration, index: int, tell: Progress) -> tuple[ProfileInterval, ...]:
    """Profile intervals of one spectrum at the energies that lie in it and have a clear one."""
    top = whole.calibration.confidences[index].full_scale_kev
    energies = [energy for energy in _PROFILED_KEV if energy < top]
    found: list[ProfileInterval] = []
    for energy in energies:
        tell(0.5 + 0.4 * len(found) / len(energies), f"profiling the likelihood at {energy:g} keV")
        try:
            found.append(
                profile_interval(
                    whole.fit,
                    whole.starts,
                    shape_prior(),
                    energy,
                    index=index,
                    gain_spread=GAIN_SPREAD if len(whole.starts) > 1 else None,
                )
            )
        except FitError:
            continue
    return tuple(found)


def calibrate_files(
    files: Sequence[str | Path],
    sources: Sequence[str],
    *,
    detector: str | None = None,
    background: str | None = None,
    method: str = "whole",
    profile: bool = False,
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
    profile
        Also intervals by profile likelihood at a few energies; takes some seconds for each.
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
    if profile and method != "whole":
        raise InputError("--profile profiles the likelihood of the whole spectrum; use --method whole.")
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
        intervals = [_intervals(whole, j, tell) if profile else () for j in range(len(spectra))]
    else:
        tell(0.2, "looking for the gain")
        found, verdicts = calibrate(spectra, crystal), [""] * len(spectra)
        how, intervals = "peaks", [()] * len(spectra)
    inputs = [InputFile(str(one.spectrum.file), one.spectrum.sha256) for one in counted]
    if room is not None:
        inputs.append(InputFile(room.spectrum.file, room.spectrum.sha256))
    settings = {"sources": list(sources), "detector": used_detector.name, "method": method}
    record = Record.make(inputs, settings, table_versions())
    results = []
    for one, bare, confidence, fitted, verdict, profiled in zip(
        counted, found.scales, found.confidences, found.spectra, verdicts, intervals, strict=True
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
                profiled,
            )
        )
    tell(1.0, "done")
    return CalibrationReport(assumed, tuple(results))
