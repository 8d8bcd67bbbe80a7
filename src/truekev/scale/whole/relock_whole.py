"""Re-lock by the whole spectrum: the shape of a scale is held, only the gain is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import FitError, RefusedError
from truekev.quantity import Measured
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.find_groups import PeakWidth
from truekev.scale.relock import Relock
from truekev.scale.whole.bins import channel_range, merged
from truekev.scale.whole.calibrate_whole import groups_of, shown_spectrum
from truekev.scale.whole.channels import PILE_UP
from truekev.scale.whole.fit import WholeFit, fit_whole
from truekev.scale.whole.fit_start import kept_parts, shape_from, start_of
from truekev.scale.whole.gain_search import GainCandidates, gains_by_shape
from truekev.scale.whole.judge import FitVerdict, judge
from truekev.scale.whole.model import N_PULSE, N_SHAPE, gradient_of
from truekev.scale.whole.parts import ForwardParts, without_source
from truekev.scale.whole.posterior import PLAIN_COUNTS, averaged
from truekev.scale.whole.prior import held_shape, ties_of
from truekev.scale.whole.rivals import other_samples
from truekev.scale.whole.shifts import LocalShift, local_shifts
from truekev.scale.whole.strengths import Start
from truekev.transport.stand import Scatter

__all__ = ["WholeRelock", "gain_only", "relock_whole"]

Array = npt.NDArray[np.float64]

_WIDTH_U = 0.02  # relative: rate and temperature widen peaks a little
# In -2 ln L, with the shape held; set on spectra of the declared source and of others.
_LEAST_GAINED = 30.0
_LEAST_GAINED_WITHOUT_ROOM = 60.0
_LEAST_MARGIN = 12.0
_SAME_GAIN = 0.03
_NOT_THE_SAME = 3.0  # cost per degree of freedom; spectra of the same instrument stay below
# A change of ln g, or a cost per degree of freedom, from which other sources are tried: a foreign spectrum locks
# anywhere, and its fit is poor once it holds some thousand counts.
_FAR, _ROUGH, _VERY_FAR = 0.02, 1.35, 0.1
_TRIED_ROUNDS = 10  # enough to be compared
_FIRST_ROUNDS, _NEAR = 3, 150.0  # farther behind after some rounds, it does not come near any more
_LEAST_OTHER_SOURCE = 10.0


@dataclass(frozen=True)
class WholeRelock:
    """A re-lock, the fit behind it, and what it does not explain.

    `u_log_gain` is what counting leaves open of ln g, the shape taken as exact.
    """

    relock: Relock
    fit: WholeFit
    start: Start
    shifts: tuple[LocalShift, ...]
    verdict: FitVerdict
    u_log_gain: float


@dataclass(frozen=True, eq=False)
class GainFit:
    """A spectrum fitted with the shape held.

    Parameters
    ----------
    fit : WholeFit
    start : Start
    u_log_gain : float
        Standard uncertainty of ln g from this spectrum alone, the shape taken as exact.
    by_shape : ndarray, shape (11,)
        Change of ln g by a change of c0 [keV of light], kappa, s, psi.
    """

    fit: WholeFit
    start: Start
    u_log_gain: float
    by_shape: Array


def _shape_of(scale: EnergyScale) -> Array:
    shape = shape_from(scale.pulse, scale.fwhm_662)
    if scale.width_law:
        shape[N_PULSE:] = scale.width_law
    return shape


def _shares_of(counted: CountedSpectrum, old: EnergyScale, parts: ForwardParts) -> Array | None:
    """What the scale's own count tells of the strengths, if the same source was counted in the same way."""
    names = tuple(name for name, _ in old.part_shares)
    if counted.sample.name != old.source or names != (*parts.names, PILE_UP):
        return None
    return np.array([share for _, share in old.part_shares])


def _started(
    counted: CountedSpectrum,
    old: EnergyScale,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    ratio: float,
    lowest_kev: float = 0.0,
) -> tuple[Start, Array]:
    shape = _shape_of(old)
    gain = old.pulse.gain * ratio
    pulse = replace(old.pulse, gain=gain, c0=float(shape[0]) * gain * 1e-3)
    width = float(np.exp(shape[N_PULSE]))
    start = start_of(counted, crystal, scatter, pulse, width)
    start = replace(start, shares=_shares_of(counted, old, start.parts) if lowest_kev == 0.0 else None)
    if lowest_kev > 0.0:
        first, last = channel_range(counted.counts, pulse)
        first = max(first, int(np.ceil(float(pulse.channel(lowest_kev)))))
        start = replace(start, data=merged(counted.counts, counted.background, pulse, width, (first, last)))
    return start, shape


def _held(start: Start, shape: Array, most_rounds: int = 60) -> WholeFit:
    return fit_whole([start], held_shape(shape, width_u=_WIDTH_U), shape, most_rounds=most_rounds)


