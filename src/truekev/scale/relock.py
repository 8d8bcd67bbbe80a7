"""Re-lock: the shape of a scale is known, only the gain has moved."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import RefusedError
from truekev.quantity import Measured
from truekev.scale.calibrate import used_groups
from truekev.scale.calibrate_peaks import CountedSpectrum, FittedSpectrum, believed
from truekev.scale.crystal import Crystal
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.find_groups import PeakWidth, find_groups, warped
from truekev.scale.groups import GroupFit
from truekev.scale.light import Pulse
from truekev.scale.locate import LocatedSpectrum, evidence, templates_between, templates_of
from truekev.scale.search import Candidate, prepare, scan

__all__ = ["Relock", "relock"]

Array = npt.NDArray[np.float64]
_SPAN = np.log(1.7)  # gains from 1/1.7 to 1.7 times the old one are tried
_ROUNDS = 3
_LEAST_RATIO = 0.25
_LEAST_MARGIN = 10.0


@dataclass(frozen=True)
class Relock:
    """A scale with its new gain.

    Parameters
    ----------
    scale : EnergyScale
    gain_ratio : Measured
        New gain over old.
    fitted : FittedSpectrum
        The groups it rests on.
    """

    scale: EnergyScale
    gain_ratio: Measured
    fitted: FittedSpectrum


def relock(counted: CountedSpectrum, old: EnergyScale, crystal: Crystal) -> Relock:
    """Find the gain of a new spectrum of the same instrument; zero and shape stay as they were.

    Raises
    ------
    RefusedError
        Another number of channels, the source cannot be made out, or no single gain fits best.

    Notes
    -----
    The ratio is the generalised least squares mean of the groups' ratios, weighed by counting statistics
    and by what the old scale did not know about its own shape. The new covariance keeps that ignorance.
    """
    if counted.counts.size != old.n_channels:
        raise RefusedError(
            f"The spectrum has {counted.counts.size} channels, the scale belongs to {old.n_channels}.",
            "calibrate this instrument setting anew.",
        )
    located, ratio = _gain_by_shape(counted, old, crystal)
    width = PeakWidth(old.fwhm_662, old.fwhm_slope)
    variance = 0.0
    weights, jacobian = np.zeros(0), np.zeros((0, 12))
    kept: tuple[GroupFit, ...] = ()
    for _ in range(_ROUNDS):
        pulse = _moved(old.pulse, ratio)
        groups = find_groups(counted.counts, counted.background, located, pulse, width, counted.sample, crystal)
        kept = tuple(f for f in groups.fits if believed(f))
        if not kept:
            raise RefusedError(
                f"No line group of {counted.sample.name} stands out; the gain cannot be told from groups.",
                "count longer, or put the source closer.",
            )
        ratio, variance, weights, jacobian = _ratio(kept, old, ratio)
    keep = np.eye(12)
    keep[1] -= weights @ jacobian / ratio
    noise = variance / ratio**2
    covariance = keep @ old.covariance @ keep.T
    covariance[1, 1] += noise
    pulse = _moved(old.pulse, ratio)
    energies = np.array([f.group.centroid_kev for f in kept])
    expected = pulse.channel(energies)
    pulls = tuple(float((f.channel - e) / f.u_channel) for f, e in zip(kept, expected, strict=True))
    fitted = FittedSpectrum(located, groups, kept, (True,) * len(kept), pulls, width)
    sigma = width.sigma_channels(pulse, energies)
    # How well the ratio is known includes what the old shape does not know at the groups it rests on.
    total = float(noise + (weights @ jacobian) @ _without_gain(old.covariance) @ (weights @ jacobian) / ratio**2)
    scale = old.with_gain(
        ratio, covariance, groups=used_groups(fitted, sigma.tolist()), source=counted.sample.name, method="re-lock"
    )
    return Relock(scale, Measured(ratio, ratio * float(np.sqrt(total)), ""), fitted)


def _moved(pulse: Pulse, ratio: float) -> Pulse:
    return replace(pulse, gain=pulse.gain * ratio)


def _without_gain(covariance: Array) -> Array:
    reduced = covariance.copy()
    reduced[1, :] = 0.0
    reduced[:, 1] = 0.0
    return reduced


def _ratio(kept: tuple[GroupFit, ...], old: EnergyScale, ratio: float) -> tuple[float, float, Array, Array]:
    """New ratio, its variance from noise, the weights of the groups, and the Jacobian at the groups."""
    energies = np.array([f.group.centroid_kev for f in kept])
    found = np.array([f.channel for f in kept])
    pulse = _moved(old.pulse, ratio)
    slope = pulse.slope_per_kev(energies)
    noise = np.array([f.u_channel for f in kept]) ** 2
    noise = noise + (np.array([f.group.u_centroid_kev for f in kept]) * slope) ** 2
    jacobian = pulse.jacobian(energies)
    per_ratio = (pulse.channel(energies) - pulse.c0) / ratio
    total = np.diag(noise) + jacobian @ _without_gain(old.covariance) @ jacobian.T
    weights = np.linalg.solve(total, per_ratio)
    weights = weights / (weights @ per_ratio)
    return float(weights @ (found - pulse.c0)), float(weights**2 @ noise), weights, jacobian


def _gain_by_shape(counted: CountedSpectrum, old: EnergyScale, crystal: Crystal) -> tuple[LocatedSpectrum, float]:
    """The gain by the whole shape, over a wide range, with the old scale's shape."""
    templates = templates_of(counted.sample, crystal)
    data = prepare(counted.counts, counted.background)
    fixed = templates_between(templates, old.fwhm_662)

    def chi2(log_ratio: float) -> tuple[float, Array]:
        edges = warped(_moved(old.pulse, float(np.exp(log_ratio))), data.edges)
        value, strengths = scan(replace(data, edges=edges), fixed, np.array([[1.0, 0.0, 0.0]]))
        return float(value[0]), strengths[0]

    grid = np.linspace(-_SPAN, _SPAN, 107)
    values = np.array([chi2(x)[0] for x in grid])
    best = float(grid[np.argmin(values)])
    fine = best + np.linspace(-0.012, 0.012, 13)
    best = float(fine[np.argmin([chi2(x)[0] for x in fine])])
    lowest, strengths = chi2(best)
    apart = np.abs(grid - best) > 0.08
    # Shifts less than a peak's width are the same lock seen less well; what matters is another minimum.
    inner = np.r_[False, (values[1:-1] < values[:-2]) & (values[1:-1] < values[2:]), False]
    others = values[apart & inner]
    pulse = _moved(old.pulse, float(np.exp(best)))
    candidate = Candidate(1.0, 0.0, old.fwhm_662, lowest, strengths)
    edges = warped(pulse, data.edges)
    located = LocatedSpectrum(
        pulse,
        old.fwhm_662,
        (candidate,),
        replace(data, edges=edges),
        templates,
    )
    seen = evidence(located, counted.sample)
    if seen.ratio < _LEAST_RATIO:
        raise RefusedError(
            f"The spectrum does not look like {counted.sample.name} on this instrument: its lines explain "
            f"{seen.gained:.0f} of {seen.chi2_without:.0f} units of structure.",
            "check instrument and source, or count longer.",
        )
    if others.size and others.min() - lowest < _LEAST_MARGIN:
        raise RefusedError("Two gains explain the spectrum about equally well.", "count longer.")
    return replace(located, data=data), float(np.exp(best))
