"""Ways of the bench that the whole-spectrum fit is held against: Gaussians at the lines, then a curve through them.

Both are given more than a person has: where the peaks are to 1 %, how wide they are, and (for the light model)
how strong the lines of a group are beside one another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from studies.model_truth import Truth, other_crystal, sample_named
from truekev.errors import FitError
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.light import LightCurve, Pulse
from truekev.scale.position_fit import Place, ShapeFit, fit_places
from truekev.scale.templates import nominal_pulse_kev
from truekev.scale.whole.fit_start import kept_parts
from truekev.scale.whole.model import N_PULSE
from truekev.scale.whole.smear import sigma_u
from truekev.transport.stand import Scatter

__all__ = [
    "CONTINUA",
    "Fitted",
    "Wanted",
    "fit_together",
    "peaks_of_lines",
    "quadratic_of_bench",
    "true_widths",
    "wanted_groups",
]

Array = npt.NDArray[np.float64]
CONTINUA = ("linear", "quadratic", "step")
_FWHM = 2.3548200450309493
_REACH = 3.0  # standard deviations on both sides of a peak that its fit sees
# Lines that a person with a thorium source looks for, keV; from memory, as common practice has them.
BOOK_LINES_KEV = ((238.6,), (338.3,), (583.2,), (727.3,), (911.2, 969.0), (1588.2,), (2614.5,))
XRAYS_KEV = 77.1  # K X-rays of lead and bismuth, seen as one
_STANDS_OUT = 5.0
_LEAST_PEAKS = 4
_LAST_KEV = 2600.0  # without it the upper end is a guess
_LOOKS_RIGHT = (0.5, 2.0)  # fitted width over expected
_GROUP_STANDS_OUT = 4.0
_WORTH_A_FIT = 3.0  # expected net counts over the noise under them
_LEAST_SHARE = 0.04  # of all counts there
_LEAST_AREA = 0.003  # of the strongest line
_WINDOW_FWHM = 0.9
_TELLS_WIDTH = 0.1
_ROUNDS = 3


@dataclass(frozen=True)
class Wanted:
    """A peak to fit: its lines with their shares, where they are expected and how wide [channels]."""

    energy_kev: float
    u_energy_kev: float
    channels: Array
    weights: Array
    sigma: Array

    @property
    def centre(self) -> float:
        """Expected place [channels]."""
        return float(self.channels @ self.weights)


@dataclass(frozen=True)
class Fitted:
    """A peak found: place, net counts, and width over the expected."""

    energy_kev: float
    u_energy_kev: float
    channel: float
    u_channel: float
    area: float
    u_area: float
    width_factor: float
    u_width_factor: float

    @property
    def significance(self) -> float:
        """Net counts over their uncertainty."""
        return self.area / max(self.u_area, 1e-12)


def fit_together(
    counts: Array, noise: Array, wanted: Sequence[Wanted], continuum: str, *, tied: bool
) -> list[Fitted] | None:
    """Fit peaks of one window over one continuum, by weighted least squares with the model's own variance.

    Parameters
    ----------
    counts, noise : ndarray, shape (n,)
        Per channel, and the variance that a subtracted background brings.
    wanted
        Peaks of the window.
    continuum
        "linear", "quadratic", or "step": linear, and under each peak a step in proportion to its counts.
    tied
        Widths as expected; else one factor for all of them is fitted.

    Returns
    -------
    list of Fitted or None
        None where the window leaves the spectrum or the fit does not settle.
    """
    low = int(min(p.channels.min() - _REACH * p.sigma.max() for p in wanted))
    high = int(max(p.channels.max() + _REACH * p.sigma.max() for p in wanted)) + 1
    high = min(high, counts.size - 1)  # the last channel holds the overflow
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    n = len(wanted)
    n_smooth = {"linear": 2, "quadratic": 3, "step": 3}[continuum]
    if low < 1 or high - low < 2 * n + n_smooth + 3 or max(p.centre for p in wanted) > high - 1:
        return None
    edges = np.arange(low, high + 1) - 0.5
    seen, extra = counts[low:high], noise[low:high]
    at = (edges[:-1] + 0.5 - middle) / half
    shift, log_width = np.zeros(n), 0.0
    area = np.full(n, max(0.2 * float(seen.sum()) / n, 1.0))
    smooth = np.zeros(n_smooth)
    smooth[0] = float(seen.mean())
    inverse = np.eye(1)
    for turn in range(40):
        shapes, by_shift, by_width, steps = [], [], [], np.zeros(at.size)
        for p, off, size in zip(wanted, shift, area, strict=True):
            sigma = p.sigma * np.exp(log_width)
            z = (edges[:, None] - p.channels - off) / sigma
            bell = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
            shapes.append(np.diff(ndtr(z), axis=0) @ p.weights)
            by_shift.append(-np.diff(bell / sigma, axis=0) @ p.weights)
            by_width.append(-np.diff(bell * z, axis=0) @ p.weights)
            steps += size * (ndtr(-0.5 * (z[1:] + z[:-1])) @ p.weights)
        under = np.vander(at, 2 if continuum != "quadratic" else 3, increasing=True)
        if continuum == "step":
            under = np.column_stack([under, steps / max(float(area.sum()), 1.0)])
        columns = np.column_stack([*shapes, *(a * d for a, d in zip(area, by_shift, strict=True)), under])
        if not tied:
            columns = np.column_stack([columns, sum(a * d for a, d in zip(area, by_width, strict=True))])
        model = np.column_stack(shapes) @ area + under @ smooth
        variance = np.maximum(model, 0.3 * np.maximum(seen, 1.0)) + extra
        size = np.sqrt((columns**2 / variance[:, None]).sum(axis=0)) + 1e-12
        white = columns / np.sqrt(variance)[:, None] / size
        normal = white.T @ white + 1e-9 * np.eye(size.size)
        move = np.linalg.solve(normal, white.T @ ((seen - model) / np.sqrt(variance))) / size
        inverse = np.linalg.inv(normal) / np.outer(size, size)
        widest = np.array([p.sigma.mean() for p in wanted])
        area = np.maximum(area + move[:n], 1e-3)
        step = np.clip(move[n : 2 * n], -0.5 * widest, 0.5 * widest)
        shift = shift + step
        smooth = smooth + move[2 * n : 2 * n + n_smooth]
        if not tied:
            log_width = float(np.clip(log_width + np.clip(move[-1], -0.2, 0.2), -0.7, 0.7))
        if np.any(np.abs(shift) > 2.5 * widest):
            return None
        if turn > 2 and np.all(np.abs(step) < 1e-3 * widest):
            break
    u = np.sqrt(np.diag(inverse))
    u_width = 0.0 if tied else float(u[-1])
    return [
        Fitted(
            p.energy_kev,
            p.u_energy_kev,
            p.centre + float(shift[i]),
            float(u[n + i]),
            float(area[i]),
            float(u[i]),
            float(np.exp(log_width)),
            u_width,
        )
        for i, p in enumerate(wanted)
    ]


def true_widths(truth: Truth, pulse: Pulse, energy_kev: Array) -> Array:
    """True widths at energies [channels of `pulse`]."""
    u = np.sqrt(nominal_pulse_kev(pulse.curve, energy_kev))
    var_d = np.asarray(other_crystal().response.variance_d_kev2(energy_kev), dtype=np.float64)
    sigma, _ = sigma_u(u, var_d, truth.shape[N_PULSE:], float(truth.shape[1]))
    return np.asarray(2.0 * sigma / u * energy_kev * pulse.slope_per_kev(energy_kev))


def _above_noise(counts: Array, one: Fitted, sigma: float) -> float:
    """Net counts within 1.5 standard deviations over the root of all counts there, as a person reckons it."""
    low, high = int(np.ceil(one.channel - 1.5 * sigma)), int(one.channel + 1.5 * sigma) + 1
    return 0.866 * one.area / float(np.sqrt(max(counts[max(low, 0) : high].sum(), 1.0)))


def quadratic_of_bench(
    counts: Array,
    guess: Pulse,
    widths: Callable[[Pulse, Array], Array],
    *,
    xrays: bool = False,
    weighed: bool = False,
) -> tuple[Array, list[Fitted]] | None:
    """A quadratic E(ch) as bench habit has it; None as long as four peaks with 2615 keV among them do not stand out.

    Parameters
    ----------
    counts
        Per channel, nothing subtracted.
    guess
        Where the person looks for the peaks.
    widths
        Standard deviations to expect at energies [channels of a ch(E)].
    xrays, weighed
        Whether the K X-rays of lead and bismuth are taken as a peak too, and whether peaks weigh by their uncertainty.
    """
    found: list[Fitted] = []
    for lines in ((XRAYS_KEV,),) * xrays + BOOK_LINES_KEV:
        energy = np.array(lines)
        sigma, places = widths(guess, energy), guess.channel(energy)
        fit: list[Fitted] | None = None
        for _ in range(2):  # once more around where the peak turned out to be
            wanted = [
                Wanted(float(e), 0.0, np.array([c]), np.ones(1), np.array([s]))
                for e, c, s in zip(energy, places, sigma, strict=True)
            ]
            fit = fit_together(counts, np.zeros(counts.size), wanted, "linear", tied=False)
            if fit is None:
                break
            places = np.array([one.channel for one in fit])
        for one, width in zip(fit or (), sigma, strict=False):
            if _above_noise(counts, one, width) > _STANDS_OUT and _LOOKS_RIGHT[0] < one.width_factor < _LOOKS_RIGHT[1]:
                found.append(one)
    if len(found) < _LEAST_PEAKS or found[-1].energy_kev < _LAST_KEV:
        return None
    channel = np.array([one.channel for one in found])
    energies = np.array([one.energy_kev for one in found])
    weight = np.array([1.0 / one.u_channel if weighed else 1.0 for one in found])
    return np.polynomial.polynomial.polyfit(channel / counts.size, energies, 2, w=weight), found


def wanted_groups(
    truth: Truth, scatter: Sequence[Scatter], pulse: Pulse, width_factor: float
) -> list[tuple[Wanted, float]]:
    """Windows around the source's strongest lines, by falling strength, and their expected net counts.

    All lines within `_WINDOW_FWHM` of the strongest are taken with their true strengths beside one another; the next
    window's strongest line lies outside of those before it.
    """
    parts = kept_parts(sample_named(truth.word), other_crystal(), scatter, with_room=False)
    own = parts.line_part < parts.n_source
    energy = parts.line_energy_kev[own]
    area = (parts.line_area * truth.strengths[parts.line_part])[own]
    sigma = true_widths(truth, pulse, energy) * width_factor
    channel = pulse.channel(energy)
    left = area.copy()
    found = []
    while left.max(initial=0.0) > _LEAST_AREA * area.max(initial=0.0):
        strongest = int(np.argmax(left))
        near = np.abs(channel - channel[strongest]) < _WINDOW_FWHM * _FWHM * sigma[strongest]
        left[near] = 0.0
        weight = area[near] / area[near].sum()
        one = Wanted(float(energy[near] @ weight), 0.0, channel[near], weight, sigma[near])
        found.append((one, float(area[near].sum())))
    return found


def _u_place(one: Fitted, sigma: float, under: float) -> float:
    """Uncertainty of a place with what the continuum's shape leaves open, as the program's own peaks have it."""
    ratio = one.area / (2.507 * sigma) / max(under, 1e-9)
    return float(np.hypot(one.u_channel, _FWHM * sigma * (0.02 + 0.045 / max(ratio, 0.05))))


def peaks_of_lines(
    counted: CountedSpectrum, truth: Truth, scatter: Sequence[Scatter], curve: LightCurve, guess: Pulse, continuum: str
) -> ShapeFit | None:
    """The program's light model through line groups, their widths tied by one factor; None before 2615 keV stands out.

    Parameters
    ----------
    counted
        The background is subtracted, its noise counted.
    truth
        For areas and widths to expect.
    scatter
        Of the truth's crystal.
    curve
        The program's own light curve.
    guess
        ch(E) that the first round looks with.
    continuum
        One of `CONTINUA`.
    """
    room = counted.background
    net = counted.counts if room is None else counted.counts - room.counts
    # Weights are those of what was counted; what was subtracted counts twice, with its own noise.
    noise = np.zeros(net.size) if room is None else room.counts + room.variance
    pulse, width_factor = guess, 1.0
    shape: ShapeFit | None = None
    for turn in range(_ROUNDS):
        expected = []
        for one, area in wanted_groups(truth, scatter, pulse, width_factor):
            sigma = float(one.sigma.mean())
            near = slice(max(int(one.centre - 1.5 * sigma), 0), int(one.centre + 1.5 * sigma) + 1)
            inside = float(counted.counts[near].sum())
            if area > max(_WORTH_A_FIT * np.sqrt(max(inside, 1.0)), _LEAST_SHARE * inside):
                expected.append(one)
        kept: list[tuple[Fitted, float]] = []
        widths: list[Fitted] = []
        for one in expected:
            if turn < _ROUNDS - 1:
                widths += fit_together(net, noise, [one], continuum, tied=False) or []
            for fit in fit_together(net, noise, [one], continuum, tied=True) or ():
                sigma = float(one.sigma.mean())
                if fit.significance > _GROUP_STANDS_OUT and abs(fit.channel - one.centre) < 1.5 * sigma:
                    middle = int(np.clip(fit.channel, 0, net.size - 1))
                    under = max(float(net[middle]) - fit.area / (2.507 * sigma), 1.0)
                    kept.append((fit, _u_place(fit, sigma, under)))
        if not kept or max(fit.energy_kev for fit, _ in kept) < _LAST_KEV:
            return None
        telling = [w for w in widths if w.u_width_factor < _TELLS_WIDTH * w.width_factor]
        if telling:
            weight = np.array([1.0 / max(w.u_width_factor, 0.02) ** 2 for w in telling])
            change = float(np.exp(weight @ np.log([w.width_factor for w in telling]) / weight.sum()))
            width_factor *= float(np.clip(change, 0.8, 1.25))
        places = [Place(0, fit.energy_kev, fit.u_energy_kev, fit.channel, u) for fit, u in kept]
        try:
            shape = fit_places(curve, places, [pulse])
        except FitError:
            return None
        pulse = shape.pulses[0]
    return shape
