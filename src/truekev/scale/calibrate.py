"""From counted spectra to energy scales by peaks, or a refusal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from truekev.errors import RefusedError
from truekev.scale.calibrate_peaks import CountedSpectrum, FittedSpectrum, fit_peaks
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale, UsedGroup
from truekev.scale.verdict import Confidence, assess

__all__ = ["Calibration", "calibrate"]

_FWHM = 2.3548200450309493


@dataclass(frozen=True)
class Calibration:
    """Scales of all spectra of one instrument, each with the confidence in its lock, and what was fitted to it."""

    scales: tuple[EnergyScale, ...]
    confidences: tuple[Confidence, ...]
    spectra: tuple[FittedSpectrum, ...]


def used_groups(fitted: FittedSpectrum, scale_sigma: Sequence[float]) -> tuple[UsedGroup, ...]:
    """The groups of a fitted spectrum in the form that a scale keeps."""
    return tuple(
        UsedGroup(
            fit.group.name,
            fit.group.centroid_kev,
            fit.group.u_centroid_kev,
            fit.channel,
            fit.u_channel,
            fit.area,
            fit.u_area,
            _FWHM * sigma * fit.width_factor,
            pull,
            used,
        )
        for fit, pull, used, sigma in zip(fitted.kept, fitted.pulls, fitted.used, scale_sigma, strict=True)
    )


def calibrate(spectra: Sequence[CountedSpectrum], crystal: Crystal) -> Calibration:
    """Calibrate by peaks.

    Parameters
    ----------
    spectra
        Counts, background and sample of each spectrum; all of one instrument.
    crystal
        Its crystal.

    Raises
    ------
    RefusedError
        A spectrum cannot be locked safely; says which, why, and what would help.
    """
    fit = fit_peaks(spectra, crystal)
    if fit is None:
        raise RefusedError(
            f"No line group of {spectra[0].sample.name} stands out in the spectrum.",
            "count longer, put the source closer, or name what was really counted.",
        )
    scales, confidences = [], []
    for index, (counted, fitted) in enumerate(zip(spectra, fit.spectra, strict=True)):
        pulse, covariance = fit.shape.pulses[index], fit.shape.covariances[index]
        confidence = assess(fitted, pulse, float(np.sqrt(covariance[0, 0])), counted.sample, counted.counts.size)
        if confidence.refusal:
            which = f"Spectrum {index + 1}: " if len(spectra) > 1 else ""
            raise RefusedError(which + confidence.refusal, confidence.advice)
        energies = np.array([f.group.centroid_kev for f in fitted.kept])
        sigma = fitted.width.sigma_channels(pulse, energies) if energies.size else np.zeros(0)
        scales.append(
            EnergyScale(
                pulse,
                covariance,
                counted.counts.size,
                fitted.width.at_662,
                fitted.width.slope,
                used_groups(fitted, sigma.tolist()),
                "peaks",
                counted.sample.name,
                crystal.name,
            )
        )
        confidences.append(confidence)
    return Calibration(tuple(scales), tuple(confidences), fit.spectra)
