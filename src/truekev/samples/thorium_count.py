"""Two activities measured in one's own source, and how well a history explains them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2

from truekev.errors import InputError, OutOfRangeError
from truekev.quantity import Measured
from truekev.samples.thorium_states import HALF_LIVES_THAT_MATTER, carried, member_index

__all__ = [
    "Block",
    "Profile",
    "ThoriumCount",
    "check_inputs",
    "edge",
    "joined_block",
    "profile_of",
    "stretches",
    "vertex",
    "worst_fit",
]

FloatArray = npt.NDArray[np.float64]

_WORST_CHANCE = 0.01  # the best of all histories misses the data by so much that chance makes that this rarely


@dataclass(frozen=True)
class ThoriumCount:
    """Two activities measured on one day.

    Parameters
    ----------
    radium, thorium : Measured
        Activities [Bq], each with its standard uncertainty above 0.
    day : float
        Day of the count, on a clock of one's own that all counts share.
    seen_as : tuple of str
        The members whose activities these are. ("Ra-228", "Th-228") if equilibrium below them has been allowed for;
        within two weeks of a separation rather what the lines show: ("Ac-228", "Pb-212") or ("Ac-228", "Tl-208").
    correlation : float
        Correlation of the two, as the fit gives it.
    """

    radium: Measured
    thorium: Measured
    day: float = 0.0
    seen_as: tuple[str, str] = ("Ra-228", "Th-228")
    correlation: float = 0.0

    def __post_init__(self) -> None:
        for name, activity in zip(self.seen_as, (self.radium, self.thorium), strict=True):
            member_index(name)
            if not activity.u > 0:
                raise OutOfRangeError(f"{name} {activity.value:g} Bq: its standard uncertainty must be above 0.")
        if not (math.isfinite(self.day) and abs(self.correlation) < 1):
            raise OutOfRangeError(f"day {self.day}, correlation {self.correlation}: finite, and between -1 and 1.")

    @property
    def values(self) -> FloatArray:
        """Both activities [Bq]."""
        return np.array([self.radium.value, self.thorium.value])

    @property
    def covariance(self) -> FloatArray:
        """Their covariance matrix."""
        off = self.correlation * self.radium.u * self.thorium.u
        return np.array([[self.radium.u**2, off], [off, self.thorium.u**2]])

    def seen(self, states: FloatArray) -> FloatArray:
        """The two members' columns of `states`, shape (…, 2)."""
        return states[..., [member_index(name) for name in self.seen_as]]


@dataclass(frozen=True)
class Block:
    """Counts that share one thorium activity, and what a grid of histories says they should be.

    `model` holds, per Bq of Th-232, what each of the n numbers of `data` should be, shape (…, n); `shifted` the same
    with one half-life longer by its standard uncertainty, once for each that matters.
    """

    data: FloatArray
    covariance: FloatArray
    model: FloatArray
    shifted: tuple[FloatArray, ...]


@dataclass(frozen=True)
class Profile:
    """Least chi-square over the thorium activity at every point of a grid, and that activity with its variance."""

    chi2: FloatArray
    th232_bq: FloatArray
    variance: FloatArray


def profile_of(source: Block, *others: Block, th232: Measured | None = None, u_common: float = 0.0) -> Profile:
    """Chi-square of all blocks over a grid of histories.

    Parameters
    ----------
    source : Block
        The source itself; its thorium activity is the one reported.
    *others : Block
        Counts of something with the same history up to then (the rods before) and a thorium activity of its own.
    th232 : Measured, optional
        Th-232 activity of the source from its weighed mass [Bq].
    u_common : float
        Relative standard uncertainty of the efficiency; it leaves ratios alone and widens the activity.
    """
    activity, variance, misfit = _with_half_lives(source)
    for other in others:
        misfit = misfit + _with_half_lives(other)[2]
    variance = variance + (u_common * activity) ** 2
    if th232 is not None:
        weight = variance / (variance + th232.u**2)
        misfit = misfit + (activity - th232.value) ** 2 / (variance + th232.u**2)
        activity = activity + weight * (th232.value - activity)
        variance = variance * (1 - weight)
    return Profile(misfit, activity, variance)


