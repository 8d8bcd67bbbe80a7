"""The simulator that the other tests and the studies trust: against the tables that it is built from
(shared/reference, an independent transport code), evaluated lines and the bands of the light yield.
"""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.support import truth as simulator
from tests.support.truth import draw_truth, expected_counts, is_available, simulate_spectrum, source_names, true_channel
from tests.support.truth.draw import Resolution, Surroundings, Truth, thorium_nuclides
from tests.support.truth.light import Light, draw_light, middle_light
from tests.support.truth.response import (
    ESCAPING_XRAYS_KEV,
    N_BINS,
    compton_edge_kev,
    measured_shape,
    response,
    single_scatter_shape,
)
from tests.support.truth.simulate import channel_of_light, compton_edge_channel
from tests.support.truth.surroundings import escape_from_body, flux_deposits, nuclide_line_set, scattered_flux
from tests.support.truth.tables import (
    attenuation_cm2_g,
    crystal_table,
    histogram,
    light_band,
    nuclide_lines,
)

from truekev.errors import UnknownNameError

pytestmark = pytest.mark.skipif(not is_available(), reason="the shared reference tables (../shared) are not here")

NOTHING_AROUND = Surroundings(
    back_of_peak=0.0,
    side=0.0,
    forward=0.0,
    body="SiO2",
    body_mm=0.0,
    window_al_mm=0.0,
    fluorescence=0.0,
    bremsstrahlung=0.0,
    bremsstrahlung_mean_kev=200.0,
)
SHARP = Resolution(w0_kev=3.0, w1_root_kev=0.0, w2=0.0, tail_fraction=0.0, tail_sigma=1.0)


