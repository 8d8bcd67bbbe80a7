"""A whole spectrum as a sum of components, background and what surroundings add; everything unknown a parameter.

The mean of bin i is

    t · Σ_k a_k [main_k + f · forward_k + b · back_k + w · wider_k + v · tilted_k]_i + p · sums_i
    + r · background_i(own gain) + Σ_s c_s smooth_is,

the bin's edges moving with the parameters of the energy scale, the templates with the depth of matter about the
activity where that is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.special import ndtr

from truekev.samples.binned import Binned, u_of_edges
from truekev.samples.component_templates import TEMPLATE_PARTS, ComponentTemplates
from truekev.samples.knowledge import (
    BACK,
    DEPTH,
    FIRST_SMOOTH,
    FORWARD,
    GAIN,
    LEVEL,
    N_PLAIN,
    N_SCALE,
    ONCE,
    PILE_UP,
    SCALE,
    SIDE,
    TILT,
    WIDTH,
    Knowledge,
    bells,
    model_covariance,
)
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.find_groups import PeakWidth
from truekev.scale.light import REFERENCE_KEV, Pulse
from truekev.scale.templates import LineSet

__all__ = ["SpectrumModel"]

Array = npt.NDArray[np.float64]

_LEAST_MEAN = 0.05
_FARTHEST = 2.5  # standard uncertainties that a parameter of the scale may move


class SpectrumModel:
    """A binned spectrum, its scale, all components that may be in it, and what is known.

    Parameters
    ----------
    data, scale, templates
        Counts, energy scale, and templates of all components.
    knowledge
    smooth
        Whether smooth parts of free strength are in it (a spectrum without a background).

    Attributes
    ----------
    smoothed : ndarray, shape (n,)
        The counts less background, each with its neighbours.
    expected, precision : ndarray
        What the shared parameters (`knowledge.FORWARD` and so on) are held to, and how firmly.
    reach : ndarray, shape (12,)
        How far a parameter of the scale may move.
    """

    def __init__(
        self,
        data: Binned,
        scale: EnergyScale,
        templates: ComponentTemplates,
        knowledge: Knowledge | None = None,
        *,
        smooth: bool | None = None,
    ) -> None:
        self.data = data
        self.scale = scale
        self.templates = templates
        self.known = knowledge or Knowledge()
        self.smooth = data.background is None if smooth is None else smooth
        self._u0 = u_of_edges(scale, data.edges)
        at_kev = np.clip(scale.energy_kev(np.maximum(data.edges, scale.channel(5.0))), 5.0, 3900.0)
        self._per_parameter = scale.pulse.jacobian(at_kev)
        middle = 0.5 * (self._u0[1:] + self._u0[:-1])
        self._fwhm_u = float(0.5 * scale.fwhm_662 * np.sqrt(661.655))
        self._centres, self._bells = bells(self._u0, self._fwhm_u)
        self.expected, self.precision = self._prior()
        counts = np.convolve(np.pad(data.counts, 1, mode="edge"), np.full(3, 1.0 / 3.0), mode="valid")
        self.smoothed = np.maximum(counts - data.expected_background, 0.0)
        # What may well be noise makes no error of the model.
        chance = np.sqrt((counts + data.background_times * data.expected_background) / 3.0)
        own = np.maximum(self.smoothed - chance, 0.0)
        self._error = model_covariance(own, middle, self._fwhm_u, self.known)
        above_kev = scale.energy_kev(0.5 * (data.edges[1:] + data.edges[:-1])) - data.first_kev
        cut = np.exp(-np.maximum(above_kev, 0.0) / self.known.threshold_kev) * self.smoothed
        self._error = self._error + np.outer(cut, cut) * np.exp(
            -0.5 * ((middle[:, None] - middle[None, :]) / self._fwhm_u) ** 2
        )

    @property
    def n_bins(self) -> int:
        """Number of bins."""
        return self.data.counts.size

    def _prior(self) -> tuple[Array, Array]:
        known = self.known
        total = float(self.data.counts.sum())
        covariance = self.scale.covariance.copy() + 1e-10 * np.eye(N_SCALE)
        covariance[1, 1] += known.u_gain**2
        self.reach = _FARTHEST * np.sqrt(np.diag(covariance))
        n_smooth = self._centres.size if self.smooth else 0
        n = FIRST_SMOOTH + n_smooth
        start, precision = np.zeros(n), np.zeros((n, n))
        start[[FORWARD, BACK, SIDE, ONCE]] = known.forward, known.back, known.side, known.once
        start[[LEVEL, DEPTH]] = 1.0, self.templates.bare
        spread = [known.u_forward, known.u_back, known.u_side, known.u_once, known.u_width, known.u_tilt]
        spread += [known.u_pile_up, known.u_level, known.u_background_gain, known.u_depth]
        precision[range(N_PLAIN), range(N_PLAIN)] = 1.0 / np.square(spread)
        precision[SCALE, SCALE] = np.linalg.inv(covariance)
        rest = range(FIRST_SMOOTH, n)
        precision[rest, rest] = 1.0 / (total + 10.0) ** 2
        return start, precision

    def _moved(self, shift: Array) -> Array:
        """Edges on the axis u once the scale's parameters have moved by `shift`."""
        if not np.any(shift):
            return self._u0
        return u_of_edges(replace(self.scale, pulse=self._pulse(shift)), self.data.edges)

    def _pulse(self, shift: Array) -> Pulse:
        """The light model with its parameters moved."""
        pulse = self.scale.pulse
        return replace(
            pulse,
            c0=pulse.c0 + shift[0],
            gain=pulse.gain * float(np.exp(shift[1])),
            kappa=pulse.kappa + shift[2],
            s_per_mev=pulse.s_per_mev + shift[3],
            psi=tuple((np.asarray(pulse.psi) + shift[4:]).tolist()),
        )

    def _counts(self, cumulative: Array, u: Array) -> Array:
        """Counts in the bins of cumulative rates per second, shape (k, n)."""
        step = float(self.templates.u[1])
        at = np.clip(u / step, 0.0, self.templates.u.size - 1.001)
        low = at.astype(int)
        share = at - low
        below = (1.0 - share) * cumulative[:, low] + share * cumulative[:, low + 1]
        return np.asarray(np.diff(below, axis=1) * self.data.time_s)

    def _at_depth(self, which: str, indices: Sequence[int] | slice, depth: float) -> Array:
        """Templates between two depths, shape (k, m)."""
        stack: Array = getattr(self.templates, which)
        if self.templates.n_depths == 1:
            return np.asarray(stack[0, indices])
        low = min(int(depth), self.templates.n_depths - 2)
        share = depth - low
        return np.asarray((1.0 - share) * stack[low, indices] + share * stack[low + 1, indices])

    def _stack(self, indices: Sequence[int] | slice, shared: Array, depth: float) -> Array:
        stack = self._at_depth("main", indices, depth)
        for name, factor in zip(TEMPLATE_PARTS[1:], (BACK, FORWARD, SIDE, ONCE, WIDTH, TILT), strict=True):
            stack = stack + shared[factor] * self._at_depth(name, indices, depth)
        return np.asarray(stack)

    def columns(self, indices: Sequence[int] | slice, shared: Array) -> Array:
        """Counts per unit strength of some components at given shared parameters, shape (k, n)."""
        return self._counts(self._stack(indices, shared, float(shared[DEPTH])), self._moved(shared[SCALE]))

    def design(self, indices: list[int], values: Array) -> tuple[Array, Array, Array]:
        """Mean, part of it that is no measured background, and derivatives by all parameters."""
        k = len(indices)
        strengths, shared = values[:k], values[k:]
        u = self._moved(shared[SCALE])
        depth = float(shared[DEPTH])
        stack = self._stack(indices, shared, depth)
        own = self._counts(stack, u)
        parts = ("forward", "back", "side", "once", "wider", "tilted")
        mixed = [strengths @ self._at_depth(name, indices, depth) for name in parts]
        if self.templates.n_depths > 1:
            low = min(int(depth), self.templates.n_depths - 2)
            deeper = self._stack(indices, shared, low + 1.0) - self._stack(indices, shared, float(low))
            mixed.append(strengths @ deeper)
        else:
            mixed.append(np.zeros_like(mixed[0]))
        *plain, deeper = self._counts(np.array(mixed), u)
        sample = strengths @ own
        smooth = []
        if self.smooth:
            smooth = [np.diff(ndtr((u - at) / wide)) for at, wide in zip(self._centres, self._bells, strict=True)]
            sample = sample + shared[FIRST_SMOOTH:] @ np.array(smooth)
        sample = sample + shared[PILE_UP] * self.data.pile_up
        mean = sample.copy()
        room, of_gain = np.zeros(self.n_bins), np.zeros(self.n_bins)
        if self.data.background is not None and self.data.background_slope is not None:
            # Derivatives by its smoothed form: along its own noise a level would be drawn low, and strengths high.
            room, of_gain = self.data.expected_background, shared[LEVEL] * self.data.background_slope
            mean = mean + shared[LEVEL] * self.data.background + shared[GAIN] * of_gain
        moved = self._shifted(strengths @ stack, u)
        design = np.column_stack([*own, *plain, self.data.pile_up, room, of_gain, deeper, *moved.T, *smooth])
        return mean, sample, design

    def _shifted(self, cumulative: Array, u: Array) -> Array:
        """Change of the counts as the scale's parameters move, shape (n, 12)."""
        half = 0.04
        density = np.interp(u + half, self.templates.u, cumulative) - np.interp(u - half, self.templates.u, cumulative)
        per_channel = density / (2 * half) * np.gradient(u, self.data.edges) * self.data.time_s
        return np.asarray(-np.diff(per_channel[:, None] * self._per_parameter, axis=0))

    def noise(self, sample: Array, level: float) -> Array:
        """Variance by counting where the sample makes `sample`: its counts, the background's, and its noise."""
        data = self.data
        room = np.maximum(data.expected_background, _LEAST_MEAN * data.background_times)
        return np.maximum(sample, 0.0) + (level + data.background_times) * room + _LEAST_MEAN

    def weight(self, sample: Array, level: float = 1.0) -> Array:
        """Inverse covariance of the counts where the sample makes `sample` and the background stands at `level`."""
        covariance = self._error + np.diag(self.noise(sample, level))
        return np.asarray(cho_solve(cho_factor(covariance), np.eye(self.n_bins)))

    def sigma_kev(self, energy_kev: float) -> float:
        """Standard deviation of a full-energy peak [keV]."""
        width = PeakWidth(self.scale.fwhm_662, self.scale.fwhm_slope)
        at = np.array([energy_kev])
        return float((width.sigma_channels(self.scale.pulse, at) / self.scale.pulse.slope_per_kev(at))[0])

    @property
    def lowest_kev(self) -> float:
        """Energy of the lowest edge."""
        return float(self.scale.energy_kev(self.data.edges[0]))

    @property
    def highest_kev(self) -> float:
        """Energy of the highest edge."""
        return float(self.scale.energy_kev(self.data.edges[-1]))

    def peak_columns(self, energy_kev: Array, shared: Array) -> Array:
        """Full-energy peaks of one count each at the given energies, shape (n, bins)."""
        pulse = self._pulse(shared[SCALE])
        width = PeakWidth(self.scale.fwhm_662, self.scale.fwhm_slope)
        wider = 1.0 + shared[WIDTH] + shared[TILT] * np.log(energy_kev / REFERENCE_KEV)
        sigma = wider * width.sigma_channels(pulse, energy_kev)
        below = ndtr((self.data.edges[None, :] - pulse.channel(energy_kev)[:, None]) / sigma[:, None])
        return np.asarray(np.diff(below, axis=1))

    def peak_areas(self, lines: LineSet, shared: Array) -> Array:
        """Full-energy counts of lines at unit strength."""
        return np.asarray(self.data.time_s * self.templates.peak_rates(lines, float(shared[DEPTH])))

    def misfit(self, mean: Array, sample: Array, level: float, off: Array, precision: Array) -> float:
        """-2 ln L but for a constant: counts about `mean`, and parameters `off` what they are held to."""
        residual = self.data.counts - mean
        weight = self.weight(sample, level)
        chi2 = residual @ weight @ residual + off @ precision @ off
        return float(chi2 - np.linalg.slogdet(weight)[1])
