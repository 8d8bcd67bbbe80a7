"""Sources of known activity in one line of text: what a person types to compare them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from truekev.errors import InputError, OutOfRangeError
from truekev.nuclides.history import History, Separation
from truekev.nuclides.names import nuclide, specific_activity_bq_g
from truekev.quantity import Measured
from truekev.sources.bodies import ARRANGEMENTS
from truekev.sources.described import resolve_source, source_of_description
from truekev.sources.settings import SourceDescription
from truekev.sources.source import Body, Source
from truekev.sources.stock import electrode_class, th232_bq_of_oxide, th232_bq_of_rods

__all__ = ["ASSUMED_BQ", "SHORT_FORMS", "potassium_40_bq", "rods_source", "source_in_words", "vial_source"]

SHORT_FORMS = {
    "rods:WT20,2.4x175,5": "five electrodes of class WT20, 2.4 mm by 175 mm; add ,bundled or their mass as ,75.2g",
    "vial:2.0g": "2 g of thorium dioxide in a small vial; add an inner diameter as ,d16",
    "resin:1.0g": "1 g of thorium dioxide set in a disc of resin",
    "salt:500g": "a bag of 500 g potassium chloride",
    "Cs-137:10kBq": "a sealed source of that activity; add its distance as ,100mm",
    "gas-mantle:1kBq": "any word for a source with the activity of its head",
    "FILE.toml": "a source file (truekev new source)",
}
# What such a thing commonly holds, of its head nuclide [Bq]: from memory, order of size only.
ASSUMED_BQ: Mapping[str, float] = {
    "gas-mantle": 1000.0,
    "thoriated-lens": 2000.0,
    "uranium-glass": 1000.0,
    "uranium-ore": 10_000.0,
    "radium-dial": 5000.0,
    "lutetium": 500.0,
    "lanthanum": 80.0,
    "smoke-detector": 30_000.0,
    "radon-progeny": 100.0,
    "granite": 400.0,
}
POWDER_G_CM3 = 2.5  # loose thorium dioxide, a quarter of the solid: assumed
_VIAL_MM, _WALL_MM, _HIGHEST_MM = 16.0, 1.0, 200.0
_RESIN_MM = (20.0, 6.0)
_SALT_G_CM3, _SALT_MM = 1.0, 100.0
_K40_ABUNDANCE = 1.17e-4  # IUPAC, from memory
_AGED = (
    "Thorium of unknown age is taken as aged; refined within the last decades its daughters give 0.42 to 1.00 of these "
    "rates (refined=DATE says when)."
)
_NUMBER = r"(\d+(?:\.\d+)?)"


@dataclass(frozen=True)
class _Options:
    distance_mm: float | None = None
    refined: date | None = None
    arrangement: str | None = None
    inner_mm: float | None = None
    mass_g: float | None = None


def potassium_40_bq(chloride_g: float) -> float:
    """K-40 in potassium chloride [Bq]; 16.6 Bq/g."""
    potassium = 39.0983 / (39.0983 + 35.453)
    return chloride_g * potassium * _K40_ABUNDANCE * specific_activity_bq_g("K-40") * 39.9640 / 39.0983


_MAY_STAND = {
    "distance": "a distance (20mm)",
    "refined": "refined=2018-05-01",
    "arrangement": "bundled or side-by-side",
    "mass": "the weighed mass of all (75.2g)",
    "inner": "its inner diameter (d16)",
}


def _options(text: str, words: list[str], allowed: tuple[str, ...]) -> _Options:
    """What stands after the commas; `allowed` are keys of `_MAY_STAND`."""
    found = _Options()
    for word in words:
        if "distance" in allowed and (match := re.fullmatch(_NUMBER + "mm", word)):
            found = replace(found, distance_mm=float(match[1]))
        elif "refined" in allowed and word.startswith("refined="):
            try:
                found = replace(found, refined=date.fromisoformat(word.removeprefix("refined=")))
            except ValueError:
                raise InputError(f"source {text!r}: {word!r} is no date; write refined=2018-05-01.") from None
        elif "inner" in allowed and (match := re.fullmatch("d" + _NUMBER, word)):
            found = replace(found, inner_mm=float(match[1]))
        elif "mass" in allowed and (match := re.fullmatch(_NUMBER + "g", word)):
            found = replace(found, mass_g=float(match[1]))
        elif "arrangement" in allowed and word in ("bundled", "side-by-side"):
            found = replace(found, arrangement=ARRANGEMENTS[word == "bundled"])
        else:
            raise InputError(
                f"source {text!r}: {word!r} is not understood; after a comma may stand "
                f"{', '.join(_MAY_STAND[name] for name in allowed)}."
            )
    return found


def _thorium(
    name: str, kind: str, body: Body, th232: Measured, options: _Options, on: date | None, file: str = ""
) -> Source:
    history = None
    if options.refined is not None:
        if on is not None and on < options.refined:
            raise InputError(f"source {name!r}: refined on {options.refined}, after the day asked for ({on}).")
        history = History(
            activities_bq={"Th-232": th232.value},
            reference_date=options.refined,
            u_activities_bq={"Th-232": th232.u},
            separations=(Separation(options.refined, {"Th": 1.0}, 0.0),),
            radon_escape={},
            aged=True,
        )
    description = SourceDescription(
        file=file,
        name=name,
        kind=kind,
        distance_mm=options.distance_mm or 0.0,
        body=body,
        history=history,
        history_certain=False,
        th232_bq=th232,
        activity_known=True,
        activities_line=None,
    )
    source = source_of_description(description, on=on)
    return replace(source, remarks=(_AGED,) if options.refined is None else ())


def rods_source(
    class_name: str,
    diameter_mm: float,
    length_mm: float,
    n_rods: int,
    *,
    arrangement: str = ARRANGEMENTS[0],
    name: str = "",
    distance_mm: float = 0.0,
    refined: date | None = None,
    on: date | None = None,
    fraction: Measured | None = None,
    mass_g: float | None = None,
) -> Source:
    """Electrodes of a class (or measured mass fraction of thoria) at the crystal; `mass_g` is that of all, weighed."""
    of_class = electrode_class(class_name) if fraction is None else None
    thoria, u = (fraction.value, fraction.u) if fraction is not None else (0.0, 0.0)
    if of_class is not None:
        thoria, u = of_class.fraction, of_class.u_fraction
    th232 = th232_bq_of_rods(
        n_rods=n_rods,
        diameter_mm=diameter_mm,
        length_mm=length_mm,
        thoria_fraction=thoria,
        u_thoria_fraction=u,
        mass_g=mass_g,
    )
    body = Body(
        "rods",
        "tungsten with thoria",
        n_rods=n_rods,
        diameter_mm=diameter_mm,
        length_mm=length_mm,
        thoria_fraction=thoria,
        u_thoria_fraction=u,
        arrangement=arrangement,
    )
    words = name or f"{n_rods} {'rod' if n_rods == 1 else 'rods'} {class_name.upper()}, {arrangement}"
    options = _Options(distance_mm, refined)
    return _thorium(words, "thoriated-rods", body, th232, options, on)


def vial_source(
    oxide_mass_g: float,
    *,
    inner_diameter_mm: float = _VIAL_MM,
    name: str = "",
    distance_mm: float = 0.0,
    refined: date | None = None,
    on: date | None = None,
) -> Source:
    """Loose thorium dioxide (2.5 g/cm3, assumed) in a glass vial whose bottom stands before the crystal."""
    if not (0 < oxide_mass_g <= 10_000 and 1 <= inner_diameter_mm <= 300):
        raise OutOfRangeError(
            f"vial with {oxide_mass_g:g} g in {inner_diameter_mm:g} mm: the mass must lie above 0 and not above 10 kg, "
            "the diameter between 1 and 300 mm."
        )
    height_mm = oxide_mass_g / POWDER_G_CM3 / (math.pi / 4 * inner_diameter_mm**2) * 1e3
    if height_mm > _HIGHEST_MM:
        raise OutOfRangeError(
            f"vial with {oxide_mass_g:g} g in {inner_diameter_mm:g} mm: the powder would stand {height_mm:.0f} mm "
            f"high; at most {_HIGHEST_MM:.0f} mm are computed. Give a wider vial, as vial:{oxide_mass_g:g}g,d40."
        )
    body = Body(
        "vial",
        "thorium dioxide powder in glass",
        oxide_mass_g=oxide_mass_g,
        inner_diameter_mm=inner_diameter_mm,
        fill_height_mm=height_mm,
        wall_mm=_WALL_MM,
    )
    words = name or f"vial of {oxide_mass_g:.3g} g thorium dioxide"
    options = _Options(distance_mm, refined)
    return _thorium(words, "thorium-vial", body, th232_bq_of_oxide(oxide_mass_g), options, on)


def _rods(text: str, words: list[str], on: date | None) -> Source:
    sizes = re.fullmatch(rf"{_NUMBER}x{_NUMBER}", words[1]) if len(words) >= 3 else None
    if sizes is None or not re.fullmatch(r"\d+", words[2]) or int(words[2]) < 1:
        raise InputError(f"source {text!r}: write rods:CLASS,DIAMETERxLENGTH in mm,NUMBER, as rods:WT20,2.4x175,5.")
    options = _options(text, words[3:], ("distance", "refined", "arrangement", "mass"))
    return rods_source(
        words[0],
        float(sizes[1]),
        float(sizes[2]),
        int(words[2]),
        arrangement=options.arrangement or ARRANGEMENTS[0],
        distance_mm=options.distance_mm or 0.0,
        refined=options.refined,
        on=on,
        mass_g=options.mass_g,
    )


def _mass_g(text: str, kind: str, word: str) -> float:
    match = re.fullmatch(_NUMBER + r"(kg|g|mg)", word)
    if match is None or not float(match[1]) > 0:
        raise InputError(f"source {text!r}: write {kind}:MASS with its unit, as {kind}:2.0g.")
    return float(match[1]) * {"kg": 1e3, "g": 1.0, "mg": 1e-3}[match[2]]


def _vial(text: str, words: list[str], on: date | None) -> Source:
    options = _options(text, words[1:], ("distance", "refined", "inner"))
    return vial_source(
        _mass_g(text, "vial", words[0]),
        inner_diameter_mm=options.inner_mm or _VIAL_MM,
        distance_mm=options.distance_mm or 0.0,
        refined=options.refined,
        on=on,
    )


def _resin(text: str, words: list[str], on: date | None) -> Source:
    mass_g = _mass_g(text, "resin", words[0])
    options = _options(text, words[1:], ("distance", "refined"))
    body = Body(
        "resin", "thorium dioxide in resin", diameter_mm=_RESIN_MM[0], length_mm=_RESIN_MM[1], oxide_mass_g=mass_g
    )
    return _thorium(f"{mass_g:.3g} g in resin", "thorium-vial", body, th232_bq_of_oxide(mass_g), options, on)


def _salt(text: str, words: list[str], on: date | None) -> Source:
    mass_g = _mass_g(text, "salt", words[0])
    options = _options(text, words[1:], ("distance",))
    base = resolve_source("potassium-salt")
    height = mass_g / _SALT_G_CM3 / (math.pi / 4 * _SALT_MM**2) * 1e3
    body = Body("bag", "potassium chloride", diameter_mm=_SALT_MM, length_mm=height, salt_mass_g=mass_g)
    name = f"bag of {mass_g:.4g} g potassium chloride"
    made = _scaled(base, potassium_40_bq(mass_g), name)
    return replace(made, body=body, distance_mm=options.distance_mm or 0.0, on=on)


def _scaled(source: Source, head_bq: float, name: str) -> Source:
    components = tuple(
        replace(c, activities_bq={nuc: head_bq * bq for nuc, bq in c.activities_bq.items()}) for c in source.components
    )
    return replace(source, components=components, name=name, activity_known=True)


def _of_activity(text: str, word: str, words: list[str]) -> Source:
    match = re.fullmatch(_NUMBER + r"(k|M|G)?Bq", words[0])
    if match is None or not float(match[1]) > 0:
        raise InputError(f"source {text!r}: write its activity with its unit, as {word}:10kBq.")
    bq = float(match[1]) * {None: 1.0, "k": 1e3, "M": 1e6, "G": 1e9}[match[2]]
    options = _options(text, words[1:], ("distance",))
    base = resolve_source(word)
    made = _scaled(base, bq, f"{base.name}, {words[0]}")
    made = replace(made, remarks=(f"{made.name}: taken as its activity on that day.", *made.remarks))
    return made if options.distance_mm is None else replace(made, distance_mm=options.distance_mm)


_KINDS = {"rods": _rods, "vial": _vial, "resin": _resin, "salt": _salt}


def source_in_words(text: str, *, on: date | None = None) -> Source:
    """The source of known activity that a short form, a file, or a word names.

    A word without an activity takes what such a thing commonly holds, and says so in its remarks.

    Raises
    ------
    InputError
        The text cannot be read, the file gives no activity, or a nuclide comes without one.
    """
    text = text.strip()
    head, colon, rest = text.partition(":")
    words = [word.strip() for word in rest.split(",")]
    if colon and not text.lower().endswith(".toml") and not Path(text).is_file():
        if head.lower() in _KINDS:
            return _KINDS[head.lower()](text, words, on)
        return _of_activity(text, head, words)
    source = resolve_source(text, on=on)
    if source.activity_known:
        return source
    if text.lower() in ASSUMED_BQ:
        bq = ASSUMED_BQ[text.lower()]
        made = _scaled(source, bq, f"{source.name}, {bq:g} Bq assumed")
        said = f"{source.name}: {bq:g} Bq of its head nuclide is assumed, as such things commonly hold; order of size."
        return replace(made, remarks=(said, *made.remarks))
    if text.lower() == "thoriated-rods":
        return rods_source("WT20", 2.4, 175.0, 10)
    if text.lower() == "thorium-vial":
        return vial_source(3.0)
    if text.lower() == "potassium-salt":
        return _salt("salt:500g", ["500g"], on)
    half_life = f"; write it as {source.name}:10kBq" if source.kind == "nuclide" and nuclide(source.name) else ""
    raise InputError(f"source {text!r}: its activity is not known, so nothing can be forecast{half_life}.")
