"""Is there something in the sample beyond background, and how much: from two counts."""

from __future__ import annotations

from dataclasses import dataclass, replace

from truekev.errors import RefusedError
from truekev.record import Record
from truekev.samples.counting_time import ENOUGH_COUNTS
from truekev.samples.limits import CharacteristicLimits, characteristic_limits
from truekev.samples.low_counts import PairTest, detection_limit_counts, pair_test
from truekev.samples.net_count import WELL_KNOWN_FACTOR, NetCount

__all__ = ["CountDecision", "is_it_there"]


@dataclass(frozen=True)
class CountDecision:
    """Answer for one pair of counts.

    `recognised` follows ISO 11929-1 from 400 background counts on, and the exact test below, where `decided_by` says
    "exact test of few counts". `exact` is None with enough counts; `exact_decision_threshold` and
    `exact_detection_limit` are its values in the unit of the factor.
    """

    recognised: bool
    decided_by: str
    limits: CharacteristicLimits
    exact: PairTest | None
    exact_decision_threshold: float | None
    exact_detection_limit: float | None
    words: str
    record: Record


def is_it_there(counts: NetCount, *, alpha: float = 0.05, beta: float = 0.05, coverage: float = 0.95) -> CountDecision:
    """Decide whether the gross count holds more than background, and report all limits.

    Parameters
    ----------
    counts : NetCount
        Counts, times and calibration factor.
    alpha, beta, coverage : float
        Probabilities of a false positive, of a false negative, and of the coverage intervals.
    """
    limits = characteristic_limits(counts.estimate, counts.u_of_true, alpha=alpha, beta=beta, coverage=coverage)
    factor, seconds = counts.factor, counts.gross_time_s
    recognised, decided_by = limits.recognised, "ISO 11929-1"
    exact: PairTest | None = None
    threshold: float | None = None
    exact_limit: float | None = None
    remarks = _remarks(counts)
    if min(counts.n_background, counts.n_background_in_gross) < ENOUGH_COUNTS:
        exact = pair_test(counts.n_gross, counts.n_background, counts.time_ratio, alpha=alpha)
        threshold = factor.value * exact.critical_net_counts / seconds
        try:
            detectable = detection_limit_counts(
                counts.n_background_in_gross,
                counts.time_ratio,
                alpha=alpha,
                beta=beta,
                relative_u_factor=factor.relative_u,
            )
            exact_limit = factor.value / seconds * detectable
        except RefusedError as error:
            remarks.append(str(error))
        recognised, decided_by = exact.recognised, "exact test of few counts"
    limits = replace(limits, remarks=(*limits.remarks, *remarks))
    return CountDecision(
        recognised=recognised,
        decided_by=decided_by,
        limits=limits,
        exact=exact,
        exact_decision_threshold=threshold,
        exact_detection_limit=exact_limit,
        words=_words(recognised, limits, exact_limit),
        record=Record.make(settings={"counts": counts, "alpha": alpha, "beta": beta, "coverage": coverage}),
    )


def _remarks(counts: NetCount) -> list[str]:
    remarks = []
    if counts.factor.relative_u > WELL_KNOWN_FACTOR:
        remarks.append(
            f"the factor is known to {100 * counts.factor.relative_u:.0f} % only; above "
            f"{100 * WELL_KNOWN_FACTOR:.0f} % intervals meant to cover 95 % of true values cover 92 to 99 %."
        )
    if 0 in (counts.n_gross, counts.n_background):
        remarks.append("a count of 0 enters the uncertainty of the estimate as a count of 1.")
    return remarks


def _words(recognised: bool, limits: CharacteristicLimits, exact_limit: float | None) -> str:
    if recognised:
        return f"recognised: {limits.best_estimate}"
    limit = exact_limit if exact_limit is not None else limits.detection_limit
    if limit is None:
        return "not recognised"
    return "not recognised (detection limit " + f"{limit:.3g} {limits.estimate.unit}".rstrip() + ")"
