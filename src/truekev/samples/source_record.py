"""The record of one's own source, written as a source file: what calibration takes, and in comments how it is known."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from truekev.errors import InputError
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.history import YEAR_S
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.sources.source import Body

__all__ = ["LineInTime", "lines_in_time", "source_toml"]

_YEARS = 10
_THORIA_G_CM3 = 10.0
_FAINTEST = 0.02  # photons per second and Bq of thorium


@dataclass(frozen=True)
class LineInTime:
    """A line of the source: photons per second at the reference date and after 1, 2, … 10 years."""

    nuclide: str
    energy_kev: float
    photons_per_s: tuple[float, ...]


def lines_in_time(activities_bq: Mapping[str, float]) -> tuple[LineInTime, ...]:
    """Strong lines of a thorium source over ten years, from its activities at the reference date."""
    chain = DecayChain.of(activities_bq)
    years = [chain.activities_bq(activities_bq, year * YEAR_S) for year in range(_YEARS + 1)]
    strongest = max(activities_bq.values(), default=0.0)
    found = []
    for name in chain.members:
        for line in photon_lines(name, min_intensity=_FAINTEST):
            rates = tuple(line.intensity * of.get(name, 0.0) for of in years)
            if line.energy_kev > 30.0 and max(rates) >= _FAINTEST * strongest:
                found.append(LineInTime(name, line.energy_kev, rates))
    return tuple(sorted(found, key=lambda one: one.energy_kev))


def _number(value: float) -> str:
    return f"{value:.4g}" if value < 1e4 else f"{value:.0f}"


def _body_lines(body: Body | None) -> list[str]:
    """The body without what would say once more how much thorium there is: the activities are the measured ones.

    A powder becomes a disc of the solid with the same mass over its area, which absorbs the same.
    """
    if body is None:
        return ['form = "point"']
    if body.form == "vial" and body.oxide_mass_g and body.inner_diameter_mm:
        area_cm2 = math.pi / 4 * body.inner_diameter_mm**2 * 1e-2
        solid_mm = 10.0 * body.oxide_mass_g / (1.0 - (body.tungsten_fraction or 0.0)) / area_cm2 / _THORIA_G_CM3
        return [
            "# the powder of the vial as a solid disc of the same mass over its area",
            'form = "disc"',
            'material = "thoria"',
            f"diameter_mm = {body.inner_diameter_mm:g}",
            f"length_mm = {solid_mm:.4g}",
        ]
    given = {name: value for name, value in vars(body).items() if value not in (None, "")}
    for name in ("oxide_mass_g", "thoria_fraction", "u_thoria_fraction"):
        given.pop(name, None)
    return [f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value}" for name, value in given.items()]


def source_toml(
    name: str,
    on: date,
    distance_mm: float,
    activities: Mapping[str, Measured],
    body: Body | None,
    remarks: Sequence[str],
) -> str:
    """A source file of kind "nuclides" with the measured activities on the day of the count.

    Parameters
    ----------
    name, on, distance_mm
        Of the source, and of the count.
    activities
        Every nuclide of the source with its uncertainty [Bq].
    body
        Its body; a point where it is None.
    remarks
        Sentences that become comments: budget, age, gain, forecast beside count.

    Raises
    ------
    InputError
        No activity above zero.
    """
    kept = {nuclide: of for nuclide, of in activities.items() if of.value > 0}
    if not kept:
        raise InputError("no activity above zero was found, so there is no source to record.")
    lines = ["# A source record, written by `truekev characterise`; `truekev calibrate --source` takes it."]
    lines += [f"# {remark}" for remark in remarks]
    table = lines_in_time({nuclide: of.value for nuclide, of in kept.items()})
    lines.append("#")
    lines.append("# Lines: keV, nuclide, photons per second born in the source on the day, after 1, 2, 5 and 10 years")
    for one in table:
        rates = "  ".join(f"{_number(one.photons_per_s[year]):>8}" for year in (0, 1, 2, 5, 10))
        lines.append(f"# {one.energy_kev:8.2f}  {one.nuclide:<7} {rates}")
    lines += [
        "",
        f"name = {json.dumps(name, ensure_ascii=False)}",
        'kind = "nuclides"',
        f"distance_mm = {distance_mm:g}",
    ]
    lines += [f"reference_date = {on.isoformat()}", "aged = false", "", "[activities_bq]"]
    lines += [f"{nuclide} = [{_number(of.value)}, {_number(of.u)}]" for nuclide, of in kept.items()]
    lines += ["", "[body]", *_body_lines(body)]
    return "\n".join(lines) + "\n"
