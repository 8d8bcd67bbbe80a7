"""Decant and refill: how often until little salt is left, what that loses; flocculants and what they leave."""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.bench.settings import RecoverySettings
from truekev.bench.settling import Liquid, settling_velocity_m_s, water_20_degc
from truekev.bench.stoichiometry import molar_mass_g_mol
from truekev.errors import OutOfRangeError, RefusedError
from truekev.quantity import Measured

__all__ = ["ALUMINIUM_SALTS", "Flocculation", "WashPlan", "alumina_from_g", "flocculation", "wash_plan"]

# Moles of alumina per mole of salt, and the salt's formula.
ALUMINIUM_SALTS = {
    "potassium alum dodecahydrate": ("KAl(SO4)2.12H2O", 0.5),
    "ammonium alum dodecahydrate": ("NH4Al(SO4)2.12H2O", 0.5),
    "aluminium sulfate": ("Al2(SO4)3", 1.0),
    "aluminium sulfate octadecahydrate": ("Al2(SO4)3.18H2O", 1.0),
}
_LOSS_PER_DECANT = 0.002  # share of the oxide that goes with each decanted liquid (fines, meniscus); estimate, factor 3


def alumina_from_g(salt: str, mass_g: float, *, fired: bool = True) -> float:
    """Mass that an aluminium salt leaves [g]: alumina if fired, else the hydroxide that mere drying leaves."""
    formula, per_mol = ALUMINIUM_SALTS[salt]
    amount = mass_g / molar_mass_g_mol(formula) * per_mol
    return amount * (molar_mass_g_mol("Al2O3") if fired else 2 * molar_mass_g_mol("Al(OH)3"))


@dataclass(frozen=True)
class WashPlan:
    """Washing by decanting: each time down to the heel, each time filled up with water.

    `salt_left_mg` is what stays with the oxide after the last decanting; `lost_share` the oxide lost on the way.
    `wait_h` is the settling time of each round for 1.5 µm grains, `wait_first_h` that of the end liquor.
    """

    n_washes: int
    dilution_each: float
    salt_start_g: float
    salt_left_mg: float
    lost_share: Measured
    water_l: float
    wait_first_h: float
    wait_h: float


def wash_plan(
    *, salt_g: float, volume_ml: float, liquor: Liquid, settings: RecoverySettings, smallest_grain_um: float = 1.5
) -> WashPlan:
    """Number of decantings until the salt that stays with the oxide is at most `residual_salt_mg`.

    Raises
    ------
    OutOfRangeError
        The heel is not smaller than the beaker, or it would take more than 40 rounds.
    """
    heel, beaker = settings.heel_ml, settings.beaker_ml
    if heel >= 0.9 * beaker:
        raise OutOfRangeError(
            f"recovery.heel_ml: a heel of {heel:g} mL in a beaker of {beaker:g} mL washes nothing; decant deeper."
        )
    ratio = heel / beaker
    in_heel_g = salt_g * min(heel / max(volume_ml, heel), 1.0)
    target_g = settings.residual_salt_mg / 1000
    n_washes = max(math.ceil(math.log(max(in_heel_g, 1e-12) / target_g) / -math.log(ratio)), 1)
    if n_washes > 40:
        raise OutOfRangeError(
            f"recovery: {n_washes} washes would be needed; use a larger beaker, a smaller heel or a higher target."
        )
    height_m = settings.settling_height_mm / 1000
    lost = 1.0 - (1.0 - _LOSS_PER_DECANT) ** (n_washes + 1)
    return WashPlan(
        n_washes=n_washes,
        dilution_each=1 / ratio,
        salt_start_g=salt_g,
        salt_left_mg=1000 * in_heel_g * ratio**n_washes,
        lost_share=Measured(lost, lost * 0.7, ""),
        water_l=n_washes * (beaker - heel) / 1000,
        wait_first_h=height_m / settling_velocity_m_s(smallest_grain_um, 10.0, liquor) / 3600,
        wait_h=height_m / settling_velocity_m_s(smallest_grain_um, 10.0, water_20_degc()) / 3600,
    )


@dataclass(frozen=True)
class Flocculation:
    """A flocculant: whether it helps, and the residue it leaves in the oxide after 110 degC [mg]."""

    kind: str
    advice: str
    residue_dried_mg: float
    residue_fired_mg: float


def flocculation(settings: RecoverySettings) -> Flocculation:
    """What a flocculant does.

    Raises
    ------
    RefusedError
        An aluminium salt where the pH is known to be above 9: it dissolves as aluminate and settles nothing.
    """
    kind, mass_g, ph = settings.flocculant, settings.flocculant_mg / 1000, settings.wash_ph
    if kind == "none":
        return Flocculation(
            "none", "Grains above 1 µm settle by themselves; below 0.5 µm it takes days, or a flocculant.", 0.0, 0.0
        )
    if kind == "organic":
        return Flocculation(
            "organic",
            "It stays as a residue at oven temperatures (it needs some 450 °C, which is not done here: dust). The "
            "dried mass then counts it as oxide.",
            settings.flocculant_mg,
            0.0,
        )
    if ph is not None and ph > 9.0:
        raise RefusedError(
            f"{kind} at pH {ph:g} is refused: above pH 9 it dissolves as aluminate and settles nothing.",
            "wash to pH 6 to 8 first, then add it.",
        )
    salt = "potassium alum dodecahydrate" if kind == "alum" else "aluminium sulfate octadecahydrate"
    known = "" if ph is not None and 6.0 <= ph <= 8.0 else " Check the pH first: it only works from 6 to 8."
    return Flocculation(
        kind,
        "Of the order of 100 mg settles a beaker; it leaves aluminium hydroxide in the oxide (taken as "
        f"{salt}).{known}",
        1000 * alumina_from_g(salt, mass_g, fired=False),
        1000 * alumina_from_g(salt, mass_g),
    )
