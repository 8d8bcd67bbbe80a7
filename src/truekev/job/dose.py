"""What a source gives to somebody beside it, and what a milligram of it does inside: information, not permission."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.safety.cautions import Caution, cautions_for
from truekev.safety.dose_rate import KermaConstant, air_kerma_constant, air_kerma_rate_ngy_h, beta_contact_msv_h
from truekev.safety.intake import IntakeDose, intake_dose_msv, spill_respirable_mg, thoron_dose_usv_h
from truekev.safety.rules import Comparison, PublishedRule, compare_with_exemption, published_rules
from truekev.sources.described import resolve_source
from truekev.tables.loader import table_versions

__all__ = ["DoseReport", "distance_cm_of", "dose_of_source"]

_THORIA_BQ_MG = 3.573


@dataclass(frozen=True)
class DoseReport:
    """Dose figures of a source at a distance.

    `kerma_rate` is the photons' air kerma rate, a point without absorption: an upper estimate. `beta_contact_msv_h`
    is value
    and band (factor 3) for skin at 1 mm of glass, given at contact only. Intake figures are per milligram of oxide;
    None where
    the source holds no thorium.
    """

    source: str
    on: date | None
    distance_cm: float
    contact: bool
    activities_bq: Mapping[str, float]
    kerma_rate: Measured
    kerma_constant: KermaConstant
    hours_for_1_usv: float
    beta_contact_msv_h: tuple[float, float, float] | None
    inhaled_1_mg: IntakeDose | None
    swallowed_1_mg: IntakeDose | None
    spill_of_1_g_mg: float | None
    thoron_usv_h: float | None
    exemption: Comparison
    transport: Comparison
    rules: tuple[PublishedRule, ...]
    cautions: tuple[Caution, ...]
    record: Record


def distance_cm_of(text: str) -> float:
    """A distance in centimetres from words such as 10cm, 1 m, 30mm or contact (0).

    Raises
    ------
    InputError
        No number with a unit.
    """
    if text.strip().lower() in ("contact", "0", "0cm"):
        return 0.0
    found = re.fullmatch(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(mm|cm|m)\s*", text.lower())
    if found is None:
        raise InputError(f"distance {text!r}: write it with its unit, as 10cm, 1m, 30mm or contact.")
    return float(found[1].replace(",", ".")) * {"mm": 0.1, "cm": 1.0, "m": 100.0}[found[2]]


def dose_of_source(
    source: str, distance: str, *, on: date | None = None, activity_bq: float | None = None
) -> DoseReport:
    """Dose figures of a source.

    Parameters
    ----------
    source : str
        A source word, nuclide or file.
    distance : str
        As for `distance_cm_of`; contact and anything below 1 cm count as 1 cm for photons.
    on : date, optional
        The day, for a source file.
    activity_bq : float, optional
        Activity of the head of a source that does not know its own [Bq].

    Raises
    ------
    RefusedError
        The source's activity is not known and none was given.
    """
    resolved = resolve_source(source, on=on)
    relative = dict(resolved.activities_bq)
    if resolved.activity_known:
        if activity_bq is not None:
            raise InputError("the source file gives its activity; leave --activity out.")
        activities = relative
    elif activity_bq is None:
        raise RefusedError(
            f"The activity of {resolved.name} is not known, so neither is its dose rate.",
            "--activity with the Bq of its first nuclide, or a source file that gives it.",
        )
    else:
        if not 0 < activity_bq < 1e12:
            raise OutOfRangeError(f"activity {activity_bq:g} Bq: from above 0 to below 1e12.")
        head = next(iter(relative))
        activities = {name: value / relative[head] * activity_bq for name, value in relative.items()}
    distance_cm = distance_cm_of(distance)
    contact = distance_cm < 1.0
    rate = air_kerma_rate_ngy_h(activities, max(distance_cm, 1.0))
    head = next(iter(activities))
    thorium = activities.get("Th-232", 0.0)
    per_mg = {name: _THORIA_BQ_MG * bq / thorium for name, bq in activities.items()} if thorium > 0 else None
    betas = max(activities.get("Ac-228", 0.0), activities.get("Bi-212", 0.0))
    mass_g = thorium / 3573.0 if thorium > 0 else None
    inputs = (InputFile.of(source),) if source.strip().lower().endswith(".toml") else ()
    return DoseReport(
        source=resolved.name,
        on=resolved.on,
        distance_cm=max(distance_cm, 1.0),
        contact=contact,
        activities_bq=activities,
        kerma_rate=rate,
        kerma_constant=air_kerma_constant(activities, head),
        hours_for_1_usv=1000.0 / rate.value if rate.value > 0 else float("inf"),
        beta_contact_msv_h=beta_contact_msv_h(betas) if contact and betas > 0 else None,
        inhaled_1_mg=intake_dose_msv("inhalation", 1.0, per_mg) if per_mg else None,
        swallowed_1_mg=intake_dose_msv("ingestion", 1.0, per_mg) if per_mg else None,
        spill_of_1_g_mg=spill_respirable_mg(1.0) if per_mg else None,
        thoron_usv_h=thoron_dose_usv_h(activities["Ra-224"]) if activities.get("Ra-224", 0.0) > 0 else None,
        exemption=compare_with_exemption(activities, mass_g, "exemption"),
        transport=compare_with_exemption(activities, mass_g, "transport"),
        rules=tuple(r for r in published_rules() if r.key in ("exemption", "transport", "scale of doses", "label")),
        cautions=cautions_for("dose", "seal"),
        record=Record.make(inputs, {"distance": distance, "activity_bq": activity_bq}, table_versions()),
    )
