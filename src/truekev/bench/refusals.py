"""What no plan does, and why: each refusal with its reason and a way out."""

from __future__ import annotations

import math

from truekev.bench.settings import BatchSettings
from truekev.bench.solution import density_g_cm3
from truekev.bench.stoichiometry import mol, molar_mass_g_mol
from truekev.errors import OutOfRangeError, RefusedError

__all__ = ["bath_water_g", "refuse_unsafe_cell"]


def refuse_unsafe_cell(batch: BatchSettings) -> None:
    """Refuse a cell that is unsafe or cannot work.

    Raises
    ------
    RefusedError
        A divided cell, a lid, aluminium, stainless steel, a nickel basket, a current above the supply's rating.
    OutOfRangeError
        The vessel does not hold the bath, or no rod is an anode.
    """
    cell, anode = batch.cell, batch.anode
    if cell.divided:
        raise RefusedError(
            "A divided cell is refused: without the cathode's hydroxide coming back the anode needs four times as "
            "much (8 instead of 2 per tungsten atom), and the anode side turns acid and blocks.",
            "one undivided vessel (divided = false).",
        )
    if cell.cover == "lid":
        raise RefusedError(
            "A lid is refused: hydrogen collects under it and a spark at a clip sets it off.",
            'cover = "none" or "vented splash cover", in a hood.',
        )
    parts = {
        "cell.vessel_material": cell.vessel_material,
        "cell.cathode_material": cell.cathode_material,
        "anode.basket_material": anode.basket_material if anode.holder == "basket" else "",
    }
    for field, material in parts.items():
        if material == "aluminium":
            raise RefusedError(
                f"Aluminium ({field}) is refused: caustic dissolves it with hydrogen and heat.",
                "polypropylene for the vessel, titanium for the basket, tungsten or nickel for the cathode.",
            )
        if material == "stainless steel":
            raise RefusedError(
                f"Stainless steel ({field}) is refused: as anode it makes oxygen instead of dissolving tungsten, "
                "so the count of coulombs is false, and it can give chromate.",
                "a titanium basket (it blocks by itself), a tungsten or nickel cathode, a polypropylene vessel.",
            )
    if anode.holder == "basket" and anode.basket_material != "titanium":
        raise RefusedError(
            f"A basket of {anode.basket_material} is refused: it takes over the current as soon as it is bare "
            "(oxygen, or it dissolves), and the count of coulombs is false.",
            "a titanium basket, which blocks by itself, or dipped rods.",
        )
    if batch.supply.current_a > batch.supply.rating_a:
        raise RefusedError(
            f"A current of {batch.supply.current_a:g} A is above the supply's rating of {batch.supply.rating_a:g} A.",
            "a current at or below the rating.",
        )
    if not any(lot.role == "anode" for lot in batch.rods):
        raise OutOfRangeError(
            "rods: every lot is a cathode; cathode rods do not dissolve. Give at least one anode lot."
        )
    holds_ml = math.pi / 4 * (cell.vessel_diameter_mm / 10) ** 2 * cell.vessel_height_mm / 10
    if cell.volume_ml > 0.85 * holds_ml:
        raise OutOfRangeError(
            f"cell.volume_ml: {cell.volume_ml:g} mL fills more than 85 % of a vessel that holds {holds_ml:.0f} mL "
            "(foam and splashes need the rest); take a larger vessel or less bath."
        )


def bath_water_g(volume_ml: float, hydroxide_g: float, temperature_degc: float = 20.0) -> float:
    """Water that makes up `volume_ml` of bath with `hydroxide_g` of pure NaOH in it [g].

    Raises
    ------
    OutOfRangeError
        The hydroxide is more than 40 % of such a bath, or less than 0.3 mol/L.
    """
    molarity = mol(hydroxide_g, "NaOH") / (volume_ml / 1000)
    if molarity < 0.3:
        raise OutOfRangeError(
            f"hydroxide.mass_g: {molarity:.2f} mol/L is too weak to carry the current; 3 to 6 mol/L is usual."
        )
    water = volume_ml
    for _ in range(60):
        fraction = hydroxide_g / (hydroxide_g + max(water, 1.0))
        mass = volume_ml * density_g_cm3(min(fraction, 0.6), 0.0, 0.0, temperature_degc)
        new = mass - hydroxide_g
        if abs(new - water) < 1e-9 * volume_ml:
            break
        water = 0.5 * (water + new)
    if water <= 0 or hydroxide_g / (hydroxide_g + water) > 0.40:
        raise OutOfRangeError(
            f"hydroxide.mass_g: {hydroxide_g:.4g} g in {volume_ml:g} mL ({molarity:.1f} mol/L) is more than 40 %; "
            "it would not dissolve safely and carries less current. 3 to 6 mol/L is usual."
        )
    return water


def hydroxide_molarity(batch: BatchSettings) -> float:
    """Molarity of pure NaOH at the start [mol/L]."""
    pure = batch.hydroxide.mass_g * batch.hydroxide.assay_percent / 100
    return pure / molar_mass_g_mol("NaOH") / (batch.cell.volume_ml / 1000)