def _averaged(fits: Sequence[WholeFit], start: Start, shape: Array) -> WholeFit:
    if float(start.data.counts.sum()) > PLAIN_COUNTS:
        return fits[0]
    return averaged(fits, [start], held_shape(shape, width_u=_WIDTH_U))


def gain_only(
    counted: CountedSpectrum, old: EnergyScale, crystal: Crystal, scatter: Sequence[Scatter], ratio: float
) -> GainFit:
    """Fit gain, a little width, and strengths, from a gain `ratio` times the old one.

    Raises
    ------
    FitError, RefusedError
        It does not settle; too few channels.
    """
    start, shape = _started(counted, old, crystal, scatter, ratio)
    return _gain_of(_averaged([_held(start, shape)], start, shape), start)


def _gain_of(fit: WholeFit, start: Start) -> GainFit:
    one = fit.spectra[0]
    slopes = gradient_of(one.design, one.data, start.parts, one.strengths, one.room_gain)
    white = one.weights.white(slopes)
    columns = one.weights.white(one.design.columns[:, one.strengths > 0])
    others = np.column_stack([columns, white[:, N_PULSE], white[:, N_SHAPE + 1]])
    size = np.sqrt((others**2).sum(axis=0))
    basis, _ = np.linalg.qr(others[:, size > 0] / size[size > 0])
    own = white[:, N_SHAPE] - basis @ (basis.T @ white[:, N_SHAPE])
    by_shape = -(own @ white[:, :N_PULSE]) / float(own @ own)
    u = float(np.sqrt(fit.covariance[N_SHAPE, N_SHAPE]))
    return GainFit(fit, start, u, np.asarray(by_shape))


def _new_covariance(old: EnergyScale, found: GainFit, ratio: float) -> tuple[Array, float]:
    """Covariance of (c0 [channels], ln g, kappa, s, psi) after the re-lock, and variance of ln(ratio).

    What the old scale did not know of its shape stays unknown, and moves the gain that was found with it.
    """
    gain_old = old.pulse.gain
    # Old parameters as (c0 [keV of light], kappa, s, psi): c0 [channels] = c0 [keV] g / 1000.
    to_kev = np.zeros((N_PULSE, 12))
    to_kev[0, 0] = 1e3 / gain_old
    to_kev[0, 1] = -old.pulse.c0 * 1e3 / gain_old
    to_kev[1, 2] = to_kev[2, 3] = 1.0
    to_kev[3:, 4:] = np.eye(N_PULSE - 3)
    of_shape = to_kev @ old.covariance @ to_kev.T
    c0 = float(found.fit.shape[0])
    gain = gain_old * ratio
    back = np.zeros((12, N_PULSE))
    back[0, 0] = gain * 1e-3
    back[0] += c0 * gain * 1e-3 * found.by_shape
    back[1] = found.by_shape
    back[2, 1] = back[3, 2] = 1.0
    back[4:, 3:] = np.eye(N_PULSE - 3)
    covariance = back @ of_shape @ back.T
    noise = np.zeros(12)
    noise[0], noise[1] = c0 * gain * 1e-3, 1.0
    covariance = covariance + found.u_log_gain**2 * np.outer(noise, noise)
    # The ratio compares the new gain with the old one, which is uncertain together with the shape.
    move = found.by_shape @ to_kev
    move[1] -= 1.0
    about = float(move @ old.covariance @ move) if old.covariance[1, 1] > 0 else 0.0
    return np.asarray(covariance), found.u_log_gain**2 + max(about, 0.0)


def _best_of(
    gains: GainCandidates,
    counted: CountedSpectrum,
    old: EnergyScale,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    lowest_kev: float,
) -> GainFit:
    """The most likely of some gains, if it is clearly so and the source is needed to explain the spectrum.

    All are fitted on the same bins, so that their likelihoods can be compared.
    """
    ratios = gains.ratios
    start, shape = _started(counted, old, crystal, scatter, ratios[0], lowest_kev)
    fits: list[WholeFit] = []
    for ratio in ratios:
        try:
            fits.append(_held(replace(start, log_gain=start.log_gain + float(np.log(ratio / ratios[0]))), shape))
        except FitError:
            continue
    if not fits:
        raise FitError("the gain does not settle.")
    best = min(fits, key=lambda fit: fit.deviance)
    at = best.spectra[0].log_gain
    bare = replace(start, parts=without_source(start.parts), log_gain=at, ties=(), shares=None)
    asked = _LEAST_GAINED if counted.background is not None else _LEAST_GAINED_WITHOUT_ROOM
    gained = _held(bare, shape, _FIRST_ROUNDS).deviance - best.deviance
    if gained < _NEAR + asked:
        gained = _held(bare, shape, _TRIED_ROUNDS).deviance - best.deviance
    if gained < asked:
        raise RefusedError(
            f"The spectrum does not look like {counted.sample.name} on this instrument: its lines explain "
            f"{max(gained, 0.0):.0f} units of likelihood ({asked:.0f} are asked for).",
            "check instrument and source, or count longer.",
        )
    rivals = [fit for fit in fits if abs(fit.spectra[0].log_gain - at) > _SAME_GAIN]
    if rivals:
        margin = min(fit.deviance for fit in rivals) - best.deviance
        if margin < _LEAST_MARGIN:
            raise RefusedError(
                f"Two gains explain the spectrum about equally well ({margin:.0f} units of likelihood apart).",
                "count longer.",
            )
    near = [best, *(fit for fit in fits if fit is not best and abs(fit.spectra[0].log_gain - at) <= _SAME_GAIN)]
    found = _gain_of(_averaged(near, start, shape), replace(start, log_gain=at))
    verdict = judge(best, 0, found.start)
    moved = abs(at - float(np.log(old.pulse.gain)))
    if (moved > _FAR or verdict.chi2 > _ROUGH * verdict.dof) and lowest_kev == 0.0:
        _tell_others_apart(
            best.deviance, gains.cost, start, shape, counted, old, crystal, scatter, thorough=moved > _VERY_FAR
        )
    return found


