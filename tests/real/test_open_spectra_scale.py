"""The scale on open spectra (SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md): from Eu-152 alone to others.

Line energies: evaluated (DDEP, ENSDF), in the program's tables, checked by tests/published. The figures beside the
polynomials and the as-found scale: `python -m studies.open_spectra`.
"""

from __future__ import annotations

import numpy as np
import pytest
from studies.open_spectra import FOLDER, GroupReading, base, interval_above, readings, relocked

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")


def _nearest(name: str, energy_kev: float, *, moved: bool) -> GroupReading:
    found = min(readings(name, moved=moved), key=lambda r: abs(r.energy_kev - energy_kev))
    # 778.9 and 867.4 keV are one group to this resolution, as are 1408.0 and 1299.1
    assert abs(found.energy_kev / energy_kev - 1) < 0.04, f"no group near {energy_kev} keV was found"
    return found


def test_a_scale_without_a_hint_of_the_gain() -> None:
    counted, calibration = base()
    scale = calibration.scales[0]
    assert counted.counted.background is None
    # SOURCES.md: the owner's scale ends at 2949 keV, and is 3 to 4 % low up there
    assert 2850 < float(scale.edges_kev()[-1]) < 3250
    assert sum(group.used for group in scale.groups) >= 6


@pytest.mark.parametrize("energy_kev", [121.8, 344.3, 778.9, 1408.0])
def test_eu152_lines_of_a_later_spectrum(energy_kev: float) -> None:
    assert abs(_nearest("eu152-10min", energy_kev, moved=False).error_percent) < 2.0


@pytest.mark.parametrize("energy_kev", [295.2, 351.9, 609.3, 1120.3, 1764.5])
def test_lines_of_radon_progeny_are_found(energy_kev: float) -> None:
    assert _nearest("radon-progeny-1h", energy_kev, moved=True).in_gain


@pytest.mark.parametrize("name", ["radon-progeny-1h", "thorium-bearing-norm-2h"])
def test_groups_of_other_sources_after_a_relock(name: str) -> None:
    above = [r for r in readings(name) if r.energy_kev > 200]
    assert len(above) >= 5
    # 2.5 %, widened by twice the stated uncertainty of the reading, as held-out lines are judged; four weak groups
    # exceed the bare 2.5 % (docs/validation/open-spectra.md)
    off = {
        r.name: round(r.error_percent, 1) for r in above if abs(r.error_percent) > 2.5 + 200 * r.u_kev / r.energy_kev
    }
    assert not off


@pytest.mark.parametrize("name", ["cs137-1h", "radon-progeny-1h", "thorium-bearing-norm-2h"])
def test_stated_intervals_hold(name: str) -> None:
    # nine in ten of those above 120 keV
    above = [r for r in readings(name) if r.energy_kev > 120]
    assert sum(r.inside for r in above) >= 0.9 * len(above)


@pytest.mark.parametrize("name", ["cs137-1h", "radon-progeny-1h", "thorium-bearing-norm-2h"])
def test_the_gain_of_the_other_epoch(name: str) -> None:
    # SOURCES.md: the Eu-152 spectra have a gain about 2.6 % lower; inside an epoch gains agree to about 0.8 %
    assert relocked(name)[1].gain_ratio.value == pytest.approx(1.026, abs=0.015)


def test_am241_and_cs137_say_nothing_wrong_above_700_kev() -> None:
    above = interval_above()
    if isinstance(above, str):
        assert "What would help:" in above
        return
    energy, says, u = np.array(above).T
    assert np.all(energy >= 700)
    assert np.all(np.abs(says - energy) <= 1.96 * u)
    # what two low lines cannot know is said
    assert u[-1] / energy[-1] > 0.02
