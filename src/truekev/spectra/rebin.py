"""Counts on other channels: shared onto given edges, and whole channels merged."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.spectra.spectrum import ClaimedScale, Spectrum

__all__ = ["Rebinned", "merge_counts", "merge_spectrum", "rebin_counts"]

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Rebinned:
    """Counts on new edges: counts and variance, shape (m,), and the counts below and above the new edges.

    counts.sum() + below + above is the sum of the old counts (to the rounding of the sum).
    """

    counts: Array
    variance: Array
    below: float
    above: float


def rebin_counts(
    counts: npt.ArrayLike, edges: npt.ArrayLike, new_edges: npt.ArrayLike, *, variance: npt.ArrayLike | None = None
) -> Rebinned:
    """Counts on `edges` shared onto `new_edges` by the fraction of overlap.

    Shapes: counts (n,), edges (n + 1,), new edges (m + 1,).

    `variance`, shape (n,), is that of the counts; where absent, the counts themselves (Poisson).

    Raises
    ------
    OutOfRangeError
        Shapes that do not fit, edges that do not rise or are not finite.

    Notes
    -----
    Counts are taken as even inside a channel. The variance is shared by the same fractions as the counts, so that
    the variance of a sum of new channels comes out right; the variance of a single new channel is then an upper
    bound, and neighbours are not independent.
    """
    old = np.asarray(counts, dtype=np.float64)
    old_edges = _rising(edges, "edges")
    target = _rising(new_edges, "new edges")
    spread = old if variance is None else np.asarray(variance, dtype=np.float64)
    if old.ndim != 1 or old_edges.size != old.size + 1 or spread.shape != old.shape:
        raise OutOfRangeError(
            f"{old.size} counts with {old_edges.size} edges and {spread.size} variances: n counts need n + 1 edges "
            "and n variances."
        )
    shared, below, above = _share(old, old_edges, target)
    shared_variance, _, _ = _share(spread, old_edges, target)
    return Rebinned(shared, shared_variance, below, above)


def _rising(values: npt.ArrayLike, name: str) -> Array:
    edges = np.asarray(values, dtype=np.float64)
    if edges.ndim != 1 or edges.size < 2 or not np.all(np.isfinite(edges)) or np.any(np.diff(edges) <= 0):
        raise OutOfRangeError(f"{name}: at least two finite values, each above the one before, are needed.")
    return edges


def _share(values: Array, edges: Array, target: Array) -> tuple[Array, float, float]:
    """Values by overlap on target edges, and what falls below and above.

    The line of all edges is cut into pieces that lie in one old and one new channel; every piece takes its fraction of
    the old channel. A difference of running sums would lose digits where channels differ
    by many orders of magnitude.
    """
    inside = target[(target > edges[0]) & (target < edges[-1])]
    cuts = np.union1d(edges, inside)
    middle = cuts[:-1] + 0.5 * np.diff(cuts)
    of_old = np.clip(np.searchsorted(edges, cuts[:-1], side="right") - 1, 0, values.size - 1)
    piece = values[of_old] * (np.diff(cuts) / np.diff(edges)[of_old])
    of_new = np.searchsorted(target, middle, side="right") - 1
    n_new = target.size - 1
    out = np.bincount(np.clip(of_new, -1, n_new) + 1, weights=piece, minlength=n_new + 2)
    return out[1:-1].astype(np.float64), float(out[0]), float(out[-1])


def merge_counts(counts: npt.ArrayLike, starts: npt.ArrayLike) -> Array:
    """Sums of whole channels: one sum, shape (m,), from each channel number in `starts`, shape (m,), to the next.

    Channels below starts[0] are left out; the last sum takes all channels to the end.

    Raises
    ------
    OutOfRangeError
        Starts that do not rise or lie outside the counts.
    """
    values = np.asarray(counts, dtype=np.float64)
    first = np.asarray(starts, dtype=np.int64)
    if first.ndim != 1 or first.size == 0 or np.any(np.diff(first) <= 0) or first[0] < 0 or first[-1] >= values.size:
        raise OutOfRangeError(f"starts: channel numbers from 0 to {values.size - 1}, each above the one before.")
    return np.asarray(np.add.reduceat(values, first), dtype=np.float64)


def merge_spectrum(spectrum: Spectrum, n_together: int) -> Spectrum:
    """`spectrum` with every `n_together` channels merged into one; its scales follow, its slices are dropped.

    Raises
    ------
    OutOfRangeError
        The number of channels is not a multiple of `n_together`.
    """
    if n_together < 1 or spectrum.n_channels % n_together:
        raise OutOfRangeError(
            f"{n_together} channels together do not divide {spectrum.n_channels} channels; choose a divisor."
        )
    starts = np.arange(0, spectrum.n_channels, n_together)
    return replace(
        spectrum,
        counts=merge_counts(spectrum.counts, starts),
        variance=None if spectrum.variance is None else merge_counts(spectrum.variance, starts),
        claimed_scale=_merged_scale(spectrum.claimed_scale, n_together),
        corrected_scale=_merged_scale(spectrum.corrected_scale, n_together),
        background=None if spectrum.background is None else merge_spectrum(spectrum.background, n_together),
        slices=(),
    )


def _merged_scale(scale: ClaimedScale | None, n_together: int) -> ClaimedScale | None:
    # the new channel j covers the old n j - 1/2 to n j + n - 1/2, so its middle is old coordinate n j + (n - 1)/2
    if scale is None or n_together == 1:
        return scale
    offset = (n_together - 1) / 2
    moved = np.polynomial.Polynomial(scale.coefficients_kev)(np.polynomial.Polynomial([offset, n_together]))
    points = tuple(((x - offset) / n_together, energy) for x, energy in scale.points)
    return ClaimedScale(tuple(float(c) for c in moved.coef), scale.origin, points)