def _tell_others_apart(
    deviance: float,
    scan_cost: float,
    start: Start,
    shape: Array,
    counted: CountedSpectrum,
    old: EnergyScale,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    *,
    thorough: bool,
) -> None:
    """Refuse where another common source explains the same bins as well, on the same instrument."""
    for other in other_samples(counted.sample):
        parts = kept_parts(other, crystal, scatter, with_room=counted.background is None)
        gains = gains_by_shape(replace(counted, sample=other), old, crystal)
        if gains.cost > scan_cost + _NEAR:
            continue
        for ratio in gains.ratios if thorough else gains.ratios[:1]:
            log_gain = float(np.log(old.pulse.gain * ratio))
            elsewhere = replace(start, parts=parts, log_gain=log_gain, ties=ties_of(other), shares=None)
            try:
                apart = _held(elsewhere, shape, _FIRST_ROUNDS).deviance - deviance
                if apart < _NEAR:
                    apart = _held(elsewhere, shape, _TRIED_ROUNDS).deviance - deviance
            except FitError:
                continue
            if apart < _LEAST_OTHER_SOURCE:
                looks = f"more like {other.name} than" if apart < 0 else f"as much like {other.name} as"
                raise RefusedError(
                    f"Not the same instrument or source: the spectrum looks {looks} like {counted.sample.name} "
                    f"({apart:+.0f} units of likelihood).",
                    "check instrument and source; calibrate anew where the gain was turned.",
                )


def relock_whole(
    counted: CountedSpectrum,
    old: EnergyScale,
    crystal: Crystal,
    scatter: Sequence[Scatter],
    *,
    lowest_kev: float = 0.0,
) -> WholeRelock:
    """Find the gain of a new spectrum of the same instrument; zero in keV and shape stay as they were.

    Parameters
    ----------
    counted, old
        The new spectrum, and the scale whose shape is held.
    crystal, scatter
        As in `calibrate_whole`.
    lowest_kev
        Nothing below is fitted: for the room itself, whose diffuse part no template describes.

    Raises
    ------
    RefusedError
        Another number of channels, another instrument or source, or no single gain fits best.
    FitError
        The fit does not settle.
    """
    if counted.counts.size != old.n_channels:
        raise RefusedError(
            f"The spectrum has {counted.counts.size} channels, the scale belongs to {old.n_channels}.",
            "calibrate this instrument setting anew.",
        )
    gains = gains_by_shape(counted, old, crystal, lowest_kev)
    found = _best_of(gains, counted, old, crystal, scatter, lowest_kev)
    verdict = judge(found.fit, 0, found.start)
    if verdict.refusal or verdict.chi2 > _NOT_THE_SAME * verdict.dof:
        raise RefusedError(
            f"Not the same instrument or source: with the scale's shape, {counted.sample.name} does not describe this "
            f"spectrum (chi-square {verdict.chi2:.0f} for {verdict.dof}).",
            "check instrument and source; calibrate anew.",
        )
    one = found.fit.spectra[0]
    ratio = one.pulse.gain / old.pulse.gain
    covariance, variance = _new_covariance(old, found, ratio)
    shifts = tuple(local_shifts(one, found.start.data, found.start.parts, found.fit.shape))
    groups = groups_of(shifts, one.pulse, covariance)
    width = PeakWidth(old.fwhm_662, old.fwhm_slope)
    fitted = shown_spectrum(counted, found.fit, 0, found.start, shifts, gains.located, width)
    scale = replace(
        old,
        pulse=one.pulse,
        covariance=covariance,
        groups=groups,
        source=counted.sample.name,
        method="re-lock",
    )
    moved = Measured(ratio, ratio * float(np.sqrt(variance)), "")
    return WholeRelock(Relock(scale, moved, fitted), found.fit, found.start, shifts, verdict, found.u_log_gain)
