"""Mean beta energies against ICRP Publication 107 (icrp107-database 0.0.3), an outside data set with its own shapes."""

from __future__ import annotations

import json
from importlib import resources

import numpy as np
import pytest

from truekev.nuclides.betas import beta_branches, beta_spectrum_per_kev, mean_beta_energy_kev
from truekev.nuclides.names import known_nuclides, nuclide

FOLDER = resources.files("icrp107_database") / "icrp107"


def _published_mean_kev(name: str) -> float:
    emissions = json.loads(json.loads((FOLDER / f"{name}.json").read_text()))["emissions"]
    return 1000 * sum(mean * intensity for mean, intensity in emissions["beta-"])


@pytest.mark.parametrize(
    "name",
    "Ac-228 Pb-212 Bi-212 Tl-208 Pb-214 Bi-214 Bi-210 Pa-234m Tl-207 Pb-211 Y-90 Co-60 Lu-176 I-131 P-32 Na-24".split(),
)
def test_mean_energy_per_decay(name: str) -> None:
    assert mean_beta_energy_kev(name) == pytest.approx(_published_mean_kev(name), rel=0.04)


@pytest.mark.parametrize("name", ["Cs-137", "Sr-90", "K-40"])
def test_unique_forbidden_decays_are_low_as_the_docstring_says(name: str) -> None:
    assert 0.86 < mean_beta_energy_kev(name) / _published_mean_kev(name) < 0.92


def test_thorium_series_stops_about_one_mev_of_betas_per_decay() -> None:
    total = sum(
        share * mean_beta_energy_kev(name)
        for name, share in (("Ra-228", 1), ("Ac-228", 1), ("Pb-212", 1), ("Bi-212", 1), ("Tl-208", 0.3593))
    )
    published = sum(
        share * _published_mean_kev(name)
        for name, share in (("Ra-228", 1), ("Ac-228", 1), ("Pb-212", 1), ("Bi-212", 1), ("Tl-208", 0.3593))
    )
    assert total == pytest.approx(published, rel=0.02)
    assert total == pytest.approx(1100, rel=0.1)


@pytest.mark.parametrize("name", ["Pb-212", "Tl-208", "Bi-214", "Co-60"])
def test_spectrum_integrates_to_the_betas_per_decay(name: str) -> None:
    highest = max(branch.end_point_kev for branch in beta_branches(name))
    energy = np.linspace(0.0, highest + 10, 40001)
    spectrum = beta_spectrum_per_kev(name, energy)
    assert np.all(spectrum >= 0)
    assert spectrum[-1] == 0
    assert np.trapezoid(spectrum, energy) == pytest.approx(sum(b.intensity for b in beta_branches(name)), rel=2e-3)
    assert np.trapezoid(spectrum * energy, energy) == pytest.approx(mean_beta_energy_kev(name), rel=1e-3)


def test_branches_add_up_to_the_beta_share() -> None:
    assert beta_branches("Am-241") == ()
    n_seen = 0
    for name in known_nuclides():
        branches = beta_branches(name)
        if branches:
            n_seen += 1
            assert sum(branch.intensity for branch in branches) <= sum(nuclide(name).daughters.values()) + 1e-3
    assert n_seen > 100
    assert sum(b.intensity for b in beta_branches("Bi-212")) == pytest.approx(0.6407, rel=1e-3)
