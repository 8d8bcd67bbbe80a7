"""Published rules on thorium as examples with their sources, and the comparison with exemption values.

Information, not advice on the law of any place.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from truekev.tables.loader import table_bytes, table_rows

__all__ = [
    "ASK_FIRST",
    "Comparison",
    "ExemptionValue",
    "PublishedRule",
    "compare_with_exemption",
    "exemption_values",
    "published_rules",
]

ASK_FIRST = "Ask your authority first; reply no. ____"


@dataclass(frozen=True)
class PublishedRule:
    """A rule as published: where it holds, what it says, the source, and whether we saw it."""

    key: str
    place: str
    text: str
    citation: str
    mark: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text} [{self.citation}{'' if self.mark == 'seen' else '; ' + self.mark}]"


@cache
def published_rules() -> tuple[PublishedRule, ...]:
    """All the published rules that the program quotes."""
    rows = tomllib.loads(table_bytes("published_rules.toml").decode())["rule"]
    return tuple(PublishedRule(**row) for row in rows)


@dataclass(frozen=True)
class ExemptionValue:
    """Limits of one nuclide in one list; `covers` are the daughters that count as included."""

    list_name: str
    nuclide: str
    concentration_bq_g: float
    activity_bq: float
    covers: tuple[str, ...]
    source: str


@cache
def exemption_values(list_name: str = "exemption") -> tuple[ExemptionValue, ...]:
    """Values of a list: "exemption" or "transport"."""
    return tuple(
        ExemptionValue(
            row["list"],
            row["nuclide"],
            float(row["concentration_bq_g"]),
            float(row["activity_bq"]),
            tuple(row["covers"].split()),
            row["source"],
        )
        for row in table_rows("exemption_values.csv")
        if row["list"] == list_name
    )


@dataclass(frozen=True)
class Comparison:
    """A source beside a list of limits: sums of fractions, activity and concentration (None without a mass).

    `above` is true when the activity's sum exceeds one and the concentration's does too, or is unknown.
    """

    list_name: str
    activity_fraction: float
    concentration_fraction: float | None
    above: bool
    nuclides: tuple[str, ...]
    sources: tuple[str, ...]
    say: str


def compare_with_exemption(
    activities_bq: Mapping[str, float], mass_g: float | None = None, list_name: str = "exemption"
) -> Comparison:
    """Sum over nuclides of activity over limit, and of concentration over limit.

    Parameters
    ----------
    activities_bq : mapping
        Activity by nuclide [Bq]. A daughter that a listed parent covers is not counted again. The transport list's
        Th(nat) stands for Th-232 when the chain is at hand (Th-232 with Th-228): the stricter one is used.
    mass_g : float, optional
        Mass that the activity is spread in [g].
    list_name : str
        "exemption" or "transport".
    """
    values = {value.nuclide: value for value in exemption_values(list_name)}
    if "Th(nat)" in values and activities_bq.get("Th-232", 0.0) > 0 and activities_bq.get("Th-228", 0.0) > 0:
        natural = values["Th(nat)"]
        counted = {"Th-232": natural}
    else:
        counted = {n: v for n, v in values.items() if n in activities_bq}
    by_activity = sum(activities_bq[n] / v.activity_bq for n, v in counted.items())
    by_concentration = (
        sum(activities_bq[n] / mass_g / v.concentration_bq_g for n, v in counted.items()) if mass_g else None
    )
    above = by_activity > 1.0 and (by_concentration is None or by_concentration > 1.0)
    say = (
        f"{by_activity:.3g} times the published {list_name} activity"
        + ("" if by_concentration is None else f", {by_concentration:.3g} times its concentration")
        + (f". Above both: {ASK_FIRST}" if above else ". Not above both; the authority's answer counts all the same.")
    )
    return Comparison(
        list_name,
        by_activity,
        by_concentration,
        above,
        tuple(counted),
        tuple(dict.fromkeys(v.source for v in counted.values())),
        say,
    )
