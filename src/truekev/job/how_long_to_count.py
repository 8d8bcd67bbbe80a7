"""How long must be counted to see a given activity."""

from __future__ import annotations

from dataclasses import dataclass

from truekev.quantity import Measured
from truekev.record import Record
from truekev.samples.counting_time import Background, CountingTime, counting_time

__all__ = ["CountPlan", "how_long_to_count"]


@dataclass(frozen=True)
class CountPlan:
    """The counting time with what it was worked out from."""

    plan: CountingTime
    unit: str
    words: str
    record: Record


def how_long_to_count(
    wanted: float, background: Background, factor: Measured, *, alpha: float = 0.05, beta: float = 0.05
) -> CountPlan:
    """Shortest counting time for a wanted detection limit; see `samples.counting_time`."""
    plan = counting_time(wanted, background, factor, alpha=alpha, beta=beta)
    settings = {"wanted": wanted, "background": background, "factor": factor, "alpha": alpha, "beta": beta}
    words = f"count the sample for {_time(plan.time_s)}"
    if background.counted_again:
        words += f", and the background as long ({_time(plan.total_time_s)} in all)"
    unit = f" {factor.unit}" if factor.unit else ""
    words += f": the detection limit is then {plan.detection_limit:.3g}{unit}"
    return CountPlan(plan, factor.unit, words, Record.make(settings=settings))


def _time(seconds: float) -> str:
    for unit, size in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"
