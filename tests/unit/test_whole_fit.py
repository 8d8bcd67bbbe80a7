"""The whole-spectrum fit: it finds the truth, states what it does not know, and refuses what it cannot tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from iminuit import Minuit
from tests.support.made_scale import made_scale
from tests.support.vial_counts import CRYSTAL, ENERGIES, LOG_GAIN, SCATTER, SHAPE, N, counted, expected, sample

from truekev.errors import RefusedError
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.calibrate_whole import WholeCalibration, calibrate_whole
from truekev.scale.whole.fit import expected_covariance, fit_whole
from truekev.scale.whole.fit_start import shape_from, start_of
from truekev.scale.whole.judge import judge
from truekev.scale.whole.model import N_PULSE, N_SHAPE, design_of, pulse_of
from truekev.scale.whole.prior import held_shape, shape_prior
from truekev.scale.whole.profile import profile_interval
from truekev.scale.whole.relock_whole import relock_whole


@pytest.fixture(scope="module")
def vial() -> WholeCalibration:
    return calibrate_whole([counted("thorium-vial", "thorium-vial", 60_000, 1)], CRYSTAL, SCATTER)


def test_the_truth_lies_in_the_band(vial: WholeCalibration) -> None:
    scale = vial.calibration.scales[0]
    says = scale.energy_kev(pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN).channel(ENERGIES))
    assert np.all(np.abs(says - ENERGIES) < 4 * scale.u_energy_kev(ENERGIES))
    assert np.all(np.abs(says[1:] / ENERGIES[1:] - 1) < 0.01)
    assert scale.method == "whole spectrum"
    assert len(scale.width_law) == 3


def test_the_verdict_and_the_groups(vial: WholeCalibration) -> None:
    verdict = vial.verdicts[0]
    assert 0.5 < verdict.chi2 / verdict.dof < 1.5
    assert "describes the spectrum (" in verdict.words
    near = [min(abs(g.energy_kev - e) for g in vial.calibration.scales[0].groups) for e in (238.9, 583.0, 2614.5)]
    assert max(near) < 6
    shown = vial.calibration.spectra[0].groups
    assert shown.model.sum() == pytest.approx(sum(row.sum() for _, row in shown.parts))


def test_stated_and_expected_uncertainty_agree(vial: WholeCalibration) -> None:
    start = vial.starts[0]
    prior = shape_prior()
    one = vial.fit.spectra[0]
    theta = np.concatenate([vial.fit.shape, [one.log_gain, 0.0]])
    covariance = expected_covariance(start, prior, theta, np.maximum(one.strengths, 1e-6))
    stated = np.sqrt(np.diag(vial.fit.covariance))[[0, N_SHAPE]]
    assert np.sqrt(np.diag(covariance))[[0, N_SHAPE]] == pytest.approx(stated, rel=0.25)


def test_more_counts_know_more() -> None:
    u = []
    for counts in (5_000, 80_000):
        scale = calibrate_whole([counted("thorium-vial", "thorium-vial", counts, 2)], CRYSTAL, SCATTER)
        u.append(scale.calibration.scales[0].u_energy_kev(ENERGIES[1:]))
    assert np.all(u[1] < u[0])


def test_without_model_error_the_gain_is_that_of_a_poisson_likelihood() -> None:
    """Judge: iminuit (James and Roos 1975) on the Poisson likelihood of Baker and Cousins (1984), strengths fixed."""
    one = counted("thorium-vial", "thorium-vial", 30_000, 4)
    one = replace(one, background=MeasuredBackground(np.zeros(N), np.zeros(N), 0.05))
    pulse = pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN)
    start = start_of(one, CRYSTAL, SCATTER, pulse, 0.08)
    fit = fit_whole([start], held_shape(SHAPE, width_u=1e-7), SHAPE, delta=0.0)
    strengths, counts = fit.spectra[0].strengths, start.data.counts

    def deviance(log_gain: float) -> float:
        design = design_of(start.data, start.parts, SHAPE, log_gain)
        mu = np.maximum(design.columns @ strengths, 1e-9)
        return float(2 * np.sum(mu - counts + np.where(counts > 0, counts * np.log(np.maximum(counts, 1) / mu), 0.0)))

    judge = Minuit(deviance, log_gain=fit.spectra[0].log_gain)
    judge.errors["log_gain"] = 1e-3
    judge.errordef = Minuit.LEAST_SQUARES
    judge.migrad()
    u = float(np.sqrt(fit.covariance[N_SHAPE, N_SHAPE]))
    assert abs(judge.values["log_gain"] - fit.spectra[0].log_gain) < 0.15 * u
    assert judge.errors["log_gain"] <= 1.05 * u


@pytest.mark.parametrize("energy_kev", [238.6, 661.7])
def test_profile_interval_is_that_of_the_covariance_at_many_counts(vial: WholeCalibration, energy_kev: float) -> None:
    found = profile_interval(vial.fit, vial.starts, shape_prior(), energy_kev)
    assert found.u_kev == pytest.approx(float(vial.calibration.scales[0].u_energy_kev(energy_kev)), rel=1e-6)
    assert found.channel == pytest.approx(float(vial.calibration.scales[0].channel(energy_kev)))
    # The scale is the posterior's mean, the interval the likelihood's: as wide, but not about quite the same middle.
    assert (found.high_kev - found.low_kev) / (2.0 * found.u_kev) == pytest.approx(1.0, rel=0.15)
    assert (found.high95_kev - found.low95_kev) / (2.0 * 1.96 * found.u_kev) == pytest.approx(1.0, rel=0.15)
    assert abs(0.5 * (found.low95_kev + found.high95_kev) - energy_kev) < 0.7 * found.u_kev


def test_profile_interval_leans_at_few_counts() -> None:
    # One draw of forty at 3,000 counts in which few counts at 2615 keV leave open a scale that is too high there.
    few = calibrate_whole([counted("thorium-vial", "thorium-vial", 3_000, 23)], CRYSTAL, SCATTER)
    found = profile_interval(few.fit, few.starts, shape_prior(), 2614.5)
    assert found.low95_kev < found.low_kev < 2614.5 < found.high_kev < found.high95_kev
    # 95 % of a normal distribution lie within 1.97 times what 68 % do; not so here, to both sides.
    assert (2614.5 - found.low95_kev) / (2614.5 - found.low_kev) > 2.3
    assert (found.high95_kev - 2614.5) / (found.high_kev - 2614.5) < 1.9
    truth = float(pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN).energy_kev(found.channel))
    assert found.low95_kev < truth < found.high95_kev


@pytest.mark.parametrize(("truth", "declared"), [("radium-dial", "thorium-vial"), ("thorium-vial", "Eu-152")])
def test_another_source_is_refused(truth: str, declared: str) -> None:
    with pytest.raises(RefusedError):
        calibrate_whole([counted(truth, declared, 30_000, 6)], CRYSTAL, SCATTER)


def test_room_alone_is_refused() -> None:
    rng = np.random.default_rng(7)
    room = 20_000 * expected("room-background")
    measured = rng.poisson(3.0 * room) / 3.0
    background = MeasuredBackground(measured, measured / 3.0, 0.05)
    one = CountedSpectrum(rng.poisson(room).astype(float), background, sample("thorium-vial"))
    with pytest.raises(RefusedError, match="cannot be made out"):
        calibrate_whole([one], CRYSTAL, SCATTER)


def test_an_empty_spectrum_is_refused() -> None:
    one = counted("thorium-vial", "thorium-vial", 1000, 7)
    with pytest.raises(RefusedError, match="empty"):
        calibrate_whole([replace(one, counts=np.zeros(N))], CRYSTAL, SCATTER)


def test_two_spectra_share_one_shape() -> None:
    both = [
        counted("thorium-vial", "thorium-vial", 40_000, 8),
        counted("Eu-152", "Eu-152", 40_000, 9, LOG_GAIN + 0.01),
    ]
    found = calibrate_whole(both, CRYSTAL, SCATTER)
    first, second = found.calibration.scales
    assert first.pulse.kappa == second.pulse.kappa
    assert second.pulse.gain / first.pulse.gain == pytest.approx(np.exp(0.01), abs=0.004)


def test_relock_finds_the_gain_and_keeps_the_shape(vial: WholeCalibration) -> None:
    old = vial.calibration.scales[0]
    later = counted("thorium-vial", "thorium-vial", 4_000, 10, LOG_GAIN + 0.03)
    found = relock_whole(later, old, CRYSTAL, SCATTER)
    ratio = found.relock.gain_ratio
    assert abs(ratio.value - np.exp(0.03)) < 4 * ratio.u
    assert ratio.u < 0.01
    assert found.relock.scale.pulse.kappa == old.pulse.kappa
    assert found.relock.scale.method == "re-lock"
    assert np.linalg.eigvalsh(found.relock.scale.covariance).min() > -1e-9
    wide = found.relock.scale.u_energy_kev(ENERGIES)
    assert np.all(np.isfinite(wide))


def test_relock_of_another_instrument_or_source_is_refused(vial: WholeCalibration) -> None:
    old = vial.calibration.scales[0]
    later = counted("Cs-137", "thorium-vial", 40_000, 11)
    with pytest.raises(RefusedError):
        relock_whole(later, old, CRYSTAL, SCATTER)
    with pytest.raises(RefusedError, match="256"):
        relock_whole(later, made_scale(256), CRYSTAL, SCATTER)


def test_shape_of_a_scale_by_peaks_can_be_held() -> None:
    shape = shape_from(made_scale().pulse, 0.075)
    assert np.exp(shape[N_PULSE]) == pytest.approx(0.075)
    assert shape[0] == pytest.approx(made_scale().pulse.c0 / made_scale().pulse.gain * 1e3)


@pytest.mark.parametrize(
    ("truth", "described"), [("thorium-vial", True), ("radium-dial", False), ("uranium-glass", False)]
)
def test_a_poor_fit_of_few_counts_is_told(truth: str, described: bool) -> None:
    # 20,000 counts of something else cost 3 to 5 per degree of freedom: what a model of a million counts may cost.
    one = replace(counted(truth, truth, 20_000, 3), sample=sample("thorium-vial"))
    start = start_of(one, CRYSTAL, SCATTER, pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN), 0.08)
    verdict = judge(fit_whole([start], shape_prior(), SHAPE), 0, start)
    assert (verdict.refusal == "") == described
    assert verdict.chi2 < 8.0 * verdict.dof
