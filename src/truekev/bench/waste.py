"""Waste and by-product: calcium for the tungstate, the sludge's activity, tungstate kept instead, contaminated solids.

Never a drain: the plan says what comes about, the authority and the licensed disposer say where it goes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from truekev.bench.settling import (
    CALCIUM_TUNGSTATE_G_CM3,
    hindered_velocity_m_s,
    richardson_zaki_exponent,
    settling_velocity_m_s,
    water_20_degc,
)
from truekev.bench.stoichiometry import (
    CALCIUM_SALTS,
    calcium_salt_g,
    mol,
    molar_mass_g_mol,
    thoria_activity_bq,
)
from truekev.errors import OutOfRangeError
from truekev.quantity import Measured

__all__ = [
    "CONTAMINATED_SOLIDS",
    "WastePlan",
    "calcium_need_mol",
    "calcium_tungstate_tungsten_mg_l",
    "carbonate_over_lime_mg_l",
    "lime_saturated_ph",
    "lime_solubility_g_100ml",
    "lime_solubility_product",
    "tungsten_trioxide_g",
    "waste_plan",
]

CALCIUM_EXCESS = 0.10
SLUDGE_LIMIT_BQ_G = 1.0
PORTLANDITE_LOG_K = 22.8  # Ca(OH)2 + 2 H+ = Ca(2+) + 2 H2O; WATEQ4F database in PHREEQC
WATER_LOG_K = -13.995
CALCITE_LOG_KSP = -8.48  # phreeqc.dat
# Calcium hydroxide dissolves less when warm: degC, g per 100 mL; numbers from memory (10 %).
_LIME_DEGC, _LIME_G_100ML = (0.0, 20.0, 100.0), (0.185, 0.165, 0.07)
_DIHYDRATE_G_CM3 = 3.259  # sodium tungstate dihydrate; atomistry tungsten page
_CALCIUM_CHLORIDE_J_MOL = -81.3e3  # heat of solution, anhydrous, from memory
STORE_FREE_HYDROXIDE_MOL_L = 0.1

CONTAMINATED_SOLIDS = (
    "basket, clips and wire (rinsed into the bath, then wiped)",
    "stir bar",
    "stubs of rods that did not dissolve",
    "cathode: lead-212 plates onto it; recheck after 5 days, when it has decayed",
    "gloves, wipes, filter papers, pipette tips",
    "the vessel itself, if oxide stays in scratches",
)


def _sludge_settling_h(sludge_g: float, liquid_ml: float, height_mm: float = 80.0, grain_um: float = 5.0) -> Measured:
    """Hours for calcium tungstate of about 5 µm to settle 80 mm through its own crowd [h]; factor 4 by grain size."""
    liquid = water_20_degc()
    crowd = min(sludge_g / CALCIUM_TUNGSTATE_G_CM3 / liquid_ml, 0.5)
    alone = settling_velocity_m_s(grain_um, CALCIUM_TUNGSTATE_G_CM3, liquid)
    reynolds = alone * liquid.density_g_cm3 * grain_um * 1e-3 / (liquid.viscosity_mpa_s * 1e-3)
    hours = height_mm / 1000 / hindered_velocity_m_s(alone, crowd, richardson_zaki_exponent(reynolds)) / 3600
    return Measured(hours, hours, "h")


def lime_solubility_product() -> float:
    """Solubility product of calcium hydroxide at 25 degC, from the portlandite constant of the database."""
    return math.pow(10.0, PORTLANDITE_LOG_K + 2 * WATER_LOG_K)


def lime_saturated_ph() -> float:
    """PH over calcium hydroxide, activities taken as concentrations."""
    hydroxide = 2 * math.cbrt(lime_solubility_product() / 4)
    return -WATER_LOG_K + math.log10(hydroxide)


def lime_solubility_g_100ml(temperature_degc: float) -> float:
    """Solubility of calcium hydroxide [g per 100 mL]; falls with temperature (numbers from memory, 10 %)."""
    return float(np.interp(temperature_degc, _LIME_DEGC, _LIME_G_100ML))


def carbonate_over_lime_mg_l() -> float:
    """Carbonate left over calcite where lime sets the calcium [mg/L], activities taken as concentrations."""
    calcium = math.cbrt(lime_solubility_product() / 4)
    return 1000 * molar_mass_g_mol("CO3(2-)") * math.pow(10.0, CALCITE_LOG_KSP) / calcium


def calcium_need_mol(tungstate_mol: float, sodium_mol: float) -> tuple[float, float, float]:
    """Least, most and planned calcium [mol].

    The least is the tungstate alone; the most half the sodium weighed in (hydroxide and carbonate take theirs);
    planned is
    the most plus 10 %.
    """
    most = sodium_mol / 2
    return tungstate_mol, most, (1 + CALCIUM_EXCESS) * most


@dataclass(frozen=True)
class WastePlan:
    """What is left over and how it is treated.

    `sludge_reaches_1_bq_g_at` is the share of the batch's thoria which, carried into the sludge, brings it to 1 Bq/g.
    """

    calcium_least_g: dict[str, float]
    calcium_most_g: dict[str, float]
    calcium_planned_g: dict[str, float]
    solution_heat_kj: float
    solution_rise_k: float
    sludge_dry_g: Measured
    sludge_wet_g: Measured
    sludge_settles_h: Measured
    calcium_tungstate_g: float
    calcium_hydroxide_g: float
    calcium_hydroxide_dissolved_g: float
    calcium_carbonate_g: float
    liquid_ml: float
    liquid_ph: float
    tungsten_left_mg_l: tuple[float, float]
    carbonate_left_mg_l: float
    sludge_reaches_1_bq_g_at: float
    sludge_bq_g_planned: Measured
    tungstate_kept_g: float
    tungstate_crystals_ml: float
    trioxide_obtainable_g: Measured
    free_hydroxide_mol_l: Measured
    hydroxide_to_add_g: float
    order: tuple[str, ...]
    solids: tuple[str, ...]
    labels: tuple[str, ...]


def waste_plan(
    *,
    tungstate_mol: float,
    sodium_mol: float,
    carbonate_mol: float,
    hydroxide_mol: float,
    volume_ml: float,
    thoria_g: float,
    washings_ml: float = 0.0,
    carried_over: float = 0.005,
    u_carried_over: float = 0.005,
) -> WastePlan:
    """Plan the treatment of spent bath.

    Parameters
    ----------
    tungstate_mol, sodium_mol, carbonate_mol, hydroxide_mol : float
        What the bath holds at the end, washings included [mol].
    volume_ml : float
        Its volume [mL].
    washings_ml : float
        Water that came to it since: dilution before settling, washings [mL].
    thoria_g : float
        Thoria of the batch, for the activity that may be carried over.
    carried_over, u_carried_over : float
        Share of the thoria that went with the liquid.

    Raises
    ------
    OutOfRangeError
        A negative amount, or no liquid.
    """
    given = {
        "tungstate": tungstate_mol,
        "sodium": sodium_mol,
        "carbonate": carbonate_mol,
        "hydroxide": hydroxide_mol,
        "thoria": thoria_g,
    }
    for name, value in given.items():
        if not (math.isfinite(value) and value >= 0):
            raise OutOfRangeError(f"{name}: {value!r} was given; amounts are finite and not negative.")
    if not (math.isfinite(washings_ml) and washings_ml >= 0):
        raise OutOfRangeError(f"washings: {washings_ml!r} mL was given; it must be finite and not negative.")
    if not volume_ml > 0:
        raise OutOfRangeError(f"volume: {volume_ml!r} mL was given; it must be above zero.")
    least, most, planned = calcium_need_mol(tungstate_mol, sodium_mol)
    tungstate_g = tungstate_mol * molar_mass_g_mol("CaWO4")
    lime_mol = hydroxide_mol / 2
    carbonate_g = carbonate_mol * molar_mass_g_mol("CaCO3")
    lime_made_g = lime_mol * molar_mass_g_mol("Ca(OH)2")
    planned_g = {salt: calcium_salt_g(planned, salt) for salt in CALCIUM_SALTS}
    solution_ml = 5.0 * planned_g["calcium chloride"] + 1.0
    total_ml = volume_ml + washings_ml + solution_ml
    lime_dissolved_g = min(lime_solubility_g_100ml(20.0) * total_ml / 100, lime_made_g)
    lime_g = lime_made_g - lime_dissolved_g
    dry = tungstate_g + lime_g + carbonate_g
    activity = thoria_activity_bq(thoria_g)
    at_limit = SLUDGE_LIMIT_BQ_G * dry / activity if activity else math.inf
    sludge_bq_g = carried_over * activity / dry if dry else 0.0
    heat = -planned * _CALCIUM_CHLORIDE_J_MOL
    free = hydroxide_mol / (volume_ml / 1000)
    short = max(STORE_FREE_HYDROXIDE_MOL_L - free, 0.0) * volume_ml / 1000
    order = (
        "Peroxide gone: no gas, test strip below 10 mg/L.",
        f"Dissolve {planned_g['calcium chloride']:.1f} g calcium chloride (anhydrous; dihydrate "
        f"{planned_g['calcium chloride dihydrate']:.1f} g) in {solution_ml:.0f} mL water: it heats by about "
        f"{heat / (solution_ml * 4.4):.0f} K; let it cool.",
        "Pour it slowly into the stirred, decanted liquid (not the other way). Stir overnight, covered.",
        "Let it settle; test some clear liquid with a little more calcium solution: if it clouds, add a tenth more.",
        "Decant or filter; keep sludge and liquid apart, each in its labelled vessel.",
        "Count the sludge before it goes anywhere; ask the authority and the licensed disposer with that number "
        "in hand.",
    )
    labels = (
        f"SLUDGE: calcium tungstate, calcium hydroxide; about {dry:.0f} g dry; tungsten "
        f"{tungstate_mol * molar_mass_g_mol('W'):.1f} g; Th-232 ____ Bq/g measured on ____; corrosive; radioactive "
        "until shown otherwise; owner ____",
        f"LIQUID: about {total_ml:.0f} mL, calcium-saturated, pH about 12, corrosive; tungsten some mg/L; owner ____",
        "SOLIDS: contaminated with thorium oxide and caustic; list inside; owner ____",
    )
    return WastePlan(
        calcium_least_g={salt: calcium_salt_g(least, salt) for salt in CALCIUM_SALTS},
        calcium_most_g={salt: calcium_salt_g(most, salt) for salt in CALCIUM_SALTS},
        calcium_planned_g=planned_g,
        solution_heat_kj=heat / 1000,
        solution_rise_k=heat / (solution_ml * 4.4),
        sludge_dry_g=Measured(dry, 0.05 * dry, "g"),
        sludge_wet_g=Measured(2.5 * dry, 0.8 * dry, "g"),
        sludge_settles_h=_sludge_settling_h(dry, total_ml),
        calcium_tungstate_g=tungstate_g,
        calcium_hydroxide_g=lime_g,
        calcium_hydroxide_dissolved_g=lime_dissolved_g,
        calcium_carbonate_g=carbonate_g,
        liquid_ml=total_ml,
        liquid_ph=lime_saturated_ph(),
        tungsten_left_mg_l=(1.0, 5.0),
        carbonate_left_mg_l=carbonate_over_lime_mg_l(),
        sludge_reaches_1_bq_g_at=at_limit,
        sludge_bq_g_planned=Measured(
            sludge_bq_g, sludge_bq_g * (u_carried_over / carried_over if carried_over else 0), "Bq/g"
        ),
        tungstate_kept_g=tungstate_mol * molar_mass_g_mol("Na2WO4"),
        tungstate_crystals_ml=tungstate_mol
        * (molar_mass_g_mol("Na2WO4") + 2 * molar_mass_g_mol("H2O"))
        / _DIHYDRATE_G_CM3,
        trioxide_obtainable_g=Measured(
            tungstate_mol * molar_mass_g_mol("WO3"), 0.03 * tungstate_mol * molar_mass_g_mol("WO3"), "g"
        ),
        free_hydroxide_mol_l=Measured(free, 0.2 * free, "mol/L"),
        hydroxide_to_add_g=short * molar_mass_g_mol("NaOH"),
        order=order,
        solids=CONTAMINATED_SOLIDS,
        labels=labels,
    )


def tungsten_trioxide_g(tungsten_mass_g: float) -> float:
    """Tungsten trioxide that a mass of dissolved tungsten would make [g]."""
    return mol(tungsten_mass_g, "W") * molar_mass_g_mol("WO3")


def calcium_tungstate_tungsten_mg_l(solubility_product: float = 8.7e-9) -> float:
    """Tungsten left over calcium tungstate in pure water, from its solubility product (from memory, factor 3)
    [mg/L].
    """
    return 1000 * math.sqrt(solubility_product) * molar_mass_g_mol("W")
