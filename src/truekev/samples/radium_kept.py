"""Fraction of the radium that a separation on a known day left in the source.

See `thorium_age` for what a spectrum tells of thorium at all. Here the thorium, of unknown age, went through one more
separation (the dissolving of rods, a wash) that kept an unknown part of its radium.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from truekev.errors import InputError
from truekev.quantity import Measured
from truekev.samples.thorium_count import (
    ThoriumCount,
    check_inputs,
    edge,
    joined_block,
    profile_of,
    stretches,
    vertex,
    worst_fit,
)
from truekev.samples.thorium_states import (
    AGES_YEARS,
    HALF_LIVES_THAT_MATTER,
    carried,
    refined_states,
    without_radium,
)

__all__ = ["RadiumKept", "radium_kept_at"]

_KEPT = np.linspace(0.0, 1.0, 201)
_WIDEST_FOUND = 0.5  # an interval wider than half of all that is possible does not say what was kept


@dataclass(frozen=True)
class RadiumKept:
    """Thorium of unknown age that lost part of its radium in a known separation.

    Intervals bound what agrees with the data at the stated coverage, whatever the other unknowns are; ages are those
    at the count before, or without one at the separation. `verdict` is "kept fraction
    found", "cannot tell" or "does not fit".
    """

    fits: bool
    verdict: str
    kept: float
    kept_interval: tuple[float, float]
    th232_bq: tuple[float, float]
    age_before_years: tuple[tuple[float, float], ...]
    least_chi2: float
    coverage: float
    words: str


def radium_kept_at(
    counts: Sequence[ThoriumCount],
    separated_on_day: float,
    *,
    before: ThoriumCount | None = None,
    th232: Measured | None = None,
    u_common: float = 0.0,
    coverage: float = 0.95,
) -> RadiumKept:
    """Fraction of the radium that a separation on a known day left in the source.

    Parameters
    ----------
    counts : sequence of ThoriumCount
        Counts after the separation.
    separated_on_day : float
        Its day, on the clock of the counts.
    before : ThoriumCount, optional
        A count before it (of the rods); its thorium activity need not be that of the source. Without it the age before
        the separation, anything up to 120 years, is one more unknown.
    th232, u_common, coverage
        As for `thorium_refined`.

    Raises
    ------
    InputError
        A count on the wrong side of the separation.
    """
    check_inputs(counts, th232, u_common, coverage)
    if any(count.day < separated_on_day for count in counts) or (before and before.day > separated_on_day):
        raise InputError(
            f"separation on day {separated_on_day:g}: the counts of the source must lie on it or after it, "
            "the one before on it or before it."
        )
    shifted = [refined_states(name) for name in HALF_LIVES_THAT_MATTER]
    wait = 0.0 if before is None else separated_on_day - before.day
    at_loss = carried(refined_states(), wait)
    others = [carried(of, wait, longer) for of, longer in zip(shifted, HALF_LIVES_THAT_MATTER, strict=True)]
    source = joined_block(
        counts, separated_on_day, without_radium(at_loss, _KEPT), [without_radium(of, _KEPT) for of in others]
    )
    rods = []
    if before is not None:
        block = joined_block([before], before.day, refined_states()[:, None, :], [of[:, None, :] for of in shifted])
        rods.append(block)
    profile = profile_of(source, *rods, th232=th232, u_common=u_common)
    highest = float(profile.chi2.min()) + float(chi2.ppf(coverage, 1))
    inside = profile.chi2 <= highest
    reach = np.sqrt((highest - profile.chi2[inside]) * profile.variance[inside])
    by_kept, by_age = profile.chi2.min(axis=0), profile.chi2.min(axis=1)
    found = np.flatnonzero(by_kept <= highest)
    interval = (
        edge(_KEPT, by_kept, int(found[0]), -1, highest) or 0.0,
        edge(_KEPT, by_kept, int(found[-1]), +1, highest) or 1.0,
    )
    ages = tuple(
        (
            edge(AGES_YEARS, by_age, i, -1, highest) or float(AGES_YEARS[0]),
            edge(AGES_YEARS, by_age, i, +1, highest) or float(AGES_YEARS[-1]),
        )
        for i in stretches(by_age, highest)
    )
    activities = profile.th232_bq[inside]
    best = float(profile.chi2.min())
    fits = best <= worst_fit(2 * len(counts) + (th232 is not None) + (before is not None), 3)
    is_found = interval[1] - interval[0] <= _WIDEST_FOUND
    verdict = "does not fit" if not fits else "kept fraction found" if is_found else "cannot tell"
    at_best = vertex(_KEPT, by_kept, int(by_kept.argmin()))
    return RadiumKept(
        fits=fits,
        verdict=verdict,
        kept=at_best,
        kept_interval=interval,
        th232_bq=(float(np.maximum(activities - reach, 0.0).min()), float((activities + reach).max())),
        age_before_years=ages,
        least_chi2=best,
        coverage=coverage,
        words=_kept_words(verdict, at_best, interval, coverage),
    )


def _kept_words(verdict: str, kept: float, interval: tuple[float, float], coverage: float) -> str:
    low, high = (100 * end for end in interval)
    if verdict == "does not fit":
        return "No fraction of radium kept fits these activities: look at the day of the separation and at the counts."
    if verdict == "cannot tell":
        return (
            f"Cannot tell: {low:.0f} to {high:.0f} % of the radium may have been kept, depending on the age before. A "
            "count of the rods, a weighed mass or a second count months later may decide."
        )
    return f"{100 * kept:.0f} % of the radium was kept ({low:.0f} to {high:.0f} % at {100 * coverage:.0f} % coverage)."
