"""Identification of invented spectra: what is there is recognised, what is alike is said so, nothing else is named."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from tests.support.made_samples import made_count, sample_scale, templates

from truekev.samples.binned import binned
from truekev.samples.candidates import NATURAL, candidate, candidates, lines_of
from truekev.samples.identify import Identified, identify_spectrum
from truekev.samples.spectrum_fit import fit_spectrum
from truekev.samples.spectrum_model import SpectrumModel

ALLOWED = [one.name for one in candidates()]


def _model(
    strengths: Mapping[str, float], seed: int, *, seconds: float = 3600.0, background: bool = True
) -> SpectrumModel:
    rng = np.random.default_rng(seed)
    count = made_count(strengths, seconds, rng, gain=1 + 0.005 * rng.standard_normal(), wrong=0.03)
    room = made_count({}, 2 * seconds, rng) if background else None
    return SpectrumModel(binned(count, sample_scale(), room), sample_scale(), templates())


def _found(strengths: Mapping[str, float], seed: int, **options: float | bool) -> Identified:
    return identify_spectrum(_model(strengths, seed, **options), ALLOWED)  # type: ignore[arg-type]


def _answers(found: Identified) -> list[set[str]]:
    return [{one.name, *one.instead} for one in found.recognised]


def test_at_least_sixty_nuclides_are_searched_in_one_pass() -> None:
    nuclides = {one.head for one in candidates() if one.head}
    assert len(nuclides) >= 60
    assert len(ALLOWED) == len(set(ALLOWED)) >= 75
    assert all(lines_of(one).energy_kev.size for one in candidates())


@pytest.mark.parametrize(
    "name", ["Am-241", "Co-57", "Ba-133", "I-131", "Cs-137", "Co-60", "Na-22", "Eu-152", "Lu-176", "U-235 part", "K-40"]
)
def test_a_single_nuclide_is_recognised(name: str) -> None:
    strength = 2e6 if name == "K-40" else 60_000.0
    found = _found({name: strength}, 11)
    answers = _answers(found)
    assert any(name in answer for answer in answers), answers
    # everything else that is named is natural or alike
    assert all(name in answer or answer & NATURAL for answer in answers), answers
    assert not found.unknown


@pytest.mark.parametrize(
    ("there", "not_there"),
    [
        ("Am-241", "tungsten K X-rays"),
        ("tungsten K X-rays", "Am-241"),
        ("Ra-226 part", "U-235 part"),
        ("U-235 part", "Ra-226 part"),
        ("I-131", "Ba-133"),
        ("Ba-133", "I-131"),
        ("Th-228 part", "annihilation radiation"),
        ("annihilation radiation", "Th-228 part"),
        ("Eu-152", "Co-57"),
        ("Co-57", "Eu-152"),
        ("Ra-226 part", "Cs-137"),
        ("Cs-137", "Ra-226 part"),
    ],
)
@pytest.mark.parametrize("strength", [3000.0, 100_000.0])
def test_what_lies_close_is_settled_or_said_to_be_alike(there: str, not_there: str, strength: float) -> None:
    for answer in _answers(_found({there: strength}, 5)):
        assert not_there not in answer or there in answer


def test_a_series_broken_at_radium_shows_as_its_parts() -> None:
    names = [answer for answer in _answers(_found({"Ra-228 part": 30_000.0, "Th-228 part": 6000.0}, 3))]
    assert any("Ra-228 part" in answer for answer in names)
    assert any("Th-228 part" in answer for answer in names)
    assert all(answer & NATURAL for answer in names)


@pytest.mark.parametrize("background", [True, False])
def test_nothing_in_the_room_is_named_but_natural_series(background: bool) -> None:
    for seed in range(4):
        found = _found({}, 100 + seed, background=background)
        assert all(one.name in NATURAL or one.name.startswith("room") for one in found.recognised)
        assert not found.unknown


def test_a_peak_that_no_candidate_has_is_unknown_at_its_energy() -> None:
    model = _model({"Cs-137": 1000.0}, 8)
    fit = fit_spectrum(model, [])
    extra = 4000.0 * model.peak_columns(np.array([1010.0]), fit.shared)[0]
    model = SpectrumModel(model.data.with_counts(model.data.counts + np.round(extra)), sample_scale(), templates())
    only = [name for name in ALLOWED if not np.any(np.abs(lines_of(candidate(name)).energy_kev / 1010.0 - 1) < 0.06)]
    found = identify_spectrum(model, only)
    assert [peak.energy_kev for peak in found.unknown] == pytest.approx([1010.0], rel=0.02)


def test_evidence_names_the_lines_that_speak_for_a_nuclide() -> None:
    found = _found({"Co-60": 50_000.0}, 2)
    (one,) = [r for r in found.recognised if r.name == "Co-60"]
    # 1173.2 and 1332.5 keV (DDEP) are one group at 6 % resolution or two
    assert any(line.supports and 1150 < line.energy_kev < 1350 for line in one.lines)
    assert not any(line.contradicts for line in one.lines)


def test_strengths_are_unbiased() -> None:
    pulls = []
    for seed in range(12):
        fit = fit_spectrum(_model({"Cs-137": 3000.0}, 200 + seed, seconds=1200.0), ["Cs-137"])
        pulls.append((fit.of("Cs-137") - 3000.0) / fit.u("Cs-137"))
    assert abs(float(np.mean(pulls))) < 3.5 / np.sqrt(12)
    assert float(np.std(pulls)) < 1.8