def _sharp(nuclide: str, **changes: object) -> Truth:
    """A nuclide alone, with fine channels, hardly any room, no threshold, no width to speak of."""
    truth = draw_truth(np.random.default_rng(7), source=nuclide, full_scale_kev=(3200, 3200), channels=(8192,))
    plain = replace(
        truth,
        resolution=SHARP,
        surroundings=NOTHING_AROUND,
        threshold_kev=-100.0,
        zero_kev=-20.0,
        background_ratio=1e-12,
        overflow_in_last_channel=False,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def _counts_between(truth: Truth, counts: np.ndarray, low: float, high: float) -> float:
    """Counts between two pulse coordinates; edge channels whole."""
    channel = np.arange(truth.n_channels)
    return float(counts[(channel >= low) & (channel <= high)].sum())


def test_simulator_does_not_lean_on_what_it_judges() -> None:
    folder = Path(simulator.__file__).parent
    for file in folder.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and node.module:
                names.append(node.module)
            for name in names:
                if name.startswith("truekev"):
                    assert name in {"truekev.errors", "truekev.spectra.spectrum"}, file.name


@pytest.mark.parametrize("row", range(16))
def test_peaks_and_total_are_the_tables(row: int) -> None:
    table = crystal_table()
    answer = response(float(table.energy_kev[row]))
    assert answer.total == pytest.approx(table.total[row], rel=0.01)
    assert answer.full_energy == pytest.approx(table.full_energy[row], rel=0.01)
    if table.double_escape[row] > 0:  # the table looks for escape peaks from 1332 keV on
        assert answer.single_escape == pytest.approx(table.single_escape[row], rel=0.01)
        assert answer.double_escape == pytest.approx(table.double_escape[row], rel=0.01)
    else:
        assert answer.double_escape <= (table.energy_kev[row] > 1022) * table.double_escape[12]
    if table.energy_kev[row] > 36:
        assert answer.xray_escape == pytest.approx(table.xray_escape[row], rel=0.01)
    assert answer.single.min() >= 0
    assert answer.several.min() >= 0


def test_total_runs_smoothly_between_the_tables_energies() -> None:
    energies = np.linspace(40, 2700, 400)
    totals = np.array([response(float(e)).total for e in energies])
    assert np.all(np.abs(np.diff(np.log(totals))) < 0.06)


@pytest.mark.parametrize("energy_kev", [661.7, 1460.8, 2614.5])
def test_continuum_has_the_histograms_shape(energy_kev: float) -> None:
    edges, prob = histogram(energy_kev)
    answer = response(energy_kev)
    continuum = answer.single + answer.several
    centre = (edges[:-1] + edges[1:]) / 2
    prob = prob.copy()
    prob[(centre > energy_kev - 2) & (centre < energy_kev + 2)] = 0.0
    edge = compton_edge_kev(energy_kev)
    for low, high in ((0, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 0.97)):
        expected = prob[(centre >= low * edge) & (centre < high * edge)].sum()
        mine = np.arange(N_BINS) * 2.0 + 1.0
        got = continuum[(mine >= low * edge) & (mine < high * edge)].sum()
        if energy_kev > 2000 and low == 0.5:
            expected -= answer.double_escape  # the histogram's double escape peak lies here
        if energy_kev > 2000 and low == 0.75:
            expected -= answer.single_escape
        if 1400 < energy_kev < 1500 and low == 0.25:
            expected -= answer.double_escape
        if 1400 < energy_kev < 1500 and low == 0.75:
            expected -= answer.single_escape
        assert got == pytest.approx(expected, rel=0.02)


def test_single_scatter_model_meets_the_histogram_at_662() -> None:
    # Below 350 keV the continuum is Klein-Nishina with escape alone; at 662 keV it can be compared.
    model, table = single_scatter_shape(661.7), measured_shape(661.7)
    ratio = (model.below / model.below.sum()) / (table.below / table.below.sum())
    assert np.all(np.abs(ratio[20:310] - 1) < 0.10)


def test_scatter_goes_where_compton_says() -> None:
    # 180 degrees: 662 keV becomes 184.3 keV (Compton's formula); 120 degrees: 224.9 keV.
    flux = scattered_flux(661.657, "back")
    seen = np.flatnonzero(flux) * 2.0
    assert seen.min() == pytest.approx(184.3, abs=2.0)
    assert seen.max() + 2 == pytest.approx(224.9, abs=2.5)
    assert flux.sum() == pytest.approx(1.0)
    one = np.zeros(N_BINS)
    one[330] = 1.0  # 661 keV
    deposits = flux_deposits(one)
    assert deposits.single.sum() + deposits.several.sum() == pytest.approx(response(661.0).total, rel=1e-9)


def test_body_absorbs_by_its_attenuation() -> None:
    # NIST SRD 126: W at 59.541 keV 3.787 cm2/g, at 77.109 keV 8.582: the K edge at 69.5 keV lies between.
    assert attenuation_cm2_g("W", np.array([59.541, 77.109])) == pytest.approx([3.7869, 8.5818], rel=1e-3)
    assert attenuation_cm2_g("W", np.array([69.0])) < attenuation_cm2_g("W", np.array([70.0])) / 3
    thin = escape_from_body("W", 1e-4, np.array([100.0]))
    assert thin == pytest.approx(1.0, abs=1e-3)
    thick = escape_from_body("W", 10.0, np.array([100.0]))
    assert thick == pytest.approx(1 / (4.438 * 19.3), rel=1e-3)


def test_lines_are_ddep_and_the_chain_is_in_equilibrium() -> None:
    lines = nuclide_lines("Pb-212")
    i = int(np.argmax(lines.per_decay))
    assert (lines.energy_kev[i], lines.per_decay[i]) == pytest.approx((238.632, 0.436))
    assert 674.75 not in nuclide_lines("Ac-228").energy_kev  # the ENSDF row that is wrong by 20
    chain = dict(thorium_nuclides(1.0, 1.0))
    thallium = nuclide_lines("Tl-208")
    per_thorium = chain["Tl-208"] * thallium.per_decay[np.argmax(thallium.energy_kev)]
    assert per_thorium == pytest.approx(0.3584, abs=2e-4)  # CHECK_VALUES row 56


def test_light_lies_in_the_published_bands_and_is_one_at_662() -> None:
    band = light_band("photon")
    curves = []
    for seed in range(40):
        light = draw_light(np.random.default_rng(seed))
        curve = light.of_photon(band.energy_kev) / band.energy_kev
        assert np.all(np.abs(curve - band.middle) <= 1.3 * band.half_width + 0.005)
        assert float(light.of_photon(661.657)) == pytest.approx(661.657, rel=1e-9)
        curves.append(curve)
    spread = np.std(curves, axis=0)
    assert np.all(spread[band.half_width >= 0.02] > 0.15 * band.half_width[band.half_width >= 0.02])


def test_light_of_electrons_and_photons_hangs_together() -> None:
    flat = Light(tuple(np.ones(40)))  # proportional light: every kind of event gives its energy
    energy = np.array([20.0, 60.0, 238.6, 662.0, 2614.5])
    assert flat.of_photon(energy) == pytest.approx(energy, rel=2e-3)
    assert flat.of_electron(energy) == pytest.approx(energy)
    assert float(flat.of_single_escape(2614.511)) == pytest.approx(2103.512, rel=2e-3)
    assert float(flat.of_double_escape(2614.511)) == pytest.approx(1592.513, rel=2e-3)
    # A fully absorbed photon makes several slow electrons, so it gives more light than one fast electron.
    crystal = middle_light()
    assert np.all(crystal.of_photon(energy[2:]) > crystal.of_electron(energy[2:]))


@pytest.mark.parametrize(
    ("nuclide", "energy_kev"),
    [("Am-241", 59.541), ("Pb-212", 238.632), ("Cs-137", 661.655), ("K-40", 1460.822), ("Tl-208", 2614.511)],
)
def test_peaks_stand_at_the_true_channel(nuclide: str, energy_kev: float) -> None:
    truth = _sharp(nuclide)
    counts = expected_counts(truth).source
    centre = float(true_channel(truth, energy_kev))
    channel = np.arange(truth.n_channels)
    near = np.abs(channel - centre) < 9
    top = near & (counts > 0.3 * counts[near].max())
    curve = np.polyfit(channel[top] - centre, np.log(counts[top]), 2)
    per_kev = (float(true_channel(truth, energy_kev + 1)) - float(true_channel(truth, energy_kev - 1))) / 2
    shift_kev = -curve[1] / (2 * curve[0]) / per_kev
    assert abs(shift_kev) < 0.05
    sigma_kev = np.sqrt(-0.5 / curve[0]) / per_kev
    assert sigma_kev * 2.3548 == pytest.approx(3.0, rel=0.12)  # 3 keV of light; light per keV is 0.9 to 1.12


def test_peak_to_total_is_the_tables() -> None:
    truth = _sharp("K-40", zero_kev=-20.0)
    counts = expected_counts(truth).source
    peak = float(true_channel(truth, 1460.822))
    share = _counts_between(truth, counts, peak - 12, peak + 12) / counts.sum()
    assert share == pytest.approx(0.092477, rel=0.01)  # csi10_bare_10mm.csv, 1460.8 keV


def test_escape_peaks_stand_off_the_photon_curve() -> None:
    truth = _sharp("Tl-208")
    counts = expected_counts(truth).source
    double = float(channel_of_light(truth, truth.light.of_double_escape(2614.511)))
    near = np.arange(int(double) - 20, int(double) + 21)
    assert near[np.argmax(counts[near])] == pytest.approx(double, abs=1.0)
    assert double < float(true_channel(truth, 2614.511 - 1021.998))
    iodine = float(channel_of_light(truth, truth.light.of_xray_escape(238.632, ESCAPING_XRAYS_KEV[0])))
    assert iodine < float(true_channel(truth, 238.632 - 25.0))
    assert compton_edge_channel(truth, 2614.511) < float(true_channel(truth, compton_edge_kev(2614.511)))


def test_counts_are_conserved() -> None:
    for seed in range(6):
        truth = draw_truth(np.random.default_rng(seed))
        expected = expected_counts(truth)
        last = -1 if truth.overflow_in_last_channel else None
        assert expected.source[:last].sum() == pytest.approx(truth.net_counts, rel=1e-9)
        assert expected.room[:last].sum() == pytest.approx(truth.net_counts * truth.background_ratio, rel=1e-9)
        assert expected.source.min() >= 0
        assert expected.background is not None
        assert truth.background_live_time_s is not None
        times = truth.background_live_time_s / truth.live_time_s
        assert expected.background[:last].sum() == pytest.approx(times * expected.room[:last].sum(), rel=0.05)


def test_channels_only_sort_the_same_events() -> None:
    truth = replace(_sharp("Cs-137"), resolution=Resolution(2.0, 1.5, 0.03, 0.03, 1.0))
    fine = expected_counts(truth).source
    coarse = expected_counts(replace(truth, n_channels=1024))
    # 8192 = 8 x 1024 channels with the same zero and top: edges agree but for the half channel at the top.
    assert coarse.source.sum() == pytest.approx(fine.sum(), rel=1e-6)
    running_fine = np.interp(
        true_channel(truth, [300.0, 662.0]) + 0.5, np.arange(8193) + 0.0, np.append(0.0, np.cumsum(fine))
    )
    at_coarse = true_channel(replace(truth, n_channels=1024), [300.0, 662.0]) + 0.5
    running_coarse = np.interp(at_coarse, np.arange(1025) + 0.0, np.append(0.0, np.cumsum(coarse.source)))
    assert running_coarse == pytest.approx(running_fine, rel=2e-3)


def test_overflow_is_dropped_or_collected() -> None:
    truth = draw_truth(np.random.default_rng(3), full_scale_kev=(500, 500))
    kept = expected_counts(replace(truth, overflow_in_last_channel=True)).source
    dropped = expected_counts(replace(truth, overflow_in_last_channel=False)).source
    assert kept[-1] > 10 * dropped[-1]
    assert kept[:-1] / kept[:-1].sum() == pytest.approx(dropped[:-1] / dropped[:-1].sum(), rel=1e-9)


def test_full_scale_zero_and_background_gain_mean_what_they_say() -> None:
    truth = draw_truth(np.random.default_rng(11), channels=(1024,), full_scale_kev=(3000, 3000), zero_kev=(-15, -15))
    assert float(true_channel(truth, 3000.0)) == pytest.approx(1023.5)
    assert float(channel_of_light(truth, -15.0)) == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(true_channel(truth, np.linspace(20, 3000, 2000))) > 0)


