"""Slices of a long count brought onto one gain, and the scale of their sum."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import RefusedError
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.sample import Sample
from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.bins import channel_range, merged
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.scale.whole.channels import model_by_channel
from truekev.scale.whole.drift import (
    AlignedSum,
    ExpectedShape,
    SliceGains,
    aligned_sum,
    gains_of_slices,
    settled_walk,
)
from truekev.scale.whole.fit import FittedWhole
from truekev.scale.whole.relock_whole import gain_only, relock_whole
from truekev.transport.stand import Scatter

__all__ = ["AlignedSlices", "align_whole"]

Array = npt.NDArray[np.float64]

_ROUNDS = 8
_SETTLED = 0.3  # of a slice's own uncertainty
_NOT_ALIKE = 4.0  # chi-square per degree of freedom of a slice that is of something else
_BLIND_ROUNDS = 2
_BLIND_BINS = 160  # for the first look, before any scale is known
_BEYOND = 0.15
_ROOM_ROUNDS = 2  # in which the background, too, is moved to the gain of the sum


@dataclass(frozen=True, eq=False)
class AlignedSlices:
    """Slices on one gain.

    Parameters
    ----------
    log_ratio, u_log_ratio : ndarray, shape (s,)
        ln of each slice's gain over the count-weighted mean, told by its neighbours too; the slices are added with it.
    own : SliceGains
        The same from each slice alone.
    total : AlignedSum
    scale : EnergyScale
        Scale of the sum, at the mean gain.
    moved : float or None
        Mean gain over that of the scale that was given; None without one.
    u_common : float
        Standard uncertainty of ln of the mean gain.
    verdict : str
        How well the model describes the sum.
    rounds : int
    room_log_ratio : float
        ln of the factor that brought the background to the gain of the sum; 0 without one.
    """

    log_ratio: Array
    u_log_ratio: Array
    own: SliceGains
    total: AlignedSum
    scale: EnergyScale
    moved: float | None
    u_common: float
    verdict: str
    rounds: int
    room_log_ratio: float


def _blind(slices: Array, log_ratio: Array) -> SliceGains:
    """Gains of the slices against their own sum: a first look that needs no model."""
    total = slices.sum(axis=0)
    if total.sum() <= 0:
        raise RefusedError("The slices are empty.", "count again.")
    n = total.size
    last = int(np.flatnonzero(total > 0)[-1])
    # Equal steps of the square root: peaks are about as wide everywhere.
    starts = np.unique(np.rint(np.linspace(np.sqrt(0.02 * n), np.sqrt(last + 1.0), _BLIND_BINS) ** 2).astype(np.int64))
    edges = np.asarray(starts - 0.5, dtype=np.float64)
    binned = np.add.reduceat(slices[:, : starts[-1]], starts[:-1], axis=1)
    box = max(int(0.01 * n), 1)
    for _ in range(_BLIND_ROUNDS):
        summed = aligned_sum(slices, log_ratio).counts
        smooth = np.convolve(np.pad(summed, box, mode="edge"), np.full(2 * box + 1, 1.0 / (2 * box + 1)), mode="valid")
        found = gains_of_slices(binned, edges, ExpectedShape(smooth))
        log_ratio = np.where(np.isfinite(found.log_ratio), found.log_ratio, log_ratio)
    return replace(found, log_ratio=log_ratio)


def _refuse_strangers(own: SliceGains) -> None:
    strange = np.flatnonzero(own.chi2_per_dof > _NOT_ALIKE)
    if strange.size:
        worst = int(strange[np.argmax(own.chi2_per_dof[strange])])
        raise RefusedError(
            f"Slice {worst + 1} is not of the same spectrum as the others (chi-square {own.chi2_per_dof[worst]:.1f} "
            f"per degree of freedom; {strange.size} of {own.log_ratio.size} slices are so).",
            "leave such slices out: another source, another place, or another setting of the instrument.",
        )


def _expected(fitted: FittedWhole, model: Array) -> ExpectedShape:
    """The model per channel with its most likely error on it, which all slices share."""
    error, _ = fitted.weights.likely_error(fitted.residual)
    ratio = np.clip(1.0 + error / np.maximum(fitted.model, 1.0), 0.3, 3.0)
    middle = 0.5 * (fitted.edges[1:] + fitted.edges[:-1])
    return ExpectedShape(np.asarray(model * np.interp(np.arange(model.size), middle, ratio)))


def _padded(counted: CountedSpectrum) -> CountedSpectrum:
    """With channels above the range, so that the model tells what lower gains bring into it."""
    more = (0, int(_BEYOND * counted.counts.size))
    room = counted.background
    if room is not None:
        room = replace(room, counts=np.pad(room.counts, more), variance=np.pad(room.variance, more))
    return replace(counted, counts=np.pad(counted.counts, more), background=room)


def _binned(slices: Array, total: Array, scale: EnergyScale) -> tuple[Array, Array]:
    """Slices in the bins of the fit, on their own channels."""
    width = float(np.exp(scale.width_law[0])) if scale.width_law else scale.fwhm_662
    edges = merged(total, None, scale.pulse, width, channel_range(total, scale.pulse)).edges
    starts = np.rint(edges + 0.5).astype(np.int64)
    return np.add.reduceat(slices[:, : starts[-1]], starts[:-1], axis=1), edges


def align_whole(
    slices: Sequence[Array],
    time_s: Array,
    sample: Sample,
    background: MeasuredBackground | None,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    old: EnergyScale | None = None,
    tell: Callable[[float, str], None] = lambda share, what: None,
) -> AlignedSlices:
    """Find the gain of every slice and add the slices on their mean gain.

    Parameters
    ----------
    slices
        Counts per channel of each, all of one instrument; what stands in an overflow channel taken out.
    time_s : ndarray, shape (s,)
        Middle of each slice, rising.
    sample, background
        What was counted; the background scaled to the time of all slices together.
    crystal, scatter
        As in `calibrate_whole`.
    old
        A scale of this instrument: its shape is held. Without one the sum is calibrated.
    tell
        Called with (share done, what).

    Raises
    ------
    RefusedError
        The sum cannot be locked, no slice tells its gain, or a slice is of something else.
    FitError
        A fit does not settle.
    """
    table = np.asarray(slices, dtype=np.float64)
    weight = table.sum(axis=1)

    def centred(values: Array) -> Array:
        return np.asarray(values - float(weight @ values) / float(weight.sum()))

    tell(0.05, "comparing the slices")
    blind = _blind(table, np.zeros(weight.size))
    log_ratio = centred(blind.log_ratio)
    scale: EnergyScale | None = None
    moved: float | None = None
    c0, room_gain, verdict, rounds = 0.0, 0.0, "", 0
    own, u = blind, log_ratio
    binned, edges = table, np.zeros(0)
    for rounds in range(1, _ROUNDS + 1):
        tell(0.1 + 0.8 * rounds / _ROUNDS, "fitting slices and sum by turns")
        total = aligned_sum(table, log_ratio)
        counted = CountedSpectrum(total.counts, background and background.at_gain(room_gain, c0), sample)
        if scale is None:
            try:
                if old is None:
                    scale = calibrate_whole([counted], crystal, scatter).calibration.scales[0]
                else:
                    scale = relock_whole(counted, old, crystal, scatter).relock.scale
            except RefusedError:
                # If a slice is of something else, that is why.
                _refuse_strangers(blind)
                raise
        found = gain_only(counted, scale, crystal, scatter, 1.0)
        _, rows = model_by_channel(_padded(counted), found.fit.spectra[0], found.start.parts, found.fit.shape)
        expected = _expected(found.fit.spectra[0], rows.sum(axis=0))
        if not edges.size:
            binned, edges = _binned(table, total.counts, scale)
        own = gains_of_slices(binned, edges, expected)
        if not np.isfinite(own.log_ratio).any():
            raise RefusedError("No slice holds enough counts to tell its gain.", "take longer slices.")
        settled, u = settled_walk(own.log_ratio, own.u_log_ratio, time_s)
        settled = centred(settled)
        change = np.abs(settled - log_ratio) / u
        log_ratio = settled
        if rounds <= _ROOM_ROUNDS:
            c0 = scale.pulse.c0
            room_gain += found.fit.spectra[0].room_gain
        if change.max() < _SETTLED and rounds > _ROOM_ROUNDS:
            break
    _refuse_strangers(own)
    total = aligned_sum(table, log_ratio)
    counted = CountedSpectrum(total.counts, background and background.at_gain(room_gain, c0), sample)
    if old is None:
        last = calibrate_whole([counted], crystal, scatter)
        scale, verdict = last.calibration.scales[0], last.verdicts[0].words
    else:
        again = relock_whole(counted, old, crystal, scatter)
        scale, verdict, moved = again.relock.scale, again.verdict.words, again.relock.gain_ratio.value
    u_common = float(np.sqrt(scale.covariance[1, 1]))
    return AlignedSlices(log_ratio, u, own, total, scale, moved, u_common, verdict, rounds, room_gain)
