"""The start: gain and zero of a spectrum of unknown gain, from its whole shape.

Every hypothesis (gain, zero, peak width) is tried on a grid. For each, the templates of the declared
source, of scatter, of the room and of a smooth remainder are fitted to the counts with non-negative
strengths; what is compared is how much of the spectrum's structure stays unexplained. Counts are merged
so that a bin is a fixed part of a peak's width whatever the gain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from numba import njit

from truekev.scale.templates import TemplateSet

__all__ = [
    "BACKGROUND_U",
    "FULL_SCALE_KEV",
    "Candidate",
    "MeasuredBackground",
    "SearchData",
    "last_channel",
    "prepare",
    "scan",
    "search",
]

Array = npt.NDArray[np.float64]

# A template is this far wrong, in part of the counts of a bin; without it strong spectra would be
# judged by the crudeness of the templates.
_MODEL_ERROR = 0.05
_CAP = 25.0
_LAST = 8  # channels before the last that tell whether it collects an overflow
_GAIN_STEP = 0.018  # relative; the refinement reaches over several steps
FULL_SCALE_KEV = (400.0, 6500.0)
BACKGROUND_U = 0.05  # relative, of a measured background's scaling: dead time, a room that changes
_LOWEST_PULSE_KEV = 40.0  # below it trigger and threshold shape the spectrum


@dataclass(frozen=True)
class SearchData:
    """A spectrum merged for the search.

    Parameters
    ----------
    edges : ndarray, shape (n + 1,)
        Bin edges in the pulse coordinate.
    counts, variance : ndarray, shape (n,)
        Counts and the variance used to weigh them (statistics and template error).
    background : ndarray, shape (n,)
        A measured background in the same bins, scaled to the spectrum's counting time; zeros if there is none.
    background_precision : float
        1 / variance of the background's strength about 1; 0 where a counting time is unknown.
    n_channels : int
        Channels of the spectrum.
    """

    edges: Array
    counts: Array
    variance: Array
    background: Array
    background_precision: float
    n_channels: int

    @cached_property
    def null_chi2(self) -> Array:
        """Chi-square per bin of a smooth curve through the counts: what a bin costs when it is left out."""
        n = self.counts.size
        half = max(n // 25, 3)
        kernel = np.bartlett(2 * half + 3)[1:-1]
        padded = np.pad(self.counts, half, mode="edge")
        smooth = np.convolve(padded, kernel / kernel.sum(), mode="valid")
        return np.asarray(np.minimum((self.counts - smooth) ** 2 / self.variance, _CAP))


@dataclass(frozen=True)
class Candidate:
    """One hypothesis: nominal gain [channels per keV-equivalent], zero [channels], width (FWHM/E at
    661.655 keV), its chi-square, and the strengths of the templates [counts].
    """

    gain: float
    c0: float
    width: float
    chi2: float
    strengths: Array


@dataclass(frozen=True)
class MeasuredBackground:
    """A background per channel, scaled to the counting time of the spectrum it goes with.

    Parameters
    ----------
    counts : ndarray, shape (n,)
        Scaled counts.
    variance : ndarray, shape (n,)
        Their variance.
    u_scale : float or None
        Relative standard uncertainty of the scaling; None where a counting time is unknown.
    """

    counts: Array
    variance: Array
    u_scale: float | None

    @cached_property
    def _running(self) -> tuple[tuple[Array, float], tuple[Array, float]]:
        """Of counts and of variance the sums below every channel edge, and what one channel above the last adds.

        A last channel that collected an overflow is no such channel.
        """
        last = last_channel(self.counts)
        kept = last + 1 if np.any(self.counts[last + 1 :] > 0) else self.counts.size

        def below(values: Array) -> tuple[Array, float]:
            return np.concatenate(([0.0], np.cumsum(values[:kept]))), float(values[max(kept - _LAST, 0) : kept].mean())

        return below(self.counts), below(self.variance)

    def between(self, edges: Array, log_ratio: float, c0: float) -> tuple[Array, Array]:
        """Counts and their variance between edges [channels], as counted at exp(`log_ratio`) times its gain.

        Channel `c0` stays where it is, counts are taken as even inside a channel. What a last channel collected as
        overflow stays out; what a smaller gain brings in from above is taken to be as the last channels are. The
        variance is shared as the counts are: right for sums, an upper bound for bins less than a channel wide.
        """
        at = c0 + (edges - c0) * np.exp(-log_ratio) + 0.5

        def found(below: Array, more: float) -> Array:
            channel = np.clip(at.astype(np.int64), 0, below.size - 2)
            share = np.maximum(at - channel, 0.0)
            inside = below[channel] + np.minimum(share, 1.0) * (below[channel + 1] - below[channel])
            return np.asarray(np.diff(inside + np.maximum(at - (below.size - 1), 0.0) * more))

        counts, variance = (found(*one) for one in self._running)
        return counts, variance

    def at_gain(self, log_ratio: float, c0: float) -> MeasuredBackground:
        """The same per channel; see `between`."""
        if log_ratio == 0.0:
            return self
        counts, variance = self.between(np.arange(self.counts.size + 1, dtype=np.float64) - 0.5, log_ratio, c0)
        return replace(self, counts=counts, variance=variance)


def last_channel(counts: Array) -> int:
    """Index of the last channel that holds counts, the one before where that collects the overflow.

    A spectrum without counts ends with its last channel.
    """
    occupied = np.flatnonzero(counts > 0)
    last = int(occupied[-1]) if occupied.size else counts.size - 1
    before = counts[max(last - _LAST, 0) : last]
    if last > _LAST and counts[last] > before.mean() + 6.0 * np.sqrt(before.mean() + 1.0):
        last -= 1
    return last


def prepare(counts: Array, background: MeasuredBackground | None = None) -> SearchData:
    """Merge a spectrum into bins of about a fifth of the narrowest peak expected, at least one channel.

    Channels before the first count and a last channel that collects the overflow are left out.
    """
    n = counts.size
    occupied = np.flatnonzero(counts > 0)
    first = int(occupied[0]) if occupied.size else 0
    last = last_channel(counts)
    edges = [float(first)]
    while edges[-1] < last + 1:
        edges.append(edges[-1] + max(1.0, round(0.006 * np.sqrt(edges[-1] * n))))
    edges[-1] = float(last + 1)
    whole = np.asarray(edges, dtype=np.int64)
    merged = np.add.reduceat(counts[: last + 1], whole[:-1])
    # Variance from neighbours as well: a bin that happens to be low must not weigh more for it.
    smooth = np.convolve(np.pad(merged, 2, mode="edge"), np.full(5, 0.2), mode="valid")
    variance = np.maximum(smooth, 1.0) + (_MODEL_ERROR * smooth) ** 2
    room = np.zeros(n)
    precision = 0.0
    if background is not None:
        room = background.counts
        variance = variance + np.add.reduceat(background.variance[: last + 1], whole[:-1])
        precision = 1.0 / background.u_scale**2 if background.u_scale else 0.0
    return SearchData(
        np.asarray(whole - 0.5, dtype=np.float64),
        merged,
        np.asarray(variance, dtype=np.float64),
        np.add.reduceat(room[: last + 1], whole[:-1]),
        precision,
        n,
    )


@njit(cache=True)
def _chi2(
    edges: Array,
    counts: Array,
    variance: Array,
    background: Array,
    background_precision: float,
    null_chi2: Array,
    cumulative: Array,
    u_step: float,
    gain: float,
    c0: float,
    strengths: Array,
) -> float:  # pragma: no cover - compiled
    """Chi-square of one hypothesis; fills `strengths` (templates, then background)."""
    n = counts.size
    m, n_templates = cumulative.shape
    k_all = n_templates + 1
    design = np.empty((n, k_all))
    used = np.zeros(n, dtype=np.bool_)
    low = np.empty(n_templates)
    high = np.empty(n_templates)
    chi2 = 0.0
    for i in range(n + 1):
        pulse = (edges[i] - c0) / gain
        position = np.sqrt(pulse) / u_step if pulse > 0.0 else 0.0
        index = min(int(position), m - 2)
        share = min(position - index, 1.0)
        for k in range(n_templates):
            high[k] = cumulative[index, k] + share * (cumulative[index + 1, k] - cumulative[index, k])
        if i > 0:
            used[i - 1] = (edges[i - 1] - c0) / gain >= _LOWEST_PULSE_KEV
            for k in range(n_templates):
                design[i - 1, k] = high[k] - low[k]
            design[i - 1, n_templates] = background[i - 1]
        for k in range(n_templates):
            low[k] = high[k]
    normal = np.zeros((k_all, k_all))
    right = np.zeros(k_all)
    for i in range(n):
        if not used[i]:
            chi2 += null_chi2[i]
            continue
        weight = 1.0 / variance[i]
        for a in range(k_all):
            wa = weight * design[i, a]
            right[a] += wa * counts[i]
            for b in range(a + 1):
                normal[a, b] += wa * design[i, b]
    normal[n_templates, n_templates] += background_precision
    right[n_templates] += background_precision
    for a in range(k_all):
        for b in range(a):
            normal[b, a] = normal[a, b]
    strengths[:] = 0.0
    # `right` is kept as what the strengths found so far leave of it.
    for _ in range(200):
        moved = 0.0
        for a in range(k_all):
            if normal[a, a] <= 0.0:
                continue
            new = max(strengths[a] + right[a] / normal[a, a], 0.0)
            change = new - strengths[a]
            if change == 0.0:
                continue
            moved = max(moved, change * change * normal[a, a])
            strengths[a] = new
            for b in range(k_all):
                right[b] -= normal[a, b] * change
        if moved < 1e-3:
            break
    for i in range(n):
        if used[i]:
            model = 0.0
            for a in range(k_all):
                model += design[i, a] * strengths[a]
            chi2 += min((counts[i] - model) ** 2 / variance[i], _CAP)
    return chi2


@njit(cache=True)
def _scan(
    edges: Array,
    counts: Array,
    variance: Array,
    background: Array,
    background_precision: float,
    null_chi2: Array,
    stack: Array,
    u_step: float,
    hypotheses: Array,
) -> tuple[Array, Array]:  # pragma: no cover - compiled
    """Chi-square and strengths of every hypothesis (gain, c0, index of width)."""
    chi2 = np.empty(hypotheses.shape[0])
    strengths = np.zeros((hypotheses.shape[0], stack.shape[2] + 1))
    for h in range(hypotheses.shape[0]):
        chi2[h] = _chi2(
            edges,
            counts,
            variance,
            background,
            background_precision,
            null_chi2,
            stack[int(hypotheses[h, 2])],
            u_step,
            hypotheses[h, 0],
            hypotheses[h, 1],
            strengths[h],
        )
    return chi2, strengths


def scan(
    data: SearchData, templates: TemplateSet, hypotheses: Array, edges: Array | None = None
) -> tuple[Array, Array]:
    """Chi-square and strengths of every row (gain, c0, index of width) of `hypotheses`.

    `edges`, shape (n + 1,), stand in place of the data's own.
    """
    return _scan(
        data.edges if edges is None else edges,
        data.counts,
        data.variance,
        data.background,
        data.background_precision,
        data.null_chi2,
        templates.by_place,
        float(templates.u[1]),
        np.ascontiguousarray(hypotheses, dtype=np.float64),
    )


def search(
    data: SearchData,
    templates: TemplateSet,
    *,
    full_scale_kev: tuple[float, float] = FULL_SCALE_KEV,
    zero_kev: float = 20.0,
    n_best: int = 6,
) -> list[Candidate]:
    """The best hypotheses with clearly different gains, best first."""
    span = np.log(full_scale_kev[1] / full_scale_kev[0])
    full = np.exp(np.linspace(0, span, int(span / _GAIN_STEP) + 2)) * full_scale_kev[0]
    zeros = np.linspace(-zero_kev, zero_kev, 3) * 0.7
    rows = []
    for width in range(0, templates.widths.size, 2):
        for kev in full:
            gain = data.n_channels / kev
            rows += [(gain, zero * gain, width) for zero in zeros]
    hypotheses = np.array(rows)
    chi2, strengths = scan(data, templates, hypotheses)
    best: list[Candidate] = []
    for h in np.argsort(chi2):
        gain, c0, width = hypotheses[h]
        if any(abs(np.log(gain / other.gain)) < 0.06 for other in best):
            continue
        best.append(Candidate(gain, c0, float(templates.widths[int(width)]), float(chi2[h]), strengths[h]))
        if len(best) == n_best:
            break
    return best
