"""Conductivity of sodium hydroxide solutions and of the bath.

Source: from memory (CRC table of electrical conductivity up to 5 %; the maximum near 15 % and the bath's values
without a source).
"""

from __future__ import annotations

import pytest

from truekev.bench import solution as sn


@pytest.mark.parametrize(("percent", "ms_cm"), [(0.5, 24.8), (1, 48.6), (2, 93.1), (5, 206)])
def test_conductivity_from_memory(percent: float, ms_cm: float) -> None:
    assert 1000 * sn.hydroxide_conductivity_s_cm(percent) == pytest.approx(ms_cm, rel=0.05)


def test_conductivity_peaks_near_fifteen_percent() -> None:
    # from memory, no source: 350 to 410 mS/cm near 15 %
    values = {p: sn.hydroxide_conductivity_s_cm(p) for p in range(0, 41)}
    peak = max(values, key=lambda p: values[p])
    assert 13 <= peak <= 19
    assert 0.350 <= values[peak] <= 0.410


@pytest.mark.parametrize(("hydroxide", "tungstate", "kappa"), [(5.0, 0.0, 0.40), (2.0, 1.5, 0.23)])
def test_bath_conductivity_band(hydroxide: float, tungstate: float, kappa: float) -> None:
    # about 0.40 falling to 0.23 S/cm, ± 0.05; from memory
    assert sn.bath_conductivity_s_cm(hydroxide, tungstate, 30.0) == pytest.approx(kappa, abs=0.05)
