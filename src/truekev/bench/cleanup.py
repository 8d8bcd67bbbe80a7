"""Clearing tungsten fines with dilute peroxide: heat balance, the adiabatic rule, doses, hydroxide, time.

W + 3 H2O2 + 2 OH- -> WO4(2-) + 4 H2O, -1185 kJ per mol W; what is left decomposes, H2O2 -> H2O + 1/2 O2,
-94.7 kJ per mol. A dose is allowed only if complete conversion without any cooling stays at or below 60 degC. The
refusal never rests on kinetics: they only predict how long it takes, as a wide band.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from truekev.bench.settings import CleanupSettings
from truekev.bench.stoichiometry import enthalpy_j_mol, gas_litres, mol, molar_mass_g_mol
from truekev.errors import InputError, OutOfRangeError, RefusedError
from truekev.quantity import Measured

__all__ = [
    "MAX_ADIABATIC_DEGC",
    "CleanupPlan",
    "Dose",
    "DoseHeat",
    "cleanup_plan",
    "cooled_peak_degc",
    "decomposition_j_mol",
    "dose_heat",
    "largest_portion_ml",
    "parse_dose",
    "tungsten_oxidation_j_mol",
    "worst_part",
]

MAX_ADIABATIC_DEGC = 60.0
_BOILING_DEGC = 100.0
_NO_LIMIT_ML = 1e5
_PEROXIDE_J_G_K = 2.62  # of H2O2 itself; with water's 4.18 the mixture's heat capacity
_WATER_J_G_K = 4.18
_HEEL_J_ML_K = 4.1  # washed or dilute caustic heel, per mL
_VAPORISATION_J_G = 2257.0
_YIELD = (0.10, 0.50)  # share of the peroxide that dissolves tungsten; from memory
# First-order decay of peroxide in caustic at room temperature, 1/h; a wide band from memory, times 2 to 3 for every
# 10 K.
_DECAY_PER_H = (0.01, 0.5)


def decomposition_j_mol() -> float:
    """Heat set free when dissolved peroxide decomposes, per mol [J/mol]; 94.7 kJ/mol."""
    return enthalpy_j_mol("H2O2") - enthalpy_j_mol("H2O")


def tungsten_oxidation_j_mol() -> float:
    """Heat set free when peroxide dissolves tungsten, per mol of tungsten [J/mol]; 1185 kJ/mol."""
    products = enthalpy_j_mol("WO4(2-)") + 4 * enthalpy_j_mol("H2O")
    return 3 * enthalpy_j_mol("H2O2") + 2 * enthalpy_j_mol("OH-") - products


@dataclass(frozen=True)
class Dose:
    """A dose of peroxide: volume [mL] and strength [mass %]."""

    volume_ml: float
    percent: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.volume_ml) and 0 < self.volume_ml <= 1e5):
            raise OutOfRangeError(f"dose of {self.volume_ml:g} mL: it must be above 0 and at most 100 L.")
        if not (math.isfinite(self.percent) and 0 < self.percent <= 70):
            raise OutOfRangeError(f"peroxide of {self.percent:g} %: it must be above 0 and at most 70 %.")

    @property
    def mass_g(self) -> float:
        """Mass [g]; density 1 + 0.0035 per percent (common tables, from memory)."""
        return self.volume_ml * (0.998 + 0.0035 * self.percent)

    @property
    def peroxide_mol(self) -> float:
        """Hydrogen peroxide in it [mol]."""
        return mol(self.mass_g * self.percent / 100, "H2O2")

    @property
    def heat_capacity_j_k(self) -> float:
        """Heat capacity [J/K]."""
        share = self.percent / 100
        return self.mass_g * ((1 - share) * _WATER_J_G_K + share * _PEROXIDE_J_G_K)

    @property
    def tungsten_capacity_g(self) -> float:
        """Tungsten that it could dissolve if nothing decomposed [g]."""
        return self.peroxide_mol / 3 * molar_mass_g_mol("W")


def parse_dose(text: str) -> Dose:
    """A dose from words such as "50mL 5%" or "50 ml of 5 %"."""
    found = re.fullmatch(
        r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(ml|l)\s*(?:of|x|@|,)?\s*([0-9]+(?:[.,][0-9]+)?)\s*%\s*", text.lower()
    )
    if found is None:
        raise InputError(f"dose {text!r}: write volume and strength, as '50mL 5%'.")
    volume = float(found[1].replace(",", ".")) * (1000 if found[2] == "l" else 1)
    return Dose(volume, float(found[3].replace(",", ".")))


@dataclass(frozen=True)
class DoseHeat:
    """Heat of one dose on a heel if all of it reacts and nothing cools.

    `peak_degc` is the temperature that the heat would bring the liquid to; above 100 degC it boils and throws
    (`boiled_off_g` of water). `worst_case` is true where the tungsten is unknown and taken as unlimited.
    """

    heat_j: float
    rise_k: float
    start_degc: float
    peak_degc: float
    boils: bool
    boiled_off_g: float
    tungsten_dissolved_g: float
    oxygen_l: float
    hydroxide_used_mol: float
    worst_case: bool


def dose_heat(dose: Dose, heel_ml: float, tungsten_g: float | None, start_degc: float = 20.0) -> DoseHeat:
    """Heat and adiabatic peak of a dose.

    Parameters
    ----------
    dose : Dose
        What is poured in.
    heel_ml : float
        Liquid that is there already [mL].
    tungsten_g : float or None
        Tungsten left [g]; None: unknown, so unlimited.
    start_degc : float
        Temperature of heel and dose [degC].

    Notes
    -----
    Of all splits of the peroxide between tungsten and decomposition the one with most heat is taken: as much on
    tungsten
    as there is (1185 kJ per mol for 3 mol of peroxide against 284 by decomposition).
    """
    if not (math.isfinite(heel_ml) and heel_ml >= 0):
        raise OutOfRangeError(f"heel of {heel_ml!r} mL: it must be finite and not negative.")
    if tungsten_g is not None and not (math.isfinite(tungsten_g) and tungsten_g >= 0):
        raise OutOfRangeError(f"tungsten of {tungsten_g!r} g: it must be finite and not negative.")
    most = dose.peroxide_mol / 3
    dissolved = most if tungsten_g is None else min(most, mol(tungsten_g, "W"))
    rest = dose.peroxide_mol - 3 * dissolved
    heat = tungsten_oxidation_j_mol() * dissolved + decomposition_j_mol() * rest
    capacity = heel_ml * _HEEL_J_ML_K + dose.heat_capacity_j_k
    rise = heat / capacity
    peak = start_degc + rise
    excess = max(heat - capacity * (_BOILING_DEGC - start_degc), 0.0)
    return DoseHeat(
        heat_j=heat,
        rise_k=rise,
        start_degc=start_degc,
        peak_degc=peak,
        boils=peak >= _BOILING_DEGC,
        boiled_off_g=excess / _VAPORISATION_J_G,
        tungsten_dissolved_g=dissolved * molar_mass_g_mol("W"),
        oxygen_l=gas_litres(dose.peroxide_mol / 2),
        hydroxide_used_mol=2 * dissolved,
        worst_case=tungsten_g is None,
    )


def cooled_peak_degc(
    dose: Dose,
    heel_ml: float,
    tungsten_g: float | None,
    *,
    start_degc: float = 20.0,
    loss_w_k: float = 0.1,
    decay_per_h: float = 0.5,
) -> float:
    """Peak temperature with cooling and first-order decay [degC]: information only, no refusal rests on it.

    Parameters
    ----------
    dose, heel_ml, tungsten_g, start_degc
        As for `dose_heat`.
    loss_w_k : float
        Heat loss per kelvin to a room at the start temperature [W/K]; 0 gives the adiabatic peak.
    decay_per_h : float
        Rate at the start temperature [1/h]; it doubles with every 10 K.
    """
    heat = dose_heat(dose, heel_ml, tungsten_g, start_degc)
    capacity = heat.heat_j / heat.rise_k
    if loss_w_k <= 0:
        return heat.peak_degc
    left, rise, peak = 1.0, 0.0, 0.0
    # Steps in conversion, not in time, so that a run-away needs no stiff solver; at each step the exact cooling.
    n_steps = 400
    for i in range(n_steps):
        part = left / (n_steps - i)
        rate_per_s = decay_per_h / 3600 * 2.0 ** (min(rise, 80.0) / 10)
        wait_s = part / (rate_per_s * max(left - 0.5 * part, 1e-12))
        # half of the heat before, half after the cooling of this step
        rise += 0.5 * part * heat.rise_k
        peak = max(peak, rise)
        rise = rise * math.exp(-loss_w_k * wait_s / capacity) + 0.5 * part * heat.rise_k
        peak = max(peak, rise)
        left -= part
    return start_degc + min(peak, heat.rise_k)


@dataclass(frozen=True)
class CleanupPlan:
    """Doses of peroxide for the fines.

    `allowed_ml` is the largest portion of that strength which keeps the rule; `n_portions` how many doses like the one
    asked for the known tungsten will take (fewest, most; None where it is unknown). `hours` is a wide band from memory.
    """

    asked: Dose
    heat: DoseHeat
    heat_without_tungsten: DoseHeat
    allowed_ml: float
    n_portions: tuple[int, int] | None
    tungsten_capacity_g: float
    tungsten_likely_g: tuple[float, float]
    hydroxide_needed_mol: float
    hydroxide_there_mol: float
    hydroxide_to_add_g: float
    oxygen_l: float
    hours: tuple[float, float]
    cooled_peak_degc: Measured
    first_out: tuple[str, ...]
    steps: tuple[str, ...]
    over_when: tuple[str, ...]

    @property
    def largest_in_words(self) -> str:
        """The largest portion allowed, rounded down to whole millilitres."""
        return "any volume" if self.allowed_ml >= _NO_LIMIT_ML else f"{math.floor(self.allowed_ml)} mL"


def worst_part(dose: Dose, heel_ml: float, tungsten_g: float | None, start_degc: float = 20.0) -> DoseHeat:
    """The hottest of the dose and every part of it: a slow pour is a row of smaller doses on less liquid.

    The heat per volume is highest where the peroxide just suffices for the tungsten; beyond it more dose dilutes.
    """
    whole = dose_heat(dose, heel_ml, tungsten_g, start_degc)
    if tungsten_g is None or tungsten_g >= dose.tungsten_capacity_g or tungsten_g == 0.0:
        return whole
    part = dose_heat(
        Dose(dose.volume_ml * tungsten_g / dose.tungsten_capacity_g, dose.percent), heel_ml, tungsten_g, start_degc
    )
    return max(whole, part, key=lambda heat: heat.peak_degc)


def largest_portion_ml(percent: float, heel_ml: float, tungsten_g: float | None, start_degc: float) -> float:
    """Largest dose of that strength that stays at or below 60 degC adiabatically [mL]; 0 if none does."""

    def fits(volume: float) -> bool:
        return worst_part(Dose(volume, percent), heel_ml, tungsten_g, start_degc).peak_degc <= MAX_ADIABATIC_DEGC

    if fits(_NO_LIMIT_ML):
        return _NO_LIMIT_ML
    low, high = 0.0, _NO_LIMIT_ML
    while high - low > 1e-3 * high and high > 1e-3:
        middle = math.sqrt(max(low, 1e-4) * high)
        if fits(middle):
            low = middle
        else:
            high = middle
    return low


def cleanup_plan(settings: CleanupSettings, dose: Dose) -> CleanupPlan:
    """Plan a clean-up with one dose.

    Raises
    ------
    RefusedError
        The dose could run away (says the portion that is allowed), titanium or copper is still in the beaker, the
        strength is 30 % or more, or there is no hydroxide.
    """
    if dose.percent >= 30:
        raise RefusedError(
            f"Peroxide of {dose.percent:g} % is refused outright: it boils on its own heat, even without tungsten.",
            "3 to 6 %, diluted in the fridge-cold bottle, never in the beaker.",
        )
    if not settings.basket_out:
        raise RefusedError(
            "The basket is still in the beaker (cleanup.basket_out = false): alkaline peroxide dissolves titanium "
            "at millimetres a year and more, with heat.",
            "lift basket, clips and all titanium out, and set basket_out = true.",
        )
    if not settings.copper_out:
        raise RefusedError(
            "Copper or iron is still in the beaker (cleanup.copper_out = false): it makes peroxide decompose at once.",
            "lift cathode, wire and clips out, and set copper_out = true.",
        )
    if settings.hydroxide_mol_l <= 0:
        raise RefusedError(
            "There is no hydroxide over the oxide (cleanup.hydroxide_mol_l = 0): peroxide on tungsten turns acid, "
            "and acid peroxide leaches radium and lead.",
            "some hydroxide first; 0.5 mol/L is usual.",
        )
    start = settings.temperature_degc
    heat = dose_heat(dose, settings.heel_ml, settings.tungsten_left_g, start)
    allowed = largest_portion_ml(dose.percent, settings.heel_ml, settings.tungsten_left_g, start)
    worst = worst_part(dose, settings.heel_ml, settings.tungsten_left_g, start)
    if worst.peak_degc > MAX_ADIABATIC_DEGC:
        knows = (
            "unknown tungsten (as much as the peroxide can dissolve)"
            if heat.worst_case
            else (f"{settings.tungsten_left_g:g} g of tungsten")
        )
        outcome = "it would boil" if worst.boils else f"it would reach {worst.peak_degc:.0f} °C"
        if worst != heat:
            outcome = f"its first part alone {outcome.removeprefix('it ')}"
        if allowed < 1.0:
            help_ = "weaker peroxide, a colder start, or more water over the oxide."
        else:
            help_ = (
                f"portions of at most {math.floor(allowed):.0f} mL, each only when the bath is back within 5 K and "
                "gassing has stopped; weaker peroxide; or more water over the oxide."
            )
        raise RefusedError(
            f"{dose.volume_ml:g} mL of {dose.percent:g} % on {settings.heel_ml:g} mL can run away: with {knows}, "
            f"complete conversion and no cooling, {outcome} (from {start:g} °C); the rule is 60 °C.",
            help_,
        )
    there = settings.hydroxide_mol_l * settings.heel_ml / 1000
    total_l = (settings.heel_ml + dose.volume_ml) / 1000
    next_one = "A next portion" + ("" if allowed >= _NO_LIMIT_ML else f" (at most {math.floor(allowed):.0f} mL)")
    keep = 0.1 * total_l
    missing = max(heat.hydroxide_used_mol + keep - there, 0.0)
    peak_slow, peak_fast = (
        cooled_peak_degc(dose, settings.heel_ml, settings.tungsten_left_g, start_degc=start, decay_per_h=k)
        for k in _DECAY_PER_H
    )
    capacity = dose.tungsten_capacity_g
    most_g = capacity if settings.tungsten_left_g is None else settings.tungsten_left_g
    add_g = missing * molar_mass_g_mol("NaOH")
    portions = None
    how_many = "Go on until no dark grains are left; the yield is only 10 to 50 % of the stoichiometry (from memory)."
    if settings.tungsten_left_g is not None:
        fewest, most = (max(math.ceil(settings.tungsten_left_g / (y * capacity)), 1) for y in reversed(_YIELD))
        portions = (fewest, most)
        how_many = (
            f"Expect {fewest} to {most} such doses for {settings.tungsten_left_g:g} g (yield 10 to 50 %, from memory)."
        )
    steps = (
        "Basket, titanium, copper and iron out of the beaker; vented cover, tray, thermometer in.",
        f"Hydroxide first: {add_g:.2f} g more, dissolved and cooled."
        if add_g >= 0.01
        else "The hydroxide there is enough.",
        f"Pour {dose.volume_ml:g} mL of {dose.percent:g} % in slowly at {start:g} °C; stay for the first hour.",
        "Read the temperature every few minutes; over 50 °C stand the beaker in cold water and step back.",
        f"{next_one} only when the bath is back within 5 K and gassing has stopped.",
        how_many,
    )
    return CleanupPlan(
        asked=dose,
        heat=heat,
        heat_without_tungsten=dose_heat(dose, settings.heel_ml, 0.0, start),
        allowed_ml=allowed,
        n_portions=portions,
        tungsten_capacity_g=capacity,
        tungsten_likely_g=(min(_YIELD[0] * capacity, most_g), min(_YIELD[1] * capacity, most_g)),
        hydroxide_needed_mol=heat.hydroxide_used_mol + keep,
        hydroxide_there_mol=there,
        hydroxide_to_add_g=add_g,
        oxygen_l=heat.oxygen_l,
        hours=(math.log(100) / _DECAY_PER_H[1], math.log(100) / _DECAY_PER_H[0]),
        cooled_peak_degc=Measured(
            0.5 * (peak_slow + peak_fast), abs(peak_fast - peak_slow) / math.sqrt(12) + 2.0, "°C"
        ),
        first_out=("basket and clips (titanium)", "cathode, wire (copper, iron)", "stir bar with a worn coat"),
        steps=steps,
        over_when=(
            "no gas is seen for an hour after stirring",
            "a test strip reads below 10 mg/L peroxide",
            "no dark grains sink faster than the white oxide",
        ),
    )
