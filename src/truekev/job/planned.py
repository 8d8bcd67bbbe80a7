"""The plan of a batch, worked out once: following, recovering and waste all start from it."""

from __future__ import annotations

from functools import lru_cache

from truekev.bench.plan import MakePlan, plan_make
from truekev.bench.settings import BatchSettings
from truekev.errors import OutOfRangeError, RefusedError

__all__ = ["planned"]


@lru_cache(maxsize=16)
def _plan_or_refusal(batch: BatchSettings, _start: str) -> MakePlan | RefusedError | OutOfRangeError:
    try:
        return plan_make(batch)
    except (RefusedError, OutOfRangeError) as refusal:
        return refusal.with_traceback(None)


def planned(batch: BatchSettings) -> MakePlan:
    """As `plan_make`, kept for the last few batches.

    Raises
    ------
    RefusedError, OutOfRangeError
        As `plan_make` says.
    """
    # two starts at one moment in different time zones are equal, but their hours of attendance are not
    result = _plan_or_refusal(batch, batch.start.isoformat())
    if isinstance(result, MakePlan):
        return result
    raise result.with_traceback(None)
