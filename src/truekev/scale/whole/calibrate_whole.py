"""Calibration by the whole spectrum: gain found by shape, then one fit of all counts of all spectra."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import FitError, RefusedError
from truekev.scale.calibrate import Calibration
from truekev.scale.calibrate_peaks import CountedSpectrum, FittedSpectrum, locate_together
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale, UsedGroup
from truekev.scale.find_groups import FoundGroups, PeakWidth
from truekev.scale.groups import GroupFit
from truekev.scale.light import REFERENCE_KEV, Pulse
from truekev.scale.locate import LocatedSpectrum
from truekev.scale.whole.channels import PILE_UP, model_by_channel
from truekev.scale.whole.fit import FittedWhole, WholeFit, fit_whole
from truekev.scale.whole.fit_start import covariance_of_pulse, fwhm_at_662, shape_from, start_of
from truekev.scale.whole.judge import FitVerdict, judge
from truekev.scale.whole.lock import assess_lock
from truekev.scale.whole.model import N_PULSE
from truekev.scale.whole.parts import ForwardParts
from truekev.scale.whole.posterior import PLAIN_COUNTS, averaged
from truekev.scale.whole.prior import GAIN_SPREAD, shape_prior
from truekev.scale.whole.rivals import GOOD, rivals_of, with_other_sources
from truekev.scale.whole.shifts import LocalShift, local_shifts
from truekev.scale.whole.strengths import Start
from truekev.transport.stand import Scatter

__all__ = ["WholeCalibration", "calibrate_whole", "groups_of", "refined", "shown_spectrum"]

Array = npt.NDArray[np.float64]

_SHOWN_SIGNIFICANCE = 4.0
_SHOWN_SHARE = 0.06
# Other starts, as changes of (ln g, s [1/MeV]): where the search is off by a part of a peak's width, and where few
# counts at high energy let the curvature settle in the wrong place.
_OFFSETS = ((0.0, 0.0), (0.0, -0.02), (0.0, 0.04), (-0.02, 0.0), (0.02, 0.0))
_CLEAR_COUNTS = 50_000.0  # with as many, and a good fit, one start is enough
_GOOD = 1.1  # cost per bin of a good fit


@dataclass(frozen=True)
class WholeCalibration:
    """Scales with their confidence, the fit behind them, and what it does not explain.

    Parameters
    ----------
    calibration : Calibration
    fit : WholeFit
    starts : tuple of Start
    shifts : tuple of tuple of LocalShift
        Of every spectrum.
    verdicts : tuple of FitVerdict
    """

    calibration: Calibration
    fit: WholeFit
    starts: tuple[Start, ...]
    shifts: tuple[tuple[LocalShift, ...], ...]
    verdicts: tuple[FitVerdict, ...]


def refined(
    spectra: Sequence[CountedSpectrum],
    crystal: Crystal,
    scatter: Sequence[Scatter],
    pulses: Sequence[Pulse],
    width: float,
) -> tuple[WholeFit, tuple[Start, ...]]:
    """Fit from ch(E) that are right to some per cent; a poor fit is tried from a little farther, and the best is kept.

    Raises
    ------
    FitError
        None of the starts settles.
    """
    prior = shape_prior()
    spread = GAIN_SPREAD if len(spectra) > 1 else None
    fits: list[WholeFit] = []
    failed: FitError | None = None
    # One set of bins for all starts, so that their likelihoods can be compared.
    bins = [start_of(c, crystal, scatter, pulse, width) for c, pulse in zip(spectra, pulses, strict=True)]
    total = sum(float(start.data.counts.sum()) for start in bins)
    n_bins = sum(start.data.counts.size for start in bins)
    for log_gain, curvature in _OFFSETS:
        starts = tuple(replace(start, log_gain=start.log_gain + log_gain) for start in bins)
        shape = shape_from(pulses[0], width)
        shape[2] += curvature
        try:
            fits.append(fit_whole(starts, prior, shape, gain_spread=spread))
        except FitError as error:
            failed = error
            continue
        fit = fits[-1]
        if fit.settled and fit.cost < _GOOD * n_bins and total > _CLEAR_COUNTS:
            break
    if not fits:
        raise failed or FitError("the fit of the whole spectrum does not settle.")
    if total > PLAIN_COUNTS:
        return min(fits, key=lambda one: one.deviance), tuple(bins)
    return averaged(fits, bins, prior, gain_spread=spread), tuple(bins)


def part_shares(fitted: FittedWhole, parts: ForwardParts) -> tuple[tuple[str, float], ...]:
    """Shares of the parts in all counts that are not measured background, by name."""
    own = fitted.strengths[:-1]
    return tuple(zip((*parts.names, PILE_UP), (own / max(float(own.sum()), 1e-9)).tolist(), strict=True))


def _stands_out(one: LocalShift) -> bool:
    return one.significance >= _SHOWN_SIGNIFICANCE and one.share >= _SHOWN_SHARE


def groups_of(shifts: Sequence[LocalShift], pulse: Pulse, covariance: Array) -> tuple[UsedGroup, ...]:
    """Line groups that stand out, in the form that a scale keeps.

    Parameters
    ----------
    shifts
        Of one spectrum.
    pulse, covariance
        Its ch(E), and the covariance of (c0 [channels], ln g, kappa, s, psi).
    """
    groups = []
    for one in shifts:
        if not _stands_out(one):
            continue
        jacobian = pulse.jacobian(one.group.centroid_kev)[0]
        u_scale = float(np.sqrt(max(jacobian @ covariance @ jacobian, 0.0)))
        pull = (one.channel - one.expected_channel) / float(np.hypot(one.u_channel, u_scale))
        groups.append(
            UsedGroup(
                one.group.name,
                one.group.centroid_kev,
                one.group.u_centroid_kev,
                one.channel,
                one.u_channel,
                one.net_counts,
                one.u_net_counts,
                one.fwhm_channels,
                pull,
                True,
            )
        )
    return tuple(groups)


def shown_spectrum(
    counted: CountedSpectrum,
    fit: WholeFit,
    index: int,
    start: Start,
    shifts: Sequence[LocalShift],
    located: LocatedSpectrum,
    width: PeakWidth,
) -> FittedSpectrum:
    """The fit of one spectrum in the form that pictures and pages take: model and parts per channel, groups found."""
    one = fit.spectra[index]
    names, rows = model_by_channel(counted, one, start.parts, fit.shape)
    kept = tuple(
        GroupFit(
            shift.group,
            shift.channel,
            shift.u_channel,
            shift.u_channel,
            shift.net_counts,
            shift.u_net_counts,
            1.0,
            shift.expected_channel,
            int(shift.channel - shift.fwhm_channels),
            int(shift.channel + shift.fwhm_channels) + 1,
        )
        for shift in shifts
        if _stands_out(shift)
    )
    parts = tuple(zip(names, rows, strict=True))
    groups = FoundGroups(kept, tuple(k.area for k in kept), rows.sum(axis=0), one.strengths, parts)
    pulls = tuple((k.channel - k.expected_channel) / k.u_channel for k in kept)
    return FittedSpectrum(replace(located, pulse=one.pulse), groups, kept, (True,) * len(kept), pulls, width)


def calibrate_whole(
    spectra: Sequence[CountedSpectrum], crystal: Crystal, scatter: Sequence[Scatter]
) -> WholeCalibration:
    """Calibrate by the whole spectrum.

    Parameters
    ----------
    spectra
        Counts, background and sample of each spectrum; all of one instrument.
    crystal, scatter
        Its crystal, and what scatters into it; see `scale.crystal`.

    Raises
    ------
    RefusedError
        A spectrum cannot be locked safely, or the model does not describe it.
    FitError
        The fit does not settle.
    """
    located = locate_together(spectra, crystal)
    rivals = [rivals_of(c, one, crystal, scatter) for c, one in zip(spectra, located, strict=True)]
    # The best of the search's gains by its own fit; of several spectra, by the one that is surest of its gain.
    anchor = max(range(len(spectra)), key=lambda j: rivals[j].behind(rivals[j].nothing))
    pulses = [rivals[anchor].best.pulse if j == anchor else one.pulse for j, one in enumerate(located)]
    width = float(np.exp(rivals[anchor].best.fit.shape[N_PULSE]))
    fit, starts = refined(spectra, crystal, scatter, pulses, width)
    at_662 = float(crystal.response.variance_d_kev2(REFERENCE_KEV))
    fwhm = fwhm_at_662(fit.shape, at_662)
    scales, confidences, shown, all_shifts, verdicts = [], [], [], [], []
    for index, (counted, start) in enumerate(zip(spectra, starts, strict=True)):
        which = f"Spectrum {index + 1}: " if len(spectra) > 1 else ""
        pulse = fit.spectra[index].pulse
        covariance = covariance_of_pulse(fit, index)
        shifts = tuple(local_shifts(fit.spectra[index], start.data, start.parts, fit.shape))
        verdict = judge(fit, index, start)
        others = rivals[index]
        if others.other_source is None and verdict.chi2 > GOOD * verdict.dof:
            others = with_other_sources(others, counted, crystal, scatter)
        confidence = assess_lock(
            others,
            fit.spectra[index],
            start.parts,
            counted.sample.name,
            counted.counts.size,
            u_c0=float(np.sqrt(covariance[0, 0])),
            fwhm_662=fwhm,
            has_room=counted.background is not None,
        )
        if confidence.refusal:
            raise RefusedError(which + confidence.refusal, confidence.advice)
        if verdict.refusal:
            raise RefusedError(which + verdict.refusal, verdict.advice)
        shown.append(shown_spectrum(counted, fit, index, start, shifts, located[index], PeakWidth(fwhm, 0.0)))
        scales.append(
            EnergyScale(
                pulse,
                covariance,
                counted.counts.size,
                fwhm,
                0.0,
                groups_of(shifts, pulse, covariance),
                "whole spectrum",
                counted.sample.name,
                crystal.name,
                width_law=tuple(fit.shape[-3:].tolist()),
                part_shares=part_shares(fit.spectra[index], start.parts),
            )
        )
        confidences.append(confidence)
        all_shifts.append(shifts)
        verdicts.append(verdict)
    calibration = Calibration(tuple(scales), tuple(confidences), tuple(shown))
    return WholeCalibration(calibration, fit, starts, tuple(all_shifts), tuple(verdicts))
