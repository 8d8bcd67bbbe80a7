"""How old is one's own thorium, how much is it, and was its radium kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truekev.quantity import Measured
from truekev.record import Record
from truekev.samples.radium_kept import RadiumKept, radium_kept_at
from truekev.samples.thorium_age import Refined, thorium_refined
from truekev.samples.thorium_count import ThoriumCount
from truekev.tables.loader import table_versions

__all__ = ["ThoriumHistory", "how_old"]


@dataclass(frozen=True)
class ThoriumHistory:
    """What the counts say.

    `separated` is None where no separation was given, and answers where one was; `refined` says what the counts would
    mean if thorium had been refined once and left alone.
    """

    refined: Refined
    separated: RadiumKept | None
    words: str
    record: Record


def how_old(
    counts: Sequence[ThoriumCount],
    *,
    separated_on_day: float | None = None,
    before: ThoriumCount | None = None,
    th232: Measured | None = None,
    u_common: float = 0.0,
    coverage: float = 0.95,
) -> ThoriumHistory:
    """Age, thorium and radium kept; parameters as `samples.thorium_age` and, after a separation, `radium_kept`."""
    refined = thorium_refined(counts, th232=th232, u_common=u_common, coverage=coverage)
    separated = None
    if separated_on_day is not None:
        separated = radium_kept_at(
            counts, separated_on_day, before=before, th232=th232, u_common=u_common, coverage=coverage
        )
    settings = {
        "counts": tuple(counts),
        "separated_on_day": separated_on_day,
        "before": before,
        "th232": th232,
        "u_common": u_common,
        "coverage": coverage,
    }
    record = Record.make(settings=settings, tables=table_versions())
    return ThoriumHistory(refined, separated, _words(refined, separated, len(counts)), record)


def _words(refined: Refined, separated: RadiumKept | None, n_counts: int) -> str:
    if separated is not None:
        return separated.words
    if n_counts > 1 or not refined.fits:
        return refined.words
    return f"{refined.words} One count cannot tell this from thorium that lost part of its radium lately."
