"""What is left over, and how it is made ready for those who take it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from truekev.bench.plan import plan_make
from truekev.bench.settings import read_batch
from truekev.bench.waste import WastePlan, waste_plan
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
    plan = plan_make(batch)
    course = plan.course
    return WasteReport(
        batch=batch.name,
        ask_first=f"{ASK_FIRST}. It may count as low-level radioactive waste. Never a drain, never a bin.",
        plan=waste_plan(
            tungstate_mol=course.final("tungstate") + course.final("tungstate_solid"),
            sodium_mol=course.final("sodium") + 2 * course.final("tungstate_solid"),
            carbonate_mol=course.final("carbonate"),
            hydroxide_mol=course.final("hydroxide"),
            volume_ml=1000 * float(course.volume_l[-1]),
            thoria_g=plan.content.thoria_g.value,
        ),
        cautions=cautions_for("waste", "precipitate"),
        record=Record.make((InputFile.of(batch_path),), tables=table_versions()),
    )