def _with_half_lives(block: Block) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least squares, the covariance widened by what the half-lives leave open at the activity of a first pass."""
    covariance = np.broadcast_to(block.covariance, (*block.model.shape, len(block.data))).copy()
    activity = _least_squares(block.data, covariance, block.model)[0]
    for other in block.shifted:
        change = activity[..., None] * (other - block.model)
        covariance += change[..., :, None] * change[..., None, :]
    return _least_squares(block.data, covariance, block.model)


def _least_squares(
    data: FloatArray, covariance: FloatArray, model: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Factor (0 or more) of `model` that fits `data` best, its variance, and the chi-square that is left."""
    inverse = np.linalg.inv(covariance)
    weighted = np.einsum("...ij,...j->...i", inverse, model)
    information = np.einsum("...i,...i->...", weighted, model)
    factor = np.maximum(weighted @ data / information, 0.0)
    rest = data - factor[..., None] * model
    return factor, 1 / information, np.einsum("...i,...ij,...j->...", rest, inverse, rest)


def check_inputs(counts: Sequence[ThoriumCount], th232: Measured | None, u_common: float, coverage: float) -> None:
    """Refuse what no history can be sought with."""
    if not counts:
        raise InputError("no count is given; at least one is needed.")
    if th232 is not None and not th232.u > 0:
        raise OutOfRangeError("the Th-232 activity from the balance needs a standard uncertainty above 0.")
    if not (0 <= u_common < 1 and 0 < coverage < 1):
        raise OutOfRangeError(
            f"common uncertainty {u_common} (a relative one from 0 to below 1), coverage {coverage} (between 0 and 1)."
        )


def worst_fit(n_numbers: int, n_unknowns: int) -> float:
    """Chi-square above which a kind of history is said not to fit; boundaries count as one degree of freedom."""
    return float(chi2.isf(_WORST_CHANCE, max(n_numbers - n_unknowns, 1)))


def joined_block(
    counts: Sequence[ThoriumCount], start_day: float, states: FloatArray, shifted: Sequence[FloatArray]
) -> Block:
    """All counts of one source as one block, from its possible states on `start_day`, shape (…, members)."""
    covariance = np.zeros((2 * len(counts), 2 * len(counts)))
    for i, count in enumerate(counts):
        covariance[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = count.covariance

    def model(of: FloatArray, longer: str = "") -> FloatArray:
        parts = [count.seen(carried(of, count.day - start_day, longer)) for count in counts]
        return np.concatenate(parts, axis=-1)

    return Block(
        data=np.concatenate([count.values for count in counts]),
        covariance=covariance,
        model=model(states),
        shifted=tuple(model(of, longer) for of, longer in zip(shifted, HALF_LIVES_THAT_MATTER, strict=True)),
    )


def stretches(chi2_of: FloatArray, highest: float) -> list[int]:
    """Index of the lowest point of every stretch of the grid below `highest`."""
    inside = np.flatnonzero(chi2_of <= highest)
    parts = np.split(inside, np.flatnonzero(np.diff(inside) > 1) + 1)
    return [int(part[np.argmin(chi2_of[part])]) for part in parts if len(part)]


def edge(grid: FloatArray, chi2_of: FloatArray, i: int, step: int, highest: float) -> float | None:
    """Where the chi-square passes `highest` on the way from point `i` of the grid; None if it does not."""
    while 0 <= i + step < len(chi2_of):
        here, there = float(chi2_of[i]), float(chi2_of[i + step])
        if there > highest:
            part = (highest - here) / (there - here)
            return float(grid[i] + part * (grid[i + step] - grid[i]))
        i += step
    return None


def vertex(grid: FloatArray, chi2_of: FloatArray, i: int) -> float:
    """Where the minimum next to point `i` of the grid lies, from a parabola through three points."""
    if not 0 < i < len(chi2_of) - 1:
        return float(grid[i])
    a, b, _ = np.polyfit(grid[i - 1 : i + 2] - grid[i], chi2_of[i - 1 : i + 2], 2)
    return float(np.clip(grid[i] - b / (2 * a), grid[i - 1], grid[i + 1])) if a > 0 else float(grid[i])
