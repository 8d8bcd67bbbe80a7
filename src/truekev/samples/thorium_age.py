"""Age, thorium activity and radium kept, from the measured activities of Ra-228 and Th-228 in one's own source.

A spectrum shows the two parts of the series that grow in separately: Ra-228 (seen in Ac-228) and Th-228 (seen in
Pb-212, Tl-208 …). Thorium itself hardly shows. Two numbers do not fix three unknowns, and after a refining the ratio of
the two passes equilibrium at 4.55 years, rises to 1.21 at 7.9 years and comes back: it has two ages for every value
between 1 and 1.21. So the answer is a set, found from the likelihood over all ages; a weighed mass of thorium, or a
second count months later, may leave one member of it.

Two histories are offered: thorium refined some years ago and left alone since (here), and a known recent
separation that kept an unknown part of the radium (`radium_kept`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from truekev.quantity import Measured
from truekev.samples.thorium_count import (
    Profile,
    ThoriumCount,
    check_inputs,
    edge,
    joined_block,
    profile_of,
    stretches,
    vertex,
    worst_fit,
)
from truekev.samples.thorium_states import AGES_YEARS, HALF_LIVES_THAT_MATTER, refined_states

__all__ = ["Refined", "Solution", "thorium_refined"]

_NARROW_YEARS, _NARROW_RATIO = 0.5, 1.5  # a stretch that ends by half a year, or at 1.5 times its start, is one age


@dataclass(frozen=True)
class Solution:
    """One stretch of ages that agree with the data.

    `low_years` and `high_years` bound it; None: it goes on to the end of the range (one day, 120 years). `distance` is
    that of its best age from the best of all, in 2 ln L. `th232` is the Th-232 activity at that age [Bq], `th232_bq`
    bounds it over the whole stretch, two standard uncertainties beyond the least and the most.
    """

    years: float
    low_years: float | None
    high_years: float | None
    th232: Measured
    distance: float
    th232_bq: tuple[float, float]


@dataclass(frozen=True)
class Refined:
    """Thorium refined once: the ages that agree, at the first count.

    `fits` is False where no age does; `verdict` is "one age", "cannot tell" (several stretches, one without
    an end, or a wide one around the maximum of the ratio, where two ages run together) or "does not fit".
    """

    fits: bool
    verdict: str
    solutions: tuple[Solution, ...]
    least_chi2: float
    coverage: float
    words: str


def thorium_refined(
    counts: Sequence[ThoriumCount],
    *,
    th232: Measured | None = None,
    u_common: float = 0.0,
    coverage: float = 0.95,
) -> Refined:
    """Ages since refining that agree with the counts, each with its Th-232 activity.

    Parameters
    ----------
    counts : sequence of ThoriumCount
        One count, or more of the same source on later days; ages hold on the day of the first.
    th232 : Measured, optional
        Th-232 activity from the weighed mass [Bq].
    u_common : float
        Relative standard uncertainty of the efficiency that all activities share.
    coverage : float
        Coverage probability of the stretches of ages.

    Returns
    -------
    Refined
        Solutions in the order of age.

    Notes
    -----
    Normal likelihood, the Th-232 activity profiled away; stretches are where 2 ln L lies within the quantile of
    chi-square with one degree of freedom of its best. Uncertainties of the half-lives of Ra-228 and Th-228 are in it.
    Radon is taken to stay. Coverage is studied in docs/validation/thorium_age.md.
    """
    check_inputs(counts, th232, u_common, coverage)
    ordered = sorted(counts, key=lambda count: count.day)
    shifted = [refined_states(name) for name in HALF_LIVES_THAT_MATTER]
    block = joined_block(ordered, ordered[0].day, refined_states(), shifted)
    profile = profile_of(block, th232=th232, u_common=u_common)
    allowed = float(chi2.ppf(coverage, 1))
    best = float(profile.chi2.min())
    solutions = tuple(
        Solution(
            years=vertex(AGES_YEARS, profile.chi2, i),
            low_years=edge(AGES_YEARS, profile.chi2, i, -1, best + allowed),
            high_years=edge(AGES_YEARS, profile.chi2, i, +1, best + allowed),
            th232=Measured(float(profile.th232_bq[i]), math.sqrt(float(profile.variance[i])), "Bq"),
            distance=float(profile.chi2[i] - best),
            th232_bq=_bounds(profile, i, best + allowed),
        )
        for i in stretches(profile.chi2, best + allowed)
    )
    fits = best <= worst_fit(2 * len(counts) + (th232 is not None), 2)
    is_one = len(solutions) == 1 and _is_narrow(solutions[0])
    verdict = "does not fit" if not fits else "one age" if is_one else "cannot tell"
    return Refined(fits, verdict, solutions, best, coverage, _refined_words(verdict, solutions))


def _bounds(profile: Profile, i: int, highest: float) -> tuple[float, float]:
    """Th-232 activity over the stretch of ages around point `i` whose chi-square is not above `highest`."""
    inside = profile.chi2 <= highest
    outside = np.flatnonzero(~inside)
    start = int(outside[outside < i].max(initial=-1)) + 1
    stop = int(outside[outside > i].min(initial=inside.size))
    of, u = profile.th232_bq[start:stop], np.sqrt(profile.variance[start:stop])
    return max(float((of - 2 * u).min()), 0.0), float((of + 2 * u).max())


def _is_narrow(solution: Solution) -> bool:
    low, high = solution.low_years, solution.high_years
    return high is not None and (high <= _NARROW_YEARS or (low is not None and high <= _NARROW_RATIO * low))


def _span(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return "any age"
    if low is None:
        return f"less than {high:.3g} years"
    return f"more than {low:.3g} years" if high is None else f"{low:.3g} to {high:.3g} years"


def _refined_words(verdict: str, solutions: Sequence[Solution]) -> str:
    if verdict == "does not fit":
        return "No age fits: this is not thorium that was refined once and left alone."
    spans = [f"{_span(s.low_years, s.high_years)} (Th-232 {s.th232} at {s.years:.3g} years)" for s in solutions]
    if verdict == "one age":
        return f"Refined {spans[0]} before the first count."
    return "Cannot tell: " + " or ".join(spans) + ". A weighed mass or a second count months later may decide."
