"""May this dose of peroxide go in, and what then."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from truekev.bench.cleanup import CleanupPlan, Dose, cleanup_plan, largest_portion_ml, parse_dose
from truekev.bench.settings import read_batch
from truekev.record import InputFile, Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.tables.loader import table_versions

__all__ = ["CleanReport", "clean_batch"]

USUAL_PERCENT, USUAL_ML = 5.0, 50.0


@dataclass(frozen=True)
class CleanReport:
    """A clean-up that is allowed, with its cautions."""

    batch: str
    heel_ml: float
    tungsten_left_g: float | None
    plan: CleanupPlan
    cautions: tuple[Caution, ...]
    record: Record


def clean_batch(batch_path: str | Path, dose: str | None = None) -> CleanReport:
    """Plan a clean-up; without a dose the largest allowed of 5 %, at most 50 mL.

    Raises
    ------
    RefusedError
        The dose can run away, or something must come out of the beaker first.
    InputError
        The batch or the dose cannot be read.
    """
    batch = read_batch(batch_path)
    if dose is None:
        s = batch.cleanup
        allowed = largest_portion_ml(USUAL_PERCENT, s.heel_ml, s.tungsten_left_g, s.temperature_degc)
        wanted = Dose(max(math.floor(min(allowed, USUAL_ML)), 1.0), USUAL_PERCENT)
    else:
        wanted = parse_dose(dose)
    return CleanReport(
        batch.name,
        batch.cleanup.heel_ml,
        batch.cleanup.tungsten_left_g,
        cleanup_plan(batch.cleanup, wanted),
        cautions_for("peroxide"),
        Record.make(
            (InputFile.of(batch_path),), {"dose": f"{wanted.volume_ml:g} mL {wanted.percent:g} %"}, table_versions()
        ),
    )
