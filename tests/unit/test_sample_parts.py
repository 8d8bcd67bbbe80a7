"""Parts of reading samples: candidates, bins, templates, the response of a body, limits of what is not recognised."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from tests.support.made_samples import made_count, sample_scale, templates

from truekev.errors import InputError, UnknownNameError
from truekev.nuclides.history import YEAR_S
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.samples.binned import binned, smoothed
from truekev.samples.candidates import candidate, candidates, lines_of, room_parts
from truekev.samples.reach import not_recognised
from truekev.samples.sample_file import POINT_SAMPLE
from truekev.samples.sample_response import relative_u_of_distance
from truekev.samples.source_record import lines_in_time, source_toml
from truekev.samples.spectrum_fit import covariance_at, fit_spectrum
from truekev.samples.spectrum_model import SpectrumModel
from truekev.transport.detector import DEFAULT_DETECTOR


def test_candidates_are_found_by_what_people_write() -> None:
    assert candidate("cs137").name == "Cs-137"
    assert candidate("Ra-226").name == "Ra-226 part"
    assert candidate("thorium").name == "Th-228 part"
    assert candidate("tungsten k x-rays").head == ""
    # not searched for on its own
    assert candidate("Sb-127").head == "Sb-127"
    with pytest.raises(UnknownNameError):
        candidate("Cs-999")
    with pytest.raises(InputError, match="no photon"):
        candidate("H-3")


def test_lines_of_a_series_segment_are_those_of_its_members() -> None:
    lines = lines_of(candidate("Th-228 part"))
    at = int(np.argmin(np.abs(lines.energy_kev - 2614.5)))
    # Tl-208 is 35.9 % of the decays of Bi-212 (DDEP)
    per_decay = max(line.intensity for line in photon_lines("Tl-208") if line.energy_kev > 2600)
    assert lines.rate[at] == pytest.approx(0.3594 * per_decay, rel=0.01)


def test_walls_keep_low_energies_back() -> None:
    (series,) = [part for part in room_parts() if "thorium" in part.name]
    bare = lines_of(candidate("Th-228 part"))
    low, high = (int(np.argmin(np.abs(bare.energy_kev - e))) for e in (77.1, 2614.5))
    a, b = (int(np.argmin(np.abs(series.energy_kev - e))) for e in (bare.energy_kev[low], bare.energy_kev[high]))
    assert series.rate[a] / series.rate[b] < 0.5 * bare.rate[low] / bare.rate[high]


def test_bins_hold_all_counts_and_background_follows_time_and_gain() -> None:
    rng = np.random.default_rng(1)
    count, room = made_count({"Co-60": 50_000.0}, 600.0, rng), made_count({}, 3000.0, rng)
    data = binned(count, sample_scale(), room)
    low, high = int(data.edges[0] + 0.5), int(data.edges[-1] + 0.5)
    assert data.counts.sum() == count.counts[low:high].sum()
    assert data.background is not None
    assert data.background.sum() == pytest.approx(room.counts[low:high].sum() / 5.0)
    # a background at 2 % more gain, laid right, is the background again
    moved = made_count({}, 3000.0, np.random.default_rng(2), gain=1.02)
    again = binned(count, sample_scale(), moved, background_gain=1.02)
    assert again.background is not None
    high_kev = data.edges[:-1] > 40
    assert again.background[high_kev].sum() == pytest.approx(data.background[high_kev].sum(), rel=0.03)


def test_smoothing_keeps_a_flat_density() -> None:
    edges = np.cumsum(np.r_[0.0, np.tile([1.0, 2.0, 3.0], 10)])
    flat = np.diff(edges) * 7.0
    assert smoothed(flat, edges) == pytest.approx(flat)
    # a bin's own count is in its neighbours' figures only: no weight may go with a residual
    one = flat.copy()
    one[20] += 50.0
    moved = smoothed(one, edges) - smoothed(flat, edges)
    assert moved[20] == pytest.approx(0.0)
    assert moved[19] > 0
    assert moved[21] > 0


def test_peak_of_a_template_has_the_efficiency_of_the_transport() -> None:
    of = templates()
    i = of.names.index("Mn-54")
    lines = lines_of(candidate("Mn-54"))
    rates = of.peak_rates(lines, of.bare)
    # one line of 834.8 keV; the total of the template is that peak and a larger continuum
    assert 2.0 < of.main[int(of.bare), i, -1] / rates.sum() < 12.0
    assert of.peak_rates(lines, of.bare + 2.0).sum() < rates.sum()
    assert of.peak_rates(lines, of.bare - 2.0).sum() < rates.sum()


def test_limits_grow_with_the_room_and_shrink_with_time() -> None:
    limits = []
    for seconds, room in ((600.0, 1.0), (6000.0, 1.0), (600.0, 4.0)):
        rng = np.random.default_rng(9)
        count, background = made_count({}, seconds, rng, room=room), made_count({}, 2 * seconds, rng, room=room)
        model = SpectrumModel(binned(count, sample_scale(), background), sample_scale(), templates())
        fit = fit_spectrum(model, [])
        column = model.columns([model.templates.names.index("Cs-137")], fit.shared)[0]
        one = not_recognised("Cs-137", "Bq", fit, column, 0.1)
        assert one.decision_threshold is not None
        assert one.detection_limit is not None
        assert 1.9 < one.detection_limit / one.decision_threshold < 3.0
        limits.append(one.detection_limit)
    assert limits[1] < 0.5 * limits[0] < 0.5 * limits[2]


def test_uncertainty_at_a_true_value_grows_with_it() -> None:
    rng = np.random.default_rng(12)
    count, background = made_count({"Cs-137": 3000.0}, 1200.0, rng), made_count({}, 2400.0, rng)
    model = SpectrumModel(binned(count, sample_scale(), background), sample_scale(), templates())
    fit = fit_spectrum(model, ["Cs-137"])
    u = [float(covariance_at(model, fit, np.array([true]))[0, 0]) for true in (0.0, 3000.0, 30_000.0)]
    assert u[0] < u[1] < u[2]


def test_distance_counts_twice() -> None:
    far = replace(POINT_SAMPLE, distance_mm=Measured(200.0, 2.0, "mm"))
    # 2 u / d of the inverse square, to the middle of a crystal of 10 mm behind 0.5 mm
    assert relative_u_of_distance(far, DEFAULT_DETECTOR) == pytest.approx(2 * 2.0 / 205.5)


def test_lines_of_a_source_in_ten_years() -> None:
    activities = {"Cs-137": 1000.0}
    (line,) = [one for one in lines_in_time(activities) if one.energy_kev > 600]
    half_life_s = 30.05 * YEAR_S  # DDEP
    assert line.photons_per_s[10] / line.photons_per_s[0] == pytest.approx(0.5 ** (10 * YEAR_S / half_life_s), rel=1e-3)


def test_a_record_without_activity_is_refused() -> None:
    with pytest.raises(InputError, match="no activity above zero"):
        source_toml("vial", date(2026, 11, 25), 0.0, {"Th-228": Measured(0.0, 1.0, "Bq")}, None, [])


def test_every_candidate_has_a_template() -> None:
    of = templates()
    assert {one.name for one in candidates()} <= set(of.names)
    assert np.all(np.isfinite(of.main))
    assert np.all(np.diff(of.main, axis=2) > -1e-12)
