"""Sheets of answers about samples: an assay, and what one's own source holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from truekev.book.body import Body, Value
from truekev.book.records import BookRecord
from truekev.book.work import Result
from truekev.job.worth_it_words import duration_in_words
from truekev.nuclides.history import moment
from truekev.pictures.answer_pictures import picture_of_ages, picture_of_limits
from truekev.pictures.canvas import png_of
from truekev.pictures.source_course import picture_of_source
from truekev.quantity import Measured
from truekev.safety.cautions import cautions_for
from truekev.sheets.behind import versions_of
from truekev.sheets.content import Blanks, Fact, Facts, Figure, Grid, Part, Sheet, Words, caution_texts
from truekev.sources.settings import read_source_text

__all__ = [
    "CLEARS_NOTHING",
    "ages_words",
    "assay_sheet",
    "has_ages",
    "measured_facts",
    "own_source_sheet",
    "place_words",
]

CLEARS_NOTHING = (
    "These figures clear nothing: whether a thing may be kept, moved or thrown away is for local rules and whoever is "
    "licensed to say."
)


_YEARS = (0, 1, 2, 5, 10)


def _shown(value: Mapping[str, Any]) -> str:
    return str(Value(**value).measured)


def _figures(value: float) -> str:
    return f"{value:.0f}" if value >= 1000 else f"{value:.3g}"


def _limit(one: Mapping[str, Any], key: str) -> str:
    return "none" if one[key] is None else f"{one[key]:.4g} {one['unit']}"


def _behind(behind: Iterable[BookRecord[Body]]) -> tuple[Fact, ...]:
    return tuple(Fact(one.kind, one.name, f"record {one.id}") for one in behind)


def _verdict(one: Mapping[str, Any]) -> str:
    if one["recognised"]:
        return "recognised"
    return (
        "not recognised"
        if one["detection_limit"] is None
        else f"not recognised (limit {_limit(one, 'detection_limit')})"
    )


def _limits_grid(assayed: Iterable[Mapping[str, Any]]) -> Grid:
    rows = tuple(
        (
            one["name"],
            _shown(one["estimate"]),
            _limit(one, "decision_threshold"),
            _limit(one, "detection_limit"),
            "{:.4g} to {:.4g}".format(*one["symmetric_limits"]),
            "{:.4g} to {:.4g}".format(*one["shortest_limits"]),
        )
        for one in assayed
    )
    first = next(iter(assayed))
    columns = ("", "estimate of the fit", "decision threshold", "detection limit")
    percent = f"{100 * first['coverage']:g} %"
    return Grid(
        f"Characteristic limits (ISO 11929-1), alpha = {first['alpha']:g}, beta = {first['beta']:g}",
        (*columns, f"{percent}, symmetric", f"{percent}, shortest"),
        rows,
        (3, 4, 3, 3, 4, 4),
    )


def _budget(one: Mapping[str, Any]) -> Facts:
    parts = (Fact(line["name"], f"{100 * line['relative_u']:.2g} %") for line in one["budget"])
    return Facts(f"Uncertainty of {one['name']} (k = 1), relative to the estimate", tuple(parts))


def assay_sheet(record: BookRecord[Result], behind: Iterable[BookRecord[Body]]) -> Sheet:
    """Assay of a sample: activities with limits and budget, and how long to count."""
    answer: Any = record.body.answer
    used = tuple(behind)
    results: list[Fact] = []
    for one in answer["assayed"]:
        results.append(Fact(one["name"], f"{_verdict(one)}; best estimate {_shown(one['best_estimate'])}"))
        if one["per_mass"] is not None:
            results.append(Fact(f"{one['name']} per mass", _shown(one["per_mass"]), "best estimate"))
    parts: list[Part] = [_limits_grid(answer["assayed"])]
    parts.append(
        Figure(
            png_of(picture_of_limits(answer["assayed"])),
            "Best estimates with their intervals, over the decision threshold of each.",
            "; ".join(f"{one['name']}: {_verdict(one)}" for one in answer["assayed"]),
        )
    )
    parts += [_budget(one) for one in answer["assayed"] if one["recognised"]]
    planned = [
        f"{one['name']}: count for {duration_in_words(one['time_s'])}, and the background longer by the same factor; "
        f"the detection limit is then {one['wanted']:.3g} {one['unit']}."
        for one in answer["planned"]
    ]
    if planned or answer["plan_refused"]:
        parts.append(Words("How long to count", tuple(planned or [answer["plan_refused"]])))
    if answer["place"] is not None:
        parts.append(Words("What the known source says of its place", (place_words(answer["place"]),)))
    said = [*answer["said"], *(words for one in answer["assayed"] for words in one["remarks"])]
    if answer["beside"]:
        said.append(f"Fitted beside: {', '.join(answer['beside'])}.")
    parts.append(Words("What was assumed", tuple(said)))
    return Sheet(
        title="Assay of a sample",
        subtitle=f"{answer['sample']}, {record.created:%Y-%m-%d}",
        cautions=(CLEARS_NOTHING,),
        inputs=_behind(used),
        results=tuple(results),
        parts=tuple(parts),
        versions=versions_of([record, *used], record.tables),
        sign=("assayed by, date", "checked by, date"),
    )


def place_words(place: Mapping[str, Any]) -> str:
    """What a known source said of its place, in a sentence."""
    return (
        f"The known source came out at {_shown(place['ratio'])} of its activity. For samples of its type in this place "
        f"the crystal sits {_shown(place['extra_distance_mm'])} deeper than its housing says; scattering: "
        + ", ".join(f"{name} {_shown(value)}" for name, value in place["scattering"].items())
        + "."
    )


def measured_facts(answer: Mapping[str, Any]) -> tuple[Fact, ...]:
    """What a count of one's own source gave, as facts."""
    facts = [
        Fact("Ra-228", _shown(answer["radium"]["best_estimate"]), _verdict(answer["radium"])),
        Fact("Th-228", _shown(answer["thorium"]["best_estimate"]), _verdict(answer["thorium"])),
    ]
    if answer["ratio"] is not None:
        facts.append(Fact("Ra-228 over Th-228", _shown(answer["ratio"])))
    for one in answer["ages"]:
        low = "one day" if one["low_years"] is None else f"{one['low_years']:.3g}"
        high = "120 or more" if one["high_years"] is None else f"{one['high_years']:.3g}"
        facts.append(
            Fact("age that agrees", f"{low} to {high} years", f"Th-232 then {_shown(one['th232'])} at the best age")
        )
    if answer["radium_kept"] is not None:
        low, high = answer["radium_kept"]["interval"]
        verdict = answer["radium_kept"]["verdict"]
        facts.append(Fact("radium kept", f"{100 * low:.0f} to {100 * high:.0f} %", verdict))
    if answer["purity"] is not None:
        low, high = answer["purity"]
        facts.append(Fact("thorium by the count over that by the balance", f"{low:.2f} to {high:.2f}"))
    if answer["thoria_fraction"] is not None:
        of = answer["thoria_fraction"]
        percent = Measured(100 * of["value"], 100 * of["u"], "%")
        facts.append(
            Fact(
                "thoria at the best age", str(percent), f"classes that agree: {', '.join(answer['electrode_classes'])}"
            )
        )
    if answer["radon_escape"] is not None:
        of = answer["radon_escape"]
        facts.append(Fact("Rn-220 that leaves it open", str(Measured(100 * of["value"], 100 * of["u"], "%"))))
    other = answer["contamination"]
    facts.append(Fact("Ra-226, of the uranium series", _shown(other["best_estimate"]), _verdict(other)))
    return tuple(facts)


