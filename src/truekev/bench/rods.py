"""What is in the rods: mass, thoria, tungsten and Th-232, with the limits of their class carried through."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from truekev.bench.settings import BatchSettings, RodLot
from truekev.bench.stoichiometry import (
    THORIUM_BQ_G,
    THORIUM_U_BQ_G,
    thoria_activity_bq,
)
from truekev.errors import UnknownNameError
from truekev.quantity import Measured
from truekev.tables.loader import table_rows

__all__ = ["ElectrodeClass", "RodContent", "anode_content", "electrode_class", "lot_mass_g", "rod_density_g_cm3"]

TUNGSTEN_DENSITY_G_CM3 = 19.25
THORIA_DENSITY_G_CM3 = 10.0  # CRC Handbook, from memory


@dataclass(frozen=True)
class ElectrodeClass:
    """A class of thoriated electrodes: limits of thoria content [mass %] and colour mark."""

    name: str
    thoria_min_percent: float
    thoria_nominal_percent: float
    thoria_max_percent: float
    colour: str

    @property
    def u_percent(self) -> float:
        """Standard uncertainty of the content: rectangular between the limits."""
        return (self.thoria_max_percent - self.thoria_min_percent) / math.sqrt(12.0)


@cache
def _classes() -> dict[str, ElectrodeClass]:
    return {
        row["class"]: ElectrodeClass(
            row["class"],
            float(row["thoria_min_percent"]),
            float(row["thoria_nominal_percent"]),
            float(row["thoria_max_percent"]),
            row["colour"],
        )
        for row in table_rows("electrode_classes.csv")
    }


def electrode_class(name: str) -> ElectrodeClass:
    """The class called `name` (WT10 to WT40).

    Raises
    ------
    UnknownNameError
        No such thoriated class; classes without thorium (lanthanum, cerium, pure) hold nothing to recover.
    """
    known = _classes()
    key = name.strip().upper().replace("-", "").replace(" ", "")
    if key not in known:
        raise UnknownNameError("electrode class", name, known, "Rods of other classes hold no thoria.")
    return known[key]


def rod_density_g_cm3(thoria_percent: float) -> float:
    """Density of a rod from its thoria content (volumes add) [g/cm3]."""
    share = thoria_percent / 100.0
    return 1.0 / ((1.0 - share) / TUNGSTEN_DENSITY_G_CM3 + share / THORIA_DENSITY_G_CM3)


def _thoria_percent(lot: RodLot) -> tuple[float, float, float, float]:
    """Nominal, standard uncertainty, lowest and highest content [%]."""
    if lot.class_ is not None:
        c = electrode_class(lot.class_)
        return c.thoria_nominal_percent, c.u_percent, c.thoria_min_percent, c.thoria_max_percent
    value, u = float(lot.thoria_percent or 0.0), float(lot.u_thoria_percent or 0.0)
    return value, u, max(value - 2 * u, 0.0), value + 2 * u


def lot_mass_g(lot: RodLot) -> Measured:
    """Mass of all rods of a lot: as weighed, or from the geometry (2 % then: diameter tolerance) [g]."""
    if lot.mass_g is not None:
        return Measured(lot.mass_g, lot.u_mass_g, "g")
    volume = math.pi / 4 * (lot.diameter_mm / 10) ** 2 * lot.length_mm / 10
    mass = lot.count * volume * rod_density_g_cm3(_thoria_percent(lot)[0])
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
    activity = thoria_activity_bq(thoria)
    relative = math.hypot(u_thoria / thoria, THORIUM_U_BQ_G / THORIUM_BQ_G) if thoria else 0.0
    return RodContent(
        n_rods=n_rods,
        mass_g=Measured(mass, u_mass, "g"),
        thoria_g=Measured(thoria, u_thoria, "g"),
        thoria_limits_g=(low, high),
        tungsten_g=Measured(mass - thoria, math.hypot(u_mass, u_thoria), "g"),
        activity_bq=Measured(activity, relative * activity, "Bq"),
        activity_limits_bq=(thoria_activity_bq(low), thoria_activity_bq(high)),
        wetted_fraction=wetted / mass if mass else 0.0,
        wetted_area_cm2=area,
        single_rod_bq=single,
    )
