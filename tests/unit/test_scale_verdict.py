"""The verdict: every reason to refuse, at both sides of its limit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
from tests.support.made_scale import CURVE

from truekev.scale import verdict
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.find_groups import FoundGroups, PeakWidth
from truekev.scale.light import Pulse
from truekev.scale.locate import Evidence, LocatedSpectrum
from truekev.scale.sample import Sample
from truekev.scale.search import Candidate, SearchData
from truekev.scale.templates import TemplateSet
from truekev.scale.verdict import Confidence, assess

GOOD = Evidence(2000.0, 100.0, 100, 60, 0.6)


@dataclass
class Case:
    """A sound lock; each test spoils one thing."""

    evidence: Evidence = GOOD
    chi2: tuple[float, ...] = (100.0, 180.0)
    pulse: Pulse = field(default_factory=lambda: Pulse(CURVE, 0.0, 340.0))
    u_c0: float = 0.2
    n_channels: int = 1024
    width_662: float = 0.075

    def judged(self, monkeypatch: pytest.MonkeyPatch) -> Confidence:
        monkeypatch.setattr(verdict, "evidence", lambda located, sample: self.evidence)
        nothing = np.zeros(0)
        data = SearchData(nothing, nothing, nothing, nothing, 0.0, self.n_channels)
        templates = TemplateSet((), nothing, nothing, nothing, nothing, 0)
        candidates = tuple(
            Candidate(0.34 * 1.3**i, 0.0, self.width_662, chi2, nothing) for i, chi2 in enumerate(self.chi2)
        )
        located = LocatedSpectrum(self.pulse, self.width_662, candidates, data, templates)
        groups = FoundGroups((), (), nothing, nothing)
        fitted = FittedSpectrum(located, groups, (), (), (), PeakWidth(self.width_662, 0.0))
        return assess(fitted, self.pulse, self.u_c0, Sample("thoriated-rods", (), ()), self.n_channels)


def test_a_sound_lock_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    found = Case().judged(monkeypatch)
    assert (found.refusal, found.advice) == ("", "")
    assert found.margin == pytest.approx(80.0)
    assert found.other_gain == pytest.approx(1.3)
    assert 2900 < found.full_scale_kev < 3300
    assert 10 < found.width_239_channels < 16


def test_a_single_candidate_has_no_rival(monkeypatch: pytest.MonkeyPatch) -> None:
    found = Case(chi2=(100.0,)).judged(monkeypatch)
    assert found.margin == np.inf
    assert found.other_gain is None
    assert not found.refusal


@pytest.mark.parametrize(
    "evidence",
    [
        Evidence(2000.0, 100.0, 100, 60, 0.0),  # nearly nothing of the spectrum is the source
        Evidence(139.0, 100.0, 100, 30, 0.6),  # too little structure is explained
        Evidence(9000.0, 8000.0, 100, 60, 0.6),  # much stays unexplained
        Evidence(100.0, 100.0, 100, 60, 0.6),
    ],
)
def test_source_that_cannot_be_made_out(monkeypatch: pytest.MonkeyPatch, evidence: Evidence) -> None:
    found = Case(evidence=evidence).judged(monkeypatch)
    assert "thoriated-rods cannot be made out" in found.refusal
    assert "--background" in found.advice


def test_short_range_asks_for_a_purer_spectrum(monkeypatch: pytest.MonkeyPatch) -> None:
    weak = Evidence(2000.0, 100.0, 100, 60, 0.1)
    assert not Case(evidence=weak).judged(monkeypatch).refusal
    short = Case(evidence=weak, pulse=Pulse(CURVE, 0.0, 1024 / 0.9)).judged(monkeypatch)
    assert "ends near" in short.refusal
    assert "another source" in short.refusal
    assert "1500 keV" in short.advice
    assert not Case(pulse=Pulse(CURVE, 0.0, 1024 / 0.9)).judged(monkeypatch).refusal


@pytest.mark.parametrize(("second", "refused"), [(100.5, True), (180.0, False)])
def test_two_gains(monkeypatch: pytest.MonkeyPatch, second: float, refused: bool) -> None:
    found = Case(chi2=(100.0, second)).judged(monkeypatch)
    assert ("Two gains" in found.refusal) == refused
    if refused:
        assert "1.30 times" in found.refusal
        assert found.advice


@pytest.mark.parametrize(("full_scale_kev", "refused"), [(380.0, True), (430.0, False)])
def test_below_400_kev_no_lock_is_safe(monkeypatch: pytest.MonkeyPatch, full_scale_kev: float, refused: bool) -> None:
    gain = 1024e3 / full_scale_kev / 1.06  # light at 400 keV stands 6 % above proportion in the made-up curve
    found = Case(pulse=Pulse(CURVE, 0.0, gain)).judged(monkeypatch)
    assert ("below 400 keV" in found.refusal) == refused


@pytest.mark.parametrize(("n_channels", "refused"), [(100, True), (256, False)])
def test_peaks_need_two_channels(monkeypatch: pytest.MonkeyPatch, n_channels: int, refused: bool) -> None:
    found = Case(pulse=Pulse(CURVE, 0.0, n_channels / 3.0), n_channels=n_channels).judged(monkeypatch)
    assert ("channels wide" in found.refusal) == refused
    assert (found.width_239_channels < 2) == refused


@pytest.mark.parametrize(("zero_kev", "u_kev", "refused"), [(30.0, 1.0, True), (-30.0, 1.0, True), (30.0, 5.0, False)])
def test_zero_far_from_zero(monkeypatch: pytest.MonkeyPatch, zero_kev: float, u_kev: float, refused: bool) -> None:
    pulse = Pulse(CURVE, -0.34 * zero_kev, 340.0)
    found = Case(pulse=pulse, u_c0=0.34 * u_kev).judged(monkeypatch)
    assert ("Channel 0 would lie" in found.refusal) == refused
    if refused:
        assert f"{zero_kev:.0f} keV" in found.refusal


def test_evidence_figures() -> None:
    assert GOOD.gained == pytest.approx(1900.0)
    assert GOOD.ratio == pytest.approx(1900.0 / 60.0)
    assert Evidence(2000.0, 300.0, 100, 60, 0.6).ratio == pytest.approx(1700.0 / (3.0 * 60.0))