def test_a_drift_moves_the_gain_and_keeps_the_zero() -> None:
    truth = draw_truth(np.random.default_rng(11), channels=(4096,), full_scale_kev=(3000, 3000))
    drifted = replace(truth, gain_factor=1.018)
    zero = float(channel_of_light(truth, 0.0))
    energy = np.array([60.0, 662.0, 2614.5])
    moved = (true_channel(drifted, energy) - zero) / (true_channel(truth, energy) - zero)
    assert moved == pytest.approx(1.018)
    counts = expected_counts(replace(_sharp("Cs-137"), gain_factor=1.018)).source
    sharp = replace(_sharp("Cs-137"), gain_factor=1.018)
    peak = float(true_channel(sharp, 661.655))
    assert int(peak) - 200 + np.argmax(counts[int(peak) - 200 : int(peak) + 200]) == pytest.approx(peak, abs=1)


def test_simulation_is_reproducible_and_poisson() -> None:
    truth = draw_truth(np.random.default_rng(1), net_counts=(50_000, 50_000), background_ratio=(0.3, 0.3))
    one = simulate_spectrum(truth, np.random.default_rng(5))
    two = simulate_spectrum(truth, np.random.default_rng(5))
    assert np.array_equal(one.spectrum.counts, two.spectrum.counts)
    mean = one.expected_source + one.expected_room
    seen = mean > 5
    chi2 = ((one.spectrum.counts - mean)[seen] ** 2 / mean[seen]).sum()
    assert abs(chi2 - seen.sum()) < 5 * np.sqrt(2 * seen.sum())
    assert one.background is not None
    assert simulate_spectrum(replace(truth, background_live_time_s=None), np.random.default_rng(5)).background is None
    assert one.true_channel(661.657) == pytest.approx(true_channel(truth, 661.657))