def own_source_sheet(record: BookRecord[Result], behind: Iterable[BookRecord[Body]]) -> Sheet:
    """Record of one's own source: activities on the day of the count, ages that agree, budget, lines over ten years."""
    answer: Any = record.body.answer
    used = tuple(behind)
    parts: list[Part] = [Words("In words", tuple(answer["words"]))]
    parts.append(_limits_grid([answer["radium"], answer["thorium"], answer["contamination"]]))
    parts.append(_budget(answer["thorium"]))
    if has_ages(answer):
        of = answer["ratio"]
        parts.append(
            Figure(
                png_of(picture_of_ages(of["value"], of["u"], answer["ages"])),
                "Ratio of the two activities after one refining: the ages that agree with the count.",
                f"The ratio is {_shown(of)}; " + ages_words(answer),
            )
        )
    if answer["evidence"]:
        rows = tuple(
            (f"{e['energy_kev']:.0f}", f"{e['expected_counts']:.0f}", f"{e['found_counts']:.0f} ± {e['u_counts']:.0f}")
            for e in answer["evidence"]
        )
        parts.append(Grid("Line groups of the Th-228 part, counts", ("keV", "foretold", "found"), rows, (1, 1, 2)))
    if answer["gain_over_rods"]:
        gains = tuple(Fact(name, f"{gain:.2g}") for name, gain in answer["gain_over_rods"].items())
        parts.append(Facts("Counts over those of the rods", gains))
    if answer["source_toml"]:
        parts += _forecast(answer)
    parts.append(Words("What was assumed", tuple(answer["said"])))
    parts.append(Blanks("Looks", columns=("date", "look", "wipe", "closed mass [g]", "initials"), n_rows=3))
    return Sheet(
        title="Record of one's own source",
        subtitle=f"{record.name}, counted {answer['on']}",
        cautions=(*caution_texts(cautions_for("seal", "dose")), CLEARS_NOTHING),
        inputs=_behind(used),
        results=measured_facts(answer),
        parts=tuple(parts),
        versions=versions_of([record, *used], record.tables),
        sign=("counted by, date", "checked by, date"),
    )


def has_ages(answer: Mapping[str, Any]) -> bool:
    """Whether an answer has ages to draw: a ratio, and no separation since."""
    return answer["ratio"] is not None and answer["radium_kept"] is None


def ages_words(answer: Mapping[str, Any]) -> str:
    """The ages that agree, in words."""
    found = [fact.value for fact in measured_facts(answer) if fact.name == "age that agrees"]
    return f"ages that agree: {'; '.join(found)}." if found else "no age agrees."


def _forecast(answer: Mapping[str, Any]) -> tuple[Part, ...]:
    """The course of the activities, and the lines over ten years."""
    history = read_source_text(answer["source_toml"], file="source record").history
    rows = tuple(
        (f"{one['energy_kev']:.2f}", one["nuclide"], *(_figures(one["photons_per_s"][year]) for year in _YEARS))
        for one in answer["lines"]
    )
    after = tuple("on the day" if year == 0 else f"after {year} a" for year in _YEARS)
    grid = Grid("Photons per second born in the source", ("keV", "nuclide", *after), rows, (1,) * 7)
    if history is None:
        return (grid,)
    picture = Figure(
        png_of(picture_of_source(history, moment(history.last_date).date())),
        "Activities after the count, computed from those measured.",
        "What was counted falls with its half-life except as far as its parents were measured or weighed.",
    )
    return picture, grid
