"""Thoriated electrodes and thorium dioxide: mass, thorium and Th-232 activity."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.errors import OutOfRangeError, UnknownNameError
from truekev.nuclides.names import nuclide, specific_activity_bq_g
from truekev.quantity import Measured

__all__ = [
    "ELECTRODE_CLASSES",
    "ElectrodeClass",
    "electrode_class",
    "electrode_mass_g",
    "th232_bq_of_oxide",
    "th232_bq_of_rods",
]

TUNGSTEN_G_CM3 = 19.25
THORIA_G_CM3 = 10.0
_MASS_OFF = 0.15  # ground tips, worn rods
THORIUM_IN_THORIA = 232.0377 / (232.0377 + 2 * 15.999)  # IUPAC standard atomic weights


@dataclass(frozen=True)
class ElectrodeClass:
    """A class of electrode: bounds of its mass fraction of ThO2, after ISO 6848 (colour: common practice)."""

    name: str
    lowest: float
    highest: float
    colour: str

    @property
    def fraction(self) -> float:
        """Nominal mass fraction of ThO2: the middle of the bounds, 2.0 % for WT20."""
        return 0.020 if self.name == "WT20" else (self.lowest + self.highest) / 2

    @property
    def u_fraction(self) -> float:
        """Standard uncertainty: all of the class equally likely (width over the square root of 12)."""
        return (self.highest - self.lowest) / math.sqrt(12)


ELECTRODE_CLASSES = {
    "WT10": ElectrodeClass("WT10", 0.0080, 0.0120, "yellow"),
    "WT20": ElectrodeClass("WT20", 0.0170, 0.0220, "red"),
    "WT30": ElectrodeClass("WT30", 0.0280, 0.0320, "violet"),
    "WT40": ElectrodeClass("WT40", 0.0380, 0.0420, "orange"),
}


def electrode_class(name: str) -> ElectrodeClass:
    """The class of that name (wt20 reads as WT20)."""
    found = ELECTRODE_CLASSES.get(name.strip().upper())
    if found is None:
        raise UnknownNameError("electrode class", name, ELECTRODE_CLASSES)
    return found


def electrode_mass_g(*, diameter_mm: float, length_mm: float, thoria_fraction: float) -> float:
    """Mass of one electrode [g]: a full cylinder, volumes of tungsten and thoria added."""
    if not (diameter_mm > 0 and length_mm > 0 and 0 <= thoria_fraction < 1):
        raise OutOfRangeError(
            f"electrode of {diameter_mm} mm x {length_mm} mm with thoria fraction {thoria_fraction}: "
            "diameter and length must be above 0, the fraction from 0 to below 1."
        )
    volume_cm3 = math.pi / 4 * diameter_mm**2 * length_mm / 1000
    return volume_cm3 / (thoria_fraction / THORIA_G_CM3 + (1 - thoria_fraction) / TUNGSTEN_G_CM3)


def th232_bq_of_oxide(oxide_mass_g: float, u_oxide_mass_g: float = 0.0) -> Measured:
    """Th-232 activity of thorium dioxide [Bq]; uncertainty from the mass and the half-life."""
    if not oxide_mass_g >= 0:
        raise OutOfRangeError(f"oxide mass {oxide_mass_g} g: it must not be negative.")
    per_g = THORIUM_IN_THORIA * specific_activity_bq_g("Th-232")
    th232 = nuclide("Th-232")
    u_half_life = oxide_mass_g * per_g * th232.u_half_life_s / th232.half_life_s
    return Measured(oxide_mass_g * per_g, math.hypot(u_oxide_mass_g * per_g, u_half_life), "Bq")


def th232_bq_of_rods(
    *,
    n_rods: int,
    diameter_mm: float,
    length_mm: float,
    thoria_fraction: float,
    u_thoria_fraction: float = 0.0,
    mass_g: float | None = None,
) -> Measured:
    """Th-232 activity of a bundle of electrodes [Bq]; uncertainty from the thoria fraction and the half-life.

    `mass_g` is the weighed mass of all of them; without it that of full cylinders is taken.

    Raises
    ------
    OutOfRangeError
        The weighed mass is more than 15 % off that of full cylinders.
    """
    full_g = n_rods * electrode_mass_g(diameter_mm=diameter_mm, length_mm=length_mm, thoria_fraction=thoria_fraction)
    if mass_g is not None and not abs(mass_g / full_g - 1) <= _MASS_OFF:
        raise OutOfRangeError(
            f"{n_rods} rods of {diameter_mm:g} mm x {length_mm:g} mm would weigh {full_g:.3g} g, not {mass_g:g} g; "
            "check the number, the sizes and the mass."
        )
    mass = full_g if mass_g is None else mass_g
    return th232_bq_of_oxide(mass * thoria_fraction, mass * u_thoria_fraction)
