"""May this dose of peroxide go in, and what then."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from truekev.bench.cleanup import CleanupPlan, Dose, cleanup_plan, largest_portion_ml, parse_dose
from truekev.bench.settings import CleanupSettings, read_batch
from truekev.errors import InputError
from truekev.record import InputFile, Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.tables.loader import table_versions

__all__ = ["CleanReport", "clean_batch", "clean_with"]

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
    return _report(batch.name, batch.cleanup, None if dose is None else parse_dose(dose), (InputFile.of(batch_path),))


def clean_with(name: str, entries: Mapping[str, Any], dose: Dose) -> CleanReport:
    """Plan a clean-up of what stands in a beaker, as the fields of a batch file's [cleanup] say.

    Raises
    ------
    RefusedError, InputError
        As `clean_batch`.
    """
    try:
        settings = CleanupSettings.model_validate(dict(entries))
    except ValidationError as error:
        told = [f"{'.'.join(map(str, item['loc']))}: {item['msg']}" for item in error.errors()]
        raise InputError(f"{'; '.join(told)}.") from None
    return _report(name, settings, dose, ())


def _report(name: str, settings: CleanupSettings, dose: Dose | None, inputs: tuple[InputFile, ...]) -> CleanReport:
    wanted = dose
    if wanted is None:
        allowed = largest_portion_ml(
            USUAL_PERCENT, settings.heel_ml, settings.tungsten_left_g, settings.temperature_degc
        )
        wanted = Dose(max(math.floor(min(allowed, USUAL_ML)), 1.0), USUAL_PERCENT)
    return CleanReport(
        name,
        settings.heel_ml,
        settings.tungsten_left_g,
        cleanup_plan(settings, wanted),
        cautions_for("peroxide"),
        Record.make(inputs, {"dose": f"{wanted.volume_ml:g} mL {wanted.percent:g} %"}, table_versions()),
    )
