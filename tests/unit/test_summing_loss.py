"""What cascades take from full-energy peaks."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.made_samples import made_count, sample_scale, templates

from truekev.samples.assay import assay_spectrum
from truekev.samples.binned import binned
from truekev.samples.candidates import candidate, lines_of
from truekev.samples.sample_file import POINT_SAMPLE
from truekev.samples.spectrum_model import SpectrumModel
from truekev.samples.summing import summing_loss
from truekev.scale.templates import LineSet
from truekev.transport.detector import DEFAULT_DETECTOR


def loss_of(name: str, hit: float) -> float:
    lines = lines_of(candidate(name))
    return summing_loss(lines, lines.rate, lambda _: hit)


def test_two_steps_lose_the_total_efficiency() -> None:
    """1 - e2 of peak 1 (textbook): both lines of Co-60 lose nearly one hit in each."""
    assert loss_of("Co-60", 0.11) == pytest.approx(0.11, rel=0.005)


def test_one_line_loses_nothing() -> None:
    assert loss_of("Cs-137", 0.2) == 0.0
    assert loss_of("K-40", 0.2) == 0.0
    assert summing_loss(LineSet("none", np.zeros(0), np.zeros(0)), np.zeros(0), lambda _: 0.2) == 0.0


def test_photons_of_different_decays_do_not_sum() -> None:
    """Most photons of the Th-228 part are Pb-212's 239 keV, which no strong line accompanies."""
    tl = LineSet("Tl-208", np.array([583.187, 2614.511]), np.array([0.85, 0.9975]), ("Tl-208", "Tl-208"))
    lost = summing_loss(tl, tl.rate, lambda _: 0.05)
    assert lost > 0.05
    assert loss_of("Th-228 part", 0.05) < 0.6 * lost
    only = LineSet("Pb-212", np.array([238.632]), np.array([0.436]), ("Pb-212",))
    assert summing_loss(only, only.rate, lambda _: 0.05) < 0.005


def test_a_peak_never_loses_more_than_itself() -> None:
    assert loss_of("Ho-166m", 0.9) <= 1.0


def test_an_assay_puts_it_into_the_budget() -> None:
    rng = np.random.default_rng(4)
    count, room = made_count({"Co-60": 3000.0}, 600.0, rng), made_count({}, 1200.0, rng)
    model = SpectrumModel(binned(count, sample_scale(), room), sample_scale(), templates(POINT_SAMPLE))
    (one,), _ = assay_spectrum(model, ("Co-60",), (), POINT_SAMPLE, DEFAULT_DETECTOR)
    # A cube of 10 mm at 100 mm fills 0.0008 of all directions; a fifth of such photons leave something in it.
    assert one.summing_loss == pytest.approx(0.0008 * 0.2, rel=0.4)
    (line,) = (part for part in one.budget if part.name == "coincidence summing")
    assert line.relative_u == pytest.approx(one.summing_loss / np.sqrt(3.0))