def test_draws_fill_their_ranges() -> None:
    rng = np.random.default_rng(20)
    truths = [draw_truth(rng) for _ in range(400)]
    scales = np.array([t.full_scale_kev for t in truths])
    assert scales.min() < 500
    assert scales.max() > 5000
    assert np.median(np.log(scales)) == pytest.approx(np.log(np.sqrt(400 * 6000)), abs=0.25)
    assert {t.n_channels for t in truths} == {256, 512, 1024, 2048, 4096, 8192}
    for truth in truths[:50]:
        relative = truth.resolution.fwhm_kev(661.657) / 661.657
        assert 0.0499 <= relative <= 0.1201


@pytest.mark.parametrize("source", source_names() if is_available() else ("no tables",))
def test_every_source_can_be_simulated(source: str) -> None:
    truth = draw_truth(np.random.default_rng(2), source=source, full_scale_kev=(3000, 3000))
    assert expected_counts(truth).source.sum() >= truth.net_counts * 0.999


def test_unknown_source_names_the_known() -> None:
    assert "thorium" in source_names()
    with pytest.raises(UnknownNameError, match="Cs-137"):
        draw_truth(np.random.default_rng(0), source="Cs137")


def test_line_sets_cover_the_lines() -> None:
    lines = nuclide_line_set("Tl-208")
    assert lines.energy_kev.size == nuclide_lines("Tl-208").energy_kev.size
    assert lines.direct.single.shape == (lines.energy_kev.size, lines.direct.several.shape[1])
