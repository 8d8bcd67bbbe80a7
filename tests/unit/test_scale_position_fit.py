"""The light model fitted to places: a known shape comes back, outliers fall out, spectra keep their own gains."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from truekev.errors import FitError
from truekev.scale.light import LightCurve, Pulse
from truekev.scale.position_fit import Place, fit_places

CURVE = LightCurve("made up", (15.0, 60.0, 122.0, 662.0, 1400.0, 2700.0), (1.8, 5.4, 8.0, 0.0, -20.0, -50.0))
TRUTH = Pulse(CURVE, -1.0, 300.0, 1.15, 0.018)
START = Pulse(CURVE, 0.0, 310.0)
LINES = np.array([59.5, 122.0, 239.0, 338.0, 583.0, 911.0, 1461.0, 2614.5])
U = 0.15  # channels


def _places(pulse: Pulse, rng: np.random.Generator, *, spectrum: int = 0, lines: np.ndarray = LINES) -> list[Place]:
    found = pulse.channel(lines) + U * rng.normal(size=lines.size)
    return [Place(spectrum, float(e), 0.0, float(c), U) for e, c in zip(lines, found, strict=True)]


def test_a_known_shape_comes_back() -> None:
    fit = fit_places(CURVE, _places(TRUTH, np.random.default_rng(1)), [START])
    found = fit.pulses[0]
    np.testing.assert_allclose(found.channel(LINES), TRUTH.channel(LINES), rtol=2.5e-3, atol=0.3)
    assert all(fit.used)
    assert fit.chi2 < 30


def test_stated_uncertainty_holds() -> None:
    between = np.array([80.0, 180.0, 450.0, 700.0, 1200.0, 2000.0])
    pulls = []
    for seed in range(60):
        fit = fit_places(CURVE, _places(TRUTH, np.random.default_rng(seed)), [START])
        jacobian = fit.pulses[0].jacobian(between)
        u = np.sqrt(np.einsum("ij,jk,ik->i", jacobian, fit.covariances[0], jacobian))
        pulls.append((fit.pulses[0].channel(between) - TRUTH.channel(between)) / u)
    # the floor and the priors leave room: never less than nine in ten inside two uncertainties
    assert np.mean(np.abs(pulls) < 2.0) > 0.9
    assert float(np.max(np.abs(pulls))) < 5.0


def test_the_band_opens_where_no_line_is() -> None:
    low = fit_places(CURVE, _places(TRUTH, np.random.default_rng(2), lines=np.array([59.5, 661.655])), [START])
    jacobian = low.pulses[0].jacobian(np.array([661.655, 2614.5]))
    u = np.sqrt(np.einsum("ij,jk,ik->i", jacobian, low.covariances[0], jacobian))
    relative = u / low.pulses[0].channel(np.array([661.655, 2614.5]))
    assert relative[1] > 5 * relative[0]
    miss = float(low.pulses[0].channel(2614.5) - TRUTH.channel(2614.5))
    assert abs(miss) < 2.5 * u[1]


def test_an_outlier_is_dropped() -> None:
    places = _places(TRUTH, np.random.default_rng(3))
    places[4] = replace(places[4], channel=places[4].channel + 6.0)
    fit = fit_places(CURVE, places, [START])
    assert [i for i, used in enumerate(fit.used) if not used] == [4]
    assert fit.pulls[4] > 4.0
    np.testing.assert_allclose(fit.pulses[0].channel(LINES), TRUTH.channel(LINES), rtol=3e-3, atol=0.4)


def test_at_most_a_quarter_is_dropped() -> None:
    rng = np.random.default_rng(4)
    places = [replace(p, channel=p.channel + 20.0 * rng.normal()) for p in _places(TRUTH, rng)]
    assert sum(fit_places(CURVE, places, [START]).used) >= 6


def test_spectra_keep_their_own_gains() -> None:
    rng = np.random.default_rng(5)
    gains = (300.0, 308.0, 294.0)
    # zero stays where it is in keV of light when the gain moves
    truths = [replace(TRUTH, gain=g, c0=TRUTH.c0 * g / 300.0) for g in gains]
    lines = (np.array([59.5, 661.655]), np.array([122.0, 344.3, 1408.0]), np.array([239.0, 583.0, 2614.5]))
    places = [
        p
        for j, (truth, own) in enumerate(zip(truths, lines, strict=True))
        for p in _places(truth, rng, spectrum=j, lines=own)
    ]
    fit = fit_places(CURVE, places, [replace(START, gain=g * 1.01) for g in gains], gain_spread=0.03)
    assert len(fit.pulses) == len(fit.covariances) == 3
    for found, truth in zip(fit.pulses, truths, strict=True):
        assert found.gain / fit.pulses[0].gain == pytest.approx(truth.gain / 300.0, abs=0.01)
        np.testing.assert_allclose(found.channel(LINES), truth.channel(LINES), rtol=1e-2, atol=0.4)
    assert {p.kappa for p in fit.pulses} == {fit.pulses[0].kappa}
    zeros = [p.c0 / p.gain for p in fit.pulses]
    assert zeros == pytest.approx([zeros[0]] * 3)


def test_nothing_to_fit() -> None:
    with pytest.raises(FitError, match="no line group"):
        fit_places(CURVE, [], [START])
