"""All strong gamma lines of all nuclides against ICRP Publication 107 (icrp107-database 0.0.3), an outside data set.

ICRP-107 dates from 2008 and books isomers apart from their parents, so the test asks for agreement of the bulk and
names what lies outside. Its K X-ray energies are 0.2 to 0.5 keV too high and are not compared.
"""

from __future__ import annotations

import json
from importlib import resources

import pytest

from truekev.nuclides.lines import photon_lines
from truekev.nuclides.names import known_nuclides, nuclide

FOLDER = resources.files("icrp107_database") / "icrp107"
UNITS = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0, "y": 365.2422 * 86400}
# Newer measurements than 2008 moved these half-lives by more than 3 %, or their spread is as large as that.
REVISED = {"Ni-59", "Se-79", "Zr-93", "Ag-108m", "Sm-151", "Ho-166m", "Po-209", "Po-213", "At-218", "Cm-245"}
# Lines off by more than 12 %, with the reason: isomer booked with the parent (Mo-99); old data in ICRP-107.
OUTLIERS = {"Mo-99 140.5", "Sb-125 35.5", "Hg-206 304.8", "Bi-215 293.5", "Th-234 63.3", "Am-244 153.9"}
# Sb-127 783.7 and Tl-210 1316 keV differ in energy by more than 1 keV; Cf-252 1100 is a fission quantum.
UNMATCHED = {"Sb-127 783.7", "Tl-210 1316.0", "Cf-252 1100.0"}
WITH_DATA = [name for name in known_nuclides() if (FOLDER / f"{name}.json").is_file()]


def _entry(name: str) -> dict[str, object]:
    entry: dict[str, object] = json.loads(json.loads((FOLDER / f"{name}.json").read_text()))
    return entry


def test_nearly_all_nuclides_are_in_it() -> None:
    assert set(known_nuclides()) - set(WITH_DATA) == {"He-6", "Sn-129m"}
    assert len(WITH_DATA) > 200


def test_half_lives() -> None:
    for name in WITH_DATA:
        entry = _entry(name)
        seconds = float(str(entry["half_life"])) * UNITS[str(entry["time_unit"])]
        if name not in REVISED:
            assert nuclide(name).half_life_s == pytest.approx(seconds, rel=0.03), name


def test_strong_gamma_lines() -> None:
    n_compared = n_within_5_percent = 0
    outliers, unmatched = set(), set()
    for name in WITH_DATA:
        emissions = _entry(name)["emissions"]
        assert isinstance(emissions, dict)
        theirs = [(1000 * mev, intensity) for mev, intensity in emissions["gamma"]]
        ours = [line for line in photon_lines(name) if line.kind == "gamma"]
        for energy, intensity in theirs:
            if intensity < 0.03 or energy < 30:
                continue
            label = f"{name} {energy:.1f}"
            mine = sum(line.intensity for line in ours if abs(line.energy_kev - energy) < 1)
            if mine == 0:
                unmatched.add(label)
                continue
            published = sum(i for e, i in theirs if abs(e - energy) < 1)
            n_compared += 1
            n_within_5_percent += abs(mine / published - 1) < 0.05
            if abs(mine / published - 1) > 0.12:
                outliers.add(label)
    assert n_compared > 400
    assert n_within_5_percent / n_compared > 0.93
    assert outliers == OUTLIERS
    assert unmatched == UNMATCHED


def _k_x_rays(name: str, low: float, high: float) -> tuple[float, float, float]:
    """Sum of K X-rays: published, ours, our uncertainty (all K lines rise and fall together)."""
    emissions = _entry(name)["emissions"]
    assert isinstance(emissions, dict)
    mine = [r for r in photon_lines(name) if r.kind == "x-ray" and low <= r.energy_kev <= high]
    published = sum(i for mev, i in emissions["X"] if low <= 1000 * mev <= high)
    return published, sum(r.intensity for r in mine), sum(r.u_intensity for r in mine)


# K X-ray intensities of nuclides from ENSDF come from conversion coefficients; sums, so that energies do not matter.
@pytest.mark.parametrize(("name", "low", "high"), [("Lu-176", 54, 66), ("Th-230", 81, 104), ("Th-229", 84, 108)])
def test_k_x_ray_sums_of_the_ensdf_nuclides(name: str, low: float, high: float) -> None:
    published, mine, _ = _k_x_rays(name, low, high)
    assert mine == pytest.approx(published, rel=0.06)


def test_k_x_rays_of_th227_say_that_they_are_incomplete() -> None:
    """Part of its mixed transitions has no conversion coefficient in ENSDF as packaged: 4.9 % against 8.7 %."""
    published, mine, u = _k_x_rays("Th-227", 81, 104)
    assert mine < published < mine + u
