"""What is left over, and how it is made ready for those who take it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from truekev.bench.settings import read_batch
from truekev.bench.waste import WastePlan, waste_plan
from truekev.errors import OutOfRangeError
from truekev.job.planned import planned
from truekev.job.recover import washing_of
from truekev.record import InputFile, Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.safety.rules import ASK_FIRST
from truekev.tables.loader import table_versions

__all__ = ["WasteReport", "waste_of_batch"]


@dataclass(frozen=True)
class WasteReport:
    """The waste plan of a batch: first whom to ask, then what there is, then how."""

    batch: str
    ask_first: str
    washings_ml: float
    plan: WastePlan
    cautions: tuple[Caution, ...]
    record: Record


def waste_of_batch(batch_path: str | Path) -> WasteReport:
    """Waste and by-product of a batch at the planned end of its run.

    Raises
    ------
    InputError, RefusedError
        The batch cannot be read or is refused.
    """
    batch = read_batch(batch_path)
    plan = planned(batch)
    course = plan.course
    # diluted to twice the volume before settling, then washed; where the washing cannot be planned it is left out
    try:
        washings_ml = 1000 * (float(course.volume_l[-1]) + washing_of(batch, plan)[0].water_l)
    except OutOfRangeError:
        washings_ml = 0.0
    return WasteReport(
        batch=batch.name,
        ask_first=f"{ASK_FIRST}. It may count as low-level radioactive waste. Never a drain, never a bin.",
        washings_ml=washings_ml,
        plan=waste_plan(
            tungstate_mol=course.final("tungstate") + course.final("tungstate_solid"),
            sodium_mol=course.final("sodium") + 2 * course.final("tungstate_solid"),
            carbonate_mol=course.final("carbonate"),
            hydroxide_mol=course.final("hydroxide"),
            volume_ml=1000 * float(course.volume_l[-1]),
            thoria_g=plan.content.thoria_g.value,
            washings_ml=washings_ml,
        ),
        cautions=cautions_for("waste", "precipitate"),
        record=Record.make((InputFile.of(batch_path),), tables=table_versions()),
    )
