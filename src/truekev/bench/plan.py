"""The core plan of a make: every figure with its uncertainty, from one time course."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from truekev.bench.attendance import attended_moments_s, unattended_stretches
from truekev.bench.bath import bath_of
from truekev.bench.cell import VoltageParts, cell_geometry, voltage_parts
from truekev.bench.course import Course, CourseInput, EndEvent, TopUp, run_course
from truekev.bench.refusals import bath_water_g, refuse_unsafe_cell
from truekev.bench.rods import RodContent, anode_content, lot_mass_g
from truekev.bench.settings import BatchSettings, RodLot
from truekev.bench.stoichiometry import (
    FARADAY_C_MOL,
    gas_litres,
    hydrogen_l,
    hydroxide_net_g,
    mol,
    molar_mass_g_mol,
)
from truekev.bench.surroundings import room_of
from truekev.errors import RefusedError
from truekev.quantity import Measured

__all__ = ["MakePlan", "air_for_hydrogen_l_min", "bath_heat_w", "course_input", "largest_safe_current_a", "plan_make"]

LOWER_FLAMMABLE_LIMIT = 0.04
PARTING = (0.65, 0.15 / math.sqrt(3.0))  # dipped rods part after 50 to 80 % of the dipped mass; from memory
THERMONEUTRAL_V = 0.076


def air_for_hydrogen_l_min(hydrogen_l_min: float) -> float:
    """Air that keeps hydrogen at a quarter of its lower flammable limit of 4 % [L/min]."""
    quarter = LOWER_FLAMMABLE_LIMIT / 4
    return hydrogen_l_min * (1.0 / quarter - 1.0)


def bath_heat_w(current_a: float, voltage_v: float) -> float:
    """Heat set free in the cell when all current dissolves tungsten [W]: I (U + 0.076 V)."""
    return current_a * (voltage_v + THERMONEUTRAL_V)


@dataclass(frozen=True)
class MakePlan:
    """What a make takes, gives and leaves.

    Voltages are given at the start and near the end (nine tenths of the tungsten gone); `hydrogen_ml_min` at 25
    degC. `latest_top_up`
    is when the level cut-out could switch off if nobody topped up at all, evaporation a factor 1.5 faster.
    `hydroxide_excess` is free hydroxide as
    weighed,
    after assay, over what the tungsten takes.
    """

    content: RodContent
    thoria_freed_g: Measured
    activity_freed_bq: Measured
    tungsten_dissolved_g: Measured
    tungsten_left_g: Measured
    tungsten_fines_g: Measured
    stubs_g: Measured
    charge_ah: Measured
    duration_h: Measured
    finish: datetime
    end: EndEvent
    hydroxide_needed_g: Measured
    hydroxide_excess: Measured
    hydroxide_start_mol_l: Measured
    hydroxide_end_mol_l: Measured
    tungstate_end_mol_l: Measured
    tungstate_saturation: Measured
    tungstate_crystals_g: Measured
    carbon_dioxide_mol: Measured
    water_electrolysis_g: Measured
    water_evaporated_g: Measured
    evaporation_g_h: Measured
    latest_top_up: datetime
    volume_end_ml: Measured
    voltage_start: VoltageParts
    voltage_late: VoltageParts
    voltage_start_v: Measured
    voltage_late_v: Measured
    heat_w: Measured
    heat_at_cap_w: Measured
    temperature_degc: Measured
    temperature_peak_degc: Measured
    hydrogen_ml_min: Measured
    hydrogen_l: Measured
    air_l_min: Measured
    current_density_a_cm2: Measured
    limit_ratio_start: Measured
    limit_ratio_late: Measured
    mist_thoria_mg: Measured
    top_ups: tuple[TopUp, ...]
    course: Course
    warnings: tuple[str, ...]


def course_input(batch: BatchSettings, *, current_a: float | None = None, cooling: float = 1.0) -> CourseInput:
    """Amounts and coefficients of a batch for the time course; `current_a` and `cooling` for what-if questions."""
    content = anode_content(batch)
    pure_g = batch.hydroxide.mass_g * batch.hydroxide.assay_percent / 100
    water_g = bath_water_g(batch.cell.volume_ml, pure_g)
    share = content.wetted_fraction
    return CourseInput(
        tungsten_mol=mol(content.tungsten_g.value * share, "W"),
        thoria_mol=mol(content.thoria_g.value * share, "ThO2"),
        hydroxide_mol=mol(pure_g, "NaOH"),
        water_mol=mol(water_g, "H2O"),
        room=room_of(batch, cooling=cooling),
        geometry=cell_geometry(batch, content.wetted_area_cm2),
        current_a=batch.supply.current_a if current_a is None else current_a,
        cap_v=batch.supply.voltage_cap_v,
        efficiency=batch.anode.current_efficiency,
        fines=batch.anode.fines_percent / 100,
        parting=PARTING[0] if batch.anode.holder == "dipped" else 1.0,
        top_up_times_s=attended_moments_s(batch.start, batch.attendance),
    )


def largest_safe_current_a(batch: BatchSettings) -> float:
    """Largest current up to the supply's rating at which the bath stays at or below 60 degC [A]; to 1 %."""
    low, high = 0.0, batch.supply.rating_a
    if run_course(course_input(batch, current_a=high)).end is not EndEvent.HOT:
        return high
    while high - low > 0.01 * high:
        middle = 0.5 * (low + high)
        if run_course(course_input(batch, current_a=middle)).end is EndEvent.HOT:
            high = middle
        else:
            low = middle
        if high < 1e-4 * batch.supply.rating_a:
            break
    return low


