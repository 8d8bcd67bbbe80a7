"""What is in the rods: mass, thoria, tungsten and Th-232, with the limits of their class carried through."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.bench.settings import BatchSettings, RodLot
from truekev.bench.stoichiometry import thoria_activity_bq
from truekev.errors import UnknownNameError
from truekev.quantity import Measured
from truekev.sources.stock import (
    ELECTRODE_CLASSES,
    ElectrodeClass,
    electrode_class,
    electrode_mass_g,
    th232_bq_of_oxide,
)

__all__ = ["RodContent", "anode_content", "lot_mass_g"]


def _class_of(name: str) -> ElectrodeClass:
    try:
        return electrode_class(name.replace("-", "").replace(" ", ""))
    except UnknownNameError:
        advice = "Rods of other classes hold no thoria."
        raise UnknownNameError("electrode class", name, ELECTRODE_CLASSES, advice) from None


def _thoria_percent(lot: RodLot) -> tuple[float, float, float, float]:
    """Nominal, standard uncertainty, lowest and highest content [%]."""
    if lot.class_ is not None:
        c = _class_of(lot.class_)
        return 100 * c.fraction, 100 * c.u_fraction, 100 * c.lowest, 100 * c.highest
    value, u = float(lot.thoria_percent or 0.0), float(lot.u_thoria_percent or 0.0)
    return value, u, max(value - 2 * u, 0.0), value + 2 * u


def lot_mass_g(lot: RodLot) -> Measured:
    """Mass of all rods of a lot: as weighed, or from the geometry (2 % then: diameter tolerance) [g]."""
    if lot.mass_g is not None:
        return Measured(lot.mass_g, lot.u_mass_g, "g")
    one = electrode_mass_g(
        diameter_mm=lot.diameter_mm, length_mm=lot.length_mm, thoria_fraction=_thoria_percent(lot)[0] / 100
    )
    mass = lot.count * one
    return Measured(mass, 0.02 * mass, "g")


@dataclass(frozen=True)
class RodContent:
    """What the anode rods hold in all. The limits are those of the class, or two standard uncertainties.

    Areas are of the clean cylinders: `wetted_area_cm2` counts the length in the liquid only, `wetted_fraction` is
    its share
    of the mass.
    """

    n_rods: int
    mass_g: Measured
    thoria_g: Measured
    thoria_limits_g: tuple[float, float]
    tungsten_g: Measured
    activity_bq: Measured
    activity_limits_bq: tuple[float, float]
    wetted_fraction: float
    wetted_area_cm2: float
    single_rod_bq: float


def anode_content(batch: BatchSettings) -> RodContent:
    """Content of the rods that are dissolved; rods used as cathode stay whole and are left out."""
    mass = u_mass2 = thoria = u_thoria2 = low = high = area = wetted = 0.0
    n_rods = 0
    single = 0.0
    for lot in batch.rods:
        if lot.role != "anode":
            continue
        m = lot_mass_g(lot)
        nominal, u_percent, lowest, highest = _thoria_percent(lot)
        n_rods += lot.count
        mass += m.value
        u_mass2 += m.u**2
        thoria += m.value * nominal / 100
        u_thoria2 += (m.value * u_percent / 100) ** 2 + (m.u * nominal / 100) ** 2
        low += m.value * lowest / 100
        high += m.value * highest / 100
        dipped = lot.length_mm if batch.anode.holder == "basket" else min(batch.anode.dipped_mm or 0.0, lot.length_mm)
        wetted += m.value * dipped / lot.length_mm
        area += lot.count * math.pi * lot.diameter_mm * dipped / 100
        single = max(single, thoria_activity_bq(m.value * nominal / 100) / lot.count)
    u_thoria, u_mass = math.sqrt(u_thoria2), math.sqrt(u_mass2)
    activity = th232_bq_of_oxide(thoria, u_thoria)
    return RodContent(
        n_rods=n_rods,
        mass_g=Measured(mass, u_mass, "g"),
        thoria_g=Measured(thoria, u_thoria, "g"),
        thoria_limits_g=(low, high),
        tungsten_g=Measured(mass - thoria, math.hypot(u_mass, u_thoria), "g"),
        activity_bq=activity,
        activity_limits_bq=(thoria_activity_bq(low), thoria_activity_bq(high)),
        wetted_fraction=wetted / mass if mass else 0.0,
        wetted_area_cm2=area,
        single_rod_bq=single,
    )
