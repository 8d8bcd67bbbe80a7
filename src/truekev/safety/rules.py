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


def _times(ratio: float) -> str:
    return f"{ratio:.0f}" if ratio >= 100 else f"{ratio:.3g}"


def compare_with_exemption(
    activities_bq: Mapping[str, float], mass_g: float | None = None, list_name: str = "exemption"
) -> Comparison:
    """Sum over nuclides of activity over limit, and of concentration over limit.

    Parameters
    ----------
    activities_bq : mapping
        Activity by nuclide [Bq]. A daughter that a listed parent covers counts only as far as it exceeds the parent. In
        the transport list Th(nat) stands for Th-232 with its chain at hand (Th-232 with Th-228): the stricter limit.
    mass_g : float, optional
        Mass that the activity is spread in [g].
    list_name : str
        "exemption" or "transport".
    """
    values = {value.nuclide: value for value in exemption_values(list_name)}
    present = {name: bq for name, bq in activities_bq.items() if bq > 0}
    if "Th(nat)" in values and "Th-232" in present and "Th-228" in present:
        present["Th(nat)"] = present["Th-232"]
    else:
        values.pop("Th(nat)", None)
    counted: dict[str, float] = {}
    for name, value in values.items():
        covered = max((present[p] for p, v in values.items() if p in present and name in v.covers), default=0.0)
        if present.get(name, 0.0) > covered * (1 + 1e-6):
            counted[name] = (present[name] - covered) / value.activity_bq
    by_activity = sum(counted.values())
    by_concentration = None
    if mass_g:
        by_concentration = sum(
            share * values[name].activity_bq / mass_g / values[name].concentration_bq_g
            for name, share in counted.items()
        )
    if not counted:
        say = f"none of its nuclides is in this program's {list_name} list (thorium series only): look them up."
        return Comparison(list_name, 0.0, None, False, (), (), say)
    above = by_activity > 1.0 and (by_concentration is None or by_concentration > 1.0)
    say = (
        f"{_times(by_activity)} times the published {list_name} activity"
        + ("" if by_concentration is None else f", {_times(by_concentration)} times its concentration")
        + (f". Above both: {ASK_FIRST}" if above else ". Not above both; the authority's answer counts all the same.")
    )
    return Comparison(
        list_name,
        by_activity,
        by_concentration,
        above,
        tuple(counted),
        tuple(dict.fromkeys(values[name].source for name in counted)),
        say,
    )