def plan_make(batch: BatchSettings) -> MakePlan:
    """Plan a make.

    Returns
    -------
    MakePlan
        Uncertainties: class limits as rectangular; the supply's current 1 %; evaporation a factor 1.5 and heat loss
        15 %; overpotentials and conductivity the bands of their memory; carbon dioxide and mist factors of 2 and 3.

    Raises
    ------
    RefusedError
        The cell is unsafe (see `refuse_unsafe_cell`), or the bath would pass 60 degC.
    OutOfRangeError
        The bath cannot be made up.
    """
    refuse_unsafe_cell(batch)
    given = course_input(batch)
    course = run_course(given)
    if course.end is EndEvent.HOT:
        raise RefusedError(
            f"At {batch.supply.current_a:g} A and a cap of {batch.supply.voltage_cap_v:g} V the bath would pass 60 "
            f"°C after {course.duration_s / 3600:.1f} h; no plan proposes a bath above 60 °C.",
            f"less current (about {largest_safe_current_a(batch):.2g} A at most here), a lower voltage cap, a "
            "wider vessel, a smaller gap, or moving air.",
        )
    return _figures(batch, given, course)


def _figures(batch: BatchSettings, given: CourseInput, course: Course) -> MakePlan:
    content = anode_content(batch)
    w_molar, th_molar = molar_mass_g_mol("W"), molar_mass_g_mol("ThO2")
    crystals = course.final("tungstate_solid")
    dissolved = (course.final("tungstate") + course.final("mist_tungstate") + crystals) * w_molar
    fines = course.final("tungsten_fines") * w_molar
    freed = course.final("thoria_loose") * th_molar
    left = content.tungsten_g.value - dissolved - fines
    complete = course.end in (EndEvent.DISSOLVED, EndEvent.PARTED)
    relative_thoria = content.thoria_g.relative_u
    relative_parting = PARTING[1] / PARTING[0] if batch.anode.holder == "dipped" else 0.0
    relative_w = math.hypot(content.tungsten_g.relative_u, relative_parting) if complete else 0.03
    relative_freed = math.hypot(relative_thoria, relative_parting)
    efficiency_u = batch.anode.u_current_efficiency / batch.anode.current_efficiency
    charge = course.final("charge_c") / 3600
    relative_charge = math.hypot(relative_w, efficiency_u) if complete else 0.02
    duration_h = course.duration_s / 3600
    relative_time = math.hypot(relative_charge, 0.02)
    pure_g = batch.hydroxide.mass_g * batch.hydroxide.assay_percent / 100
    needed = hydroxide_net_g(content.tungsten_g.value * content.wetted_fraction * given.parting)
    u_pure = batch.hydroxide.u_assay_percent / batch.hydroxide.assay_percent
    volume_l = float(course.volume_l[-1])
    co2 = course.final("carbon_dioxide_in")
    u_end = (
        math.sqrt((u_pure * given.hydroxide_mol) ** 2 + co2**2 + (2 * relative_w * course.final("tungstate")) ** 2)
        / volume_l
    )
    evaporated = (course.final("vapour_out") + course.final("mist_water")) * molar_mass_g_mol("H2O")
    electrolysis = 2 * (dissolved / w_molar + course.final("oxygen_out")) * molar_mass_g_mol("H2O")
    rate_g_h = evaporated / max(duration_h, 1e-6)
    spare_g = (1.0 - given.min_level) * float(course.volume_l[0]) * 1000.0
    late = _late_index(course)
    parts = [_parts(given, course, i) for i in (_steady_index(course), late)]
    voltages = [
        Measured(min(p.total_v, given.cap_v), _u_voltage(p) if p.total_v < given.cap_v else 0.01 * given.cap_v, "V")
        for p in parts
    ]
    steady = _steady_index(course)
    heat = bath_heat_w(float(course.current_a[steady]), voltages[0].value)
    rise = float(course.temperature_degc[steady]) - given.room.temperature_degc
    peak = float(course.temperature_degc.max())
    u_rise = math.hypot(0.15, voltages[0].relative_u)
    gas_mol_s = given.current_a / (2 * FARADAY_C_MOL)
    ml_min = gas_litres(gas_mol_s) * 60000
    density = given.current_a / given.geometry.anode_area_cm2
    ratio_start, ratio_late = float(course.limit_ratio[steady]), float(course.limit_ratio[late])
    mist = course.final("mist_thoria") * th_molar * 1000
    plan = MakePlan(
        content=content,
        thoria_freed_g=Measured(freed, relative_freed * freed, "g"),
        activity_freed_bq=_activity(content, freed, relative_freed),
        tungsten_dissolved_g=Measured(dissolved, math.hypot(relative_w * dissolved, 0.6 * fines), "g"),
        tungsten_left_g=Measured(max(left, 0.0), max(relative_w * dissolved, 1e-3), "g"),
        tungsten_fines_g=Measured(fines, 0.6 * fines, "g"),
        stubs_g=_scaled(content.mass_g.value * (1.0 - content.wetted_fraction), 0.02, "g"),
        charge_ah=Measured(charge, relative_charge * charge, "Ah"),
        duration_h=Measured(duration_h, relative_time * duration_h, "h"),
        finish=batch.start + timedelta(seconds=round(course.duration_s)),
        end=course.end,
        hydroxide_needed_g=Measured(needed, needed * content.tungsten_g.relative_u, "g"),
        hydroxide_excess=Measured(pure_g / needed, pure_g / needed * math.hypot(u_pure, relative_w), ""),
        hydroxide_start_mol_l=Measured(
            float(course.hydroxide_mol_l[0]), u_pure * float(course.hydroxide_mol_l[0]), "mol/L"
        ),
        hydroxide_end_mol_l=Measured(float(course.hydroxide_mol_l[-1]), u_end, "mol/L"),
        tungstate_end_mol_l=_scaled(float(course.tungstate_mol_l[-1]), math.hypot(relative_w, 0.03), "mol/L"),
        tungstate_saturation=_scaled(float(course.saturation.max()), 0.3, ""),
        tungstate_crystals_g=_scaled(crystals * 329.85, 0.5, "g"),
        carbon_dioxide_mol=_scaled(co2, 0.5, "mol"),
        water_electrolysis_g=_scaled(electrolysis, relative_charge, "g"),
        water_evaporated_g=_scaled(evaporated, 0.2, "g"),
        evaporation_g_h=_scaled(rate_g_h, 0.2, "g/h"),
        latest_top_up=batch.start + timedelta(hours=round(min(spare_g / max(1.5 * rate_g_h, 1e-3), 24.0 * 365), 2)),
        volume_end_ml=_scaled(1000 * volume_l, 0.02, "mL"),
        voltage_start=parts[0],
        voltage_late=parts[1],
        voltage_start_v=voltages[0],
        voltage_late_v=voltages[1],
        heat_w=_scaled(heat, voltages[0].relative_u, "W"),
        heat_at_cap_w=_scaled(bath_heat_w(given.current_a, given.cap_v), 0.02, "W"),
        temperature_degc=Measured(float(course.temperature_degc[steady]), abs(rise) * u_rise + 1.0, "°C"),
        temperature_peak_degc=Measured(peak, abs(peak - given.room.temperature_degc) * u_rise + 1.0, "°C"),
        hydrogen_ml_min=_scaled(ml_min, 0.01, "mL/min"),
        hydrogen_l=_scaled(hydrogen_l(course.final("charge_c")), relative_charge, "L"),
        air_l_min=_scaled(air_for_hydrogen_l_min(ml_min / 1000), 0.01, "L/min"),
        current_density_a_cm2=_scaled(density, 0.05, "A/cm²"),
        limit_ratio_start=_scaled(ratio_start, 0.35, ""),
        limit_ratio_late=_scaled(ratio_late, 0.35, ""),
        mist_thoria_mg=_scaled(mist, 0.8, "mg"),
        top_ups=course.top_ups,
        course=course,
        warnings=(),
    )
    return replace(plan, warnings=_warnings(batch, plan))


