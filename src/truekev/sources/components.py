"""Which nuclides go together: the components of a source."""

from __future__ import annotations

from collections.abc import Mapping

from truekev.matter.elements import atomic_number, xray_lines
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.lines import PhotonLine
from truekev.nuclides.names import nuclide
from truekev.sources.source import SourceComponent
from truekev.tables.loader import provenance

__all__ = ["aged_bq", "components_of", "k_x_ray_component", "short_progeny_bq"]

_YEAR_S = 365.25 * 86400
# A daughter that lives less than a third of its parent's half-life, and less than a year, is in step with it soon.
_SHORT_AGAINST_PARENT = 1 / 3


def _follows(parent: str, daughter: str) -> bool:
    half_life = nuclide(daughter).half_life_s
    return half_life < _YEAR_S and half_life < _SHORT_AGAINST_PARENT * nuclide(parent).half_life_s


def _heads(members: tuple[str, ...]) -> dict[str, str]:
    """For every member the nuclide whose decay it follows: itself, or the head of a parent it lives short against."""
    heads: dict[str, str] = {}
    for name in members:
        heads.setdefault(name, name)
        for daughter in nuclide(name).daughters:
            if daughter in members and daughter not in heads and _follows(heads[name], daughter):
                heads[daughter] = heads[name]
    return heads


def components_of(
    activities_bq: Mapping[str, float],
    u_activities_bq: Mapping[str, float] | None = None,
    *,
    tied_to: Mapping[str, str] | None = None,
) -> tuple[SourceComponent, ...]:
    """Split nuclides into components that grow in separately, in the order of the chain.

    A daughter goes with its parent when it lives less than a year and less than a third of the head's half-life. So
    thorium falls into Th-232, the Ra-228 part (with Ac-228) and the Th-228 part (down to Tl-208).

    Parameters
    ----------
    activities_bq, u_activities_bq : mapping
        Activities and standard uncertainties [Bq]; nuclides with nothing left are dropped.
    tied_to : mapping, optional
        Component's name to the name of the one whose strength it shares; passed over where that one is not there.
    """
    present = {name: value for name, value in activities_bq.items() if value > 0}
    members = tuple(name for name in DecayChain.of(present).members if name in present)
    heads = _heads(members)
    groups: dict[str, list[str]] = {}
    for name in members:
        groups.setdefault(heads[name], []).append(name)
    titles = {head: f"{head} part" if len(names) > 1 else head for head, names in groups.items()}
    ties = {name: to for name, to in (tied_to or {}).items() if to in titles.values()}
    u = u_activities_bq or {}
    components = []
    for head, names in groups.items():
        title = titles[head]
        components.append(
            SourceComponent(
                name=title,
                activities_bq={name: present[name] for name in names},
                u_activities_bq={name: u[name] for name in names if name in u},
                tied_to=ties.get(title),
            )
        )
    return tuple(components)


def aged_bq(head: str, activity_bq: float = 1.0) -> dict[str, float]:
    """Activities of `head` and of all descendants that come into equilibrium with it [Bq]."""
    ratios = DecayChain.of([head]).equilibrium_ratios(head)
    return {name: activity_bq * ratio for name, ratio in ratios.items()}


def short_progeny_bq(head: str, activity_bq: float = 1.0) -> dict[str, float]:
    """Activities of `head` and of the descendants that follow it within a year [Bq]."""
    chain = DecayChain.of([head])
    heads = _heads(chain.members)
    name = chain.members[0]
    return {n: activity_bq * r for n, r in chain.equilibrium_ratios(name).items() if heads[n] == name}


def k_x_ray_component(element: str, name: str) -> SourceComponent:
    """K X-rays that photons and betas make in the body itself: one photon per second in all at strength 1.

    Energies and relative rates of the element's table of X-rays; relative rates count as known within 2 %.
    """
    rows = [row for row in xray_lines(atomic_number(element)) if row.vacancy == "K"]
    total = sum(row.probability for row in rows)
    evaluation = provenance("xray_lines.csv").version
    lines = tuple(
        PhotonLine("", row.energy_kev, 0.005, share, 0.02 * share, "x-ray made in the body", evaluation)
        for row in sorted(rows, key=lambda row: row.energy_kev)
        for share in (row.probability / total,)
    )
    return SourceComponent(name=name, extra_lines=lines)
