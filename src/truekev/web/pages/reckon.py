"""Small reckonings that write nothing: dose rate, counting limits, a dose of peroxide."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from truekev.bench.cleanup import Dose
from truekev.bench.settings import CleanupSettings
from truekev.errors import InputError, RefusedError, TruekevError
from truekev.job.clean import clean_with
from truekev.job.dose import dose_of_source
from truekev.job.how_long_to_count import how_long_to_count
from truekev.job.is_it_there import is_it_there
from truekev.quantity import Measured
from truekev.safety.cautions import Caution, cautions_for
from truekev.samples.counting_time import Background
from truekev.samples.net_count import NetCount
from truekev.sources.words import source_words
from truekev.spectra.durations import seconds_of_text
from truekev.web.forms import Posted
from truekev.web.pages.spectra import checked_source
from truekev.web.record_form import FormField
from truekev.web.site import Site, SiteOf

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True)
class Reckoned:
    """What a reckoning gives: a sentence, quantities, lists under headings."""

    say: str
    rows: tuple[tuple[str, str], ...]
    lists: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def _page(
    request: Request,
    site: Site,
    words: tuple[str, str],
    fields: tuple[FormField, ...],
    cautions: tuple[Caution, ...],
    reckon: Callable[[Posted], Reckoned],
) -> Response:
    """The form filled with what the address says, and what follows from it once something was asked."""
    asked: dict[str, tuple[str, ...]] = {name: (value[:300],) for name, value in request.query_params.items()}
    shown = [replace(f, value=asked.get(f.name, (f.value if f.form != "yes" or not asked else "",))[0]) for f in fields]
    found, problem, refused = None, "", False
    if asked:
        try:
            found = reckon(Posted(asked, {}))
        except TruekevError as error:
            problem, refused = str(error), isinstance(error, RefusedError)
    return site.page(
        request, "reckon.html", heading=words[0], under=words[1], fields=shown, cautions_of=cautions, found=found,
        problem=problem, refused=refused,
    )  # fmt: skip


def _number(name: str, label: str, value: str = "", *, needed: bool = False) -> FormField:
    return FormField(name, label, "number", needed, value)


@router.get("/dose")
def dose_page(request: Request, site: SiteOf) -> Response:
    """What a source gives to somebody beside it."""
    choices = tuple((word, f"{word}: {what}") for word, what in source_words().items())
    fields = (
        FormField("word", "What it is", "choice", False, "", "", choices),
        FormField("nuclide", "or a nuclide, as Cs-137", "line", False),
        _number("activity", "Activity of its first nuclide, Bq", needed=True),
        FormField("distance", "Distance, as 10cm, 1m or contact", "line", True, "10cm"),
    )
    words = ("Dose rate of a source", "Information, not permission: it measures nothing and clears nothing.")
    return _page(request, site, words, fields, cautions_for("dose", "seal"), _dose)


def _dose(asked: Posted) -> Reckoned:
    word = asked.text("nuclide") or asked.text("word")
    if not word:
        raise InputError("choose what it is, or name a nuclide.")
    r = dose_of_source(
        checked_source(word), asked.text("distance"), activity_bq=asked.needed("activity", "activity, Bq")
    )
    rows = [
        ("photons: air kerma rate (point, no absorption)", str(r.kerma_rate)),
        ("hours for 1 µSv", f"{r.hours_for_1_usv:.3g}"),
    ]
    if r.beta_contact_msv_h is not None:
        value, low, high = r.beta_contact_msv_h
        rows.append(("betas to skin through 1 mm of glass", f"{value:.2g} mSv/h, between {low:.1g} and {high:.1g}"))
    if r.inhaled_1_mg is not None:
        rows.append(("inhaling 1 mg of it", f"{r.inhaled_1_mg.dose_msv:.2g} mSv (ICRP 119, type S)"))
    if r.swallowed_1_mg is not None:
        rows.append(("swallowing 1 mg of it", f"{1000 * r.swallowed_1_mg.dose_msv:.2g} µSv (ICRP 119)"))
    if r.thoron_usv_h is not None:
        rows.append(("thoron, open, 10 % escaping, 30 m³, one air change an hour", f"{r.thoron_usv_h:.2g} µSv/h"))
    beside = (r.exemption.say, r.transport.say, *(str(rule) for rule in r.rules))
    where = "at contact (photons at 1 cm)" if r.contact else f"at {r.distance_cm:g} cm"
    return Reckoned(f"{r.source} {where}", tuple(rows), {"Beside published limits": beside})


@router.get("/limits")
def limits_page(request: Request, site: SiteOf) -> Response:
    """Is there more than background; or how long to count."""
    fields = (
        _number("gross", "Counts with the sample (empty: how long to count?)"),
        FormField("time", "Counted for, as 3600, 10min or 1h", "line", False, "1h"),
        _number("background", "Counts without it", needed=True),
        FormField("background_time", "Background counted for (empty: as long)", "line", False),
        _number("factor", "Result for one net count a second", "1"),
        _number("u_factor", "its standard uncertainty", "0"),
        FormField("unit", "Unit of the result, as Bq", "line", False),
        _number("wanted", "Detection limit wanted, for the counting time"),
    )
    words = ("Is there more than background?", "Decision threshold, detection limit and best estimate by ISO 11929-1.")
    return _page(request, site, words, fields, (), _limits)


def _limits(asked: Posted) -> Reckoned:
    factor = Measured(
        asked.number("factor", "result for one net count a second") or 1.0,
        asked.number("u_factor", "its standard uncertainty") or 0.0,
        asked.text("unit") or "1/s",
    )
    background = _whole(asked, "background", "counts without it")
    time_s = _seconds(asked, "time")
    background_s = _seconds(asked, "background_time") if asked.text("background_time") else time_s
    if not asked.text("gross"):
        wanted = asked.needed("wanted", "detection limit wanted")
        plan = how_long_to_count(wanted, Background(background, background_s, True), factor)
        return Reckoned(f"{plan.words[:1].upper()}{plan.words[1:]}.", ())
    gross = _whole(asked, "gross", "counts with the sample")
    decision = is_it_there(NetCount(gross, time_s, background, background_s, factor))
    limits = decision.limits
    low, high = limits.shortest_limits
    rows = [
        ("estimate (may be negative)", str(limits.estimate)),
        ("decision threshold", _valued(limits.decision_threshold, factor.unit)),
        ("detection limit", _valued(limits.detection_limit, factor.unit)),
        ("best estimate", str(limits.best_estimate)),
        (f"{100 * limits.coverage:g} % of true values lie", f"from {low:.4g} to {high:.4g} {factor.unit}"),
        ("decided by", decision.decided_by),
    ]
    if decision.exact is not None:
        rows.insert(2, ("  exact, for few counts", _valued(decision.exact_decision_threshold, factor.unit)))
        rows.insert(4, ("  exact, for few counts", _valued(decision.exact_detection_limit, factor.unit)))
    notes = {"Notes": limits.remarks} if limits.remarks else {}
    return Reckoned(f"{decision.words[:1].upper()}{decision.words[1:]}.", tuple(rows), notes)


def _valued(value: float | None, unit: str) -> str:
    return "none" if value is None else f"{value:.4g} {unit}"


def _whole(asked: Posted, name: str, label: str) -> int:
    value = asked.needed(name, label)
    if value != int(value):
        raise InputError(f"{label}: {value:g} is no whole number.")
    return int(value)


def _seconds(asked: Posted, name: str) -> float:
    seconds = seconds_of_text(asked.text(name), file="this page", field=name)
    if seconds is None:
        raise InputError(f"{name.replace('_', ' ')}: give a time, as 3600, 10min or 1h.")
    return seconds


@router.get("/peroxide")
def peroxide_page(request: Request, site: SiteOf) -> Response:
    """May this dose of peroxide go in?"""
    usual = CleanupSettings()
    fields = (
        _number("heel_ml", "Liquid in the beaker, mL", f"{usual.heel_ml:g}", needed=True),
        _number("tungsten_left_g", "Tungsten left in it, g (empty: not known, the worst is taken)"),
        _number("hydroxide_mol_l", "Free hydroxide, mol/L", f"{usual.hydroxide_mol_l:g}", needed=True),
        _number("temperature_degc", "Temperature, °C", f"{usual.temperature_degc:g}", needed=True),
        FormField("basket_out", "the basket is out", "yes", False),
        FormField("copper_out", "copper and brass are out", "yes", False),
        _number("volume_ml", "Dose, mL", needed=True),
        _number("percent", "Strength of the peroxide, %", "3", needed=True),
    )
    words = (
        "Can this dose of peroxide run away?",
        "A heat balance without any cooling. What is refused must not go in.",
    )
    return _page(request, site, words, fields, cautions_for("peroxide"), _peroxide)


def _peroxide(asked: Posted) -> Reckoned:
    entries: dict[str, Any] = {
        "basket_out": bool(asked.text("basket_out")),
        "copper_out": bool(asked.text("copper_out")),
    }
    for name in ("heel_ml", "tungsten_left_g", "hydroxide_mol_l", "temperature_degc"):
        value = asked.number(name, name)
        if value is not None:
            entries[name] = value
    dose = Dose(asked.needed("volume_ml", "dose, mL"), asked.needed("percent", "strength, %"))
    p = clean_with("the beaker", entries, dose).plan
    low, high = p.tungsten_likely_g
    rows = (
        (
            "peak if all reacts and nothing cools",
            f"{p.heat.peak_degc:.0f} °C (+{p.heat.rise_k:.0f} K; the rule is 60 °C)",
        ),
        ("the same without any tungsten", f"{p.heat_without_tungsten.peak_degc:.0f} °C"),
        ("largest portion of this strength", "no limit" if p.allowed_ml >= 1e5 else f"{p.allowed_ml:.0f} mL"),
        ("it could dissolve; will likely", f"{p.tungsten_capacity_g:.2f} g; {low:.2f} to {high:.2f} g (from memory)"),
        ("hydroxide to add", f"{p.hydroxide_to_add_g:.2f} g"),
        ("oxygen", f"{p.oxygen_l:.2f} L"),
        ("time", f"{p.hours[0]:.0f} to {p.hours[1]:.0f} h (wide band, from memory)"),
        ("likely peak with cooling", f"{p.cooled_peak_degc} (information only)"),
    )
    lists = {"Out of the beaker first": p.first_out, "Steps": p.steps, "Over when": p.over_when}
    return Reckoned(f"{dose.volume_ml:g} mL of {dose.percent:g} % is within the rule.", rows, lists)