def _scaled(value: float, relative: float, unit: str) -> Measured:
    return Measured(value, abs(value) * relative, unit)


def _activity(content: RodContent, freed_g: float, relative: float) -> Measured:
    per_g = content.activity_bq.value / content.thoria_g.value
    return Measured(freed_g * per_g, freed_g * per_g * math.hypot(relative, 0.0043), "Bq")


def _steady_index(course: Course) -> int:
    """First step after warming up: a quarter of the run, six hours at most."""
    target = min(0.25 * course.duration_s, 6 * 3600.0)
    return min(int((course.time_s < target).sum()), len(course.time_s) - 1)


def _late_index(course: Course) -> int:
    """Where nine tenths of the tungsten that goes has gone."""
    tungsten = course.states[:, 0]
    target = tungsten[0] - 0.9 * (tungsten[0] - tungsten[-1])
    return min(int((tungsten > target).sum()), len(course.time_s) - 1)


def _parts(given: CourseInput, course: Course, i: int) -> VoltageParts:
    bath = bath_of(course.states[i].tolist(), given.room.vessel_j_k)
    left = min(max(float(course.states[i, 0]) / given.tungsten_mol, 1e-12), 1.0)
    geometry = replace(given.geometry, anode_area_cm2=given.geometry.anode_area_cm2 * left**0.5)
    return voltage_parts(
        float(course.current_a[i]), geometry, bath.hydroxide_mol_l, bath.tungstate_mol_l, bath.temperature_degc
    )


def _u_voltage(parts: VoltageParts) -> float:
    """Bands from memory as rectangular: anode ± 0.25 V, cathode ± 0.15 V, contacts ± 0.2 V; bath resistance 25 %."""
    bands = (0.25 / math.sqrt(3), 0.15 / math.sqrt(3), 0.2 / math.sqrt(3), 0.25 * parts.bath_v, 0.01)
    return math.sqrt(sum(b * b for b in bands))


def _odd_mass(lot: RodLot) -> str:
    weighed_g, measured_g = lot_mass_g(lot).value, lot_mass_g(lot.model_copy(update={"mass_g": None})).value
    if 0.85 < weighed_g / measured_g < 1.15:
        return ""
    return (
        f"{lot.count} rods of {lot.diameter_mm:g} × {lot.length_mm:g} mm are given as {weighed_g:g} g, "
        f"{weighed_g / measured_g:.2g} times what their diameter and length give ({measured_g:.1f} g): a slip?"
    )


def _warnings(batch: BatchSettings, plan: MakePlan) -> tuple[str, ...]:
    told = [_odd_mass(lot) for lot in batch.rods if lot.mass_g is not None]
    told = [words for words in told if words]
    if plan.end not in (EndEvent.DISSOLVED, EndEvent.PARTED):
        told.append(
            f"The run ends early: {plan.end.value}. {plan.tungsten_left_g.value:.1f} g of tungsten stay in the rods."
        )
    if plan.end is EndEvent.PARTED:
        told.append(
            "Dipped rods neck at the surface and part after 50 to 80 % of the dipped mass (from memory): the "
            "pieces fall in, the stubs above the liquid stay. A passive titanium basket dissolves all of it."
        )
    if plan.hydroxide_excess.value < 1.0:
        told.append("The hydroxide is less than the tungsten takes; plan 1.3 to 1.6 times the net need.")
    elif plan.hydroxide_excess.value < 1.25:
        told.append("Thin margin of hydroxide: assay, air and a late slow-down eat it. 1.3 to 1.6 times is usual.")
    if plan.limit_ratio_late.value > 0.7:
        told.append(
            "Near the end the current comes close to what the hydroxide can carry to the thin rods: lower it in "
            "the last tenth."
        )
    if plan.tungstate_crystals_g.value > 0.5:
        told.append(
            f"Sodium tungstate saturates the bath: some {plan.tungstate_crystals_g.value:.0f} g of crystals form, "
            "on the rods too, and the voltage rises. Take more water; dilute and warm before settling."
        )
    elif plan.tungstate_saturation.value > 0.8:
        told.append(
            "Tungstate comes near the solubility in pure water, an upper bound in caustic: crystals on the rods "
            "are likely."
        )
    if plan.temperature_peak_degc.value + plan.temperature_peak_degc.u > 55.0:
        told.append(
            "The bath comes near 60 °C within its uncertainty: start with less current and look at the thermometer."
        )
    low = min((t.level_before for t in plan.top_ups), default=1.0)
    if low < 0.85:
        told.append(
            f"The level falls to {100 * low:.0f} % before a top-up: a larger bath or a shorter unattended time."
        )
    if any(a <= plan.finish < b for a, b in unattended_stretches(batch.start, plan.finish, batch.attendance)):
        told.append("It ends while nobody is there: start later, or choose the current with --done-by.")
    if batch.cell.vessel_material == "glass":
        told.append("Caustic etches glass over days: polypropylene for anything longer than a run.")
    if batch.cell.cathode_material == "copper":
        told.append("Copper is clean only while current flows: lift it out when the supply is off.")
    return tuple(told)
