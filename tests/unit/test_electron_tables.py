from __future__ import annotations

import numpy as np
import pytest

from truekev.matter.absorption import radiation_yield
from truekev.matter.electrons import csda_range_g_cm2
from truekev.matter.materials import material
from truekev.matter.scintillators import scintillator
from truekev.transport.electron_tables import PHOTON_MIN_KEV, electron_tables


@pytest.mark.parametrize("name", ["CsI", "tungsten", "ThO2", "water"])
def test_bremsstrahlung_photons_carry_the_radiation_yield(name: str) -> None:
    """Photons above 10 keV, one by one, carry what continuous slowing down radiates, softer ones (some 2 %) left out.

    The energy radiated from T down, Y, obeys dY/dN = <k + Y(T - k)> - Y(T): each photon takes its energy off the track.
    """
    tables = electron_tables([material(name)], scintillator("CsI(Tl)"))
    kev, number = tables.node[0, :, 0], tables.node[0, :, 6]
    top = int(np.searchsorted(kev, 2000.0))
    radiated = np.zeros(top + 1)

    def gain(i: int) -> float:
        k = PHOTON_MIN_KEV * (max(kev[i], PHOTON_MIN_KEV) / PHOTON_MIN_KEV) ** tables.brems[0, i]
        middle = np.minimum(0.5 * (k[1:] + k[:-1]), kev[i])
        after = np.interp(kev[i] - middle, kev[: i + 1], radiated[: i + 1])
        return float(np.mean(middle + after) - radiated[i])

    for i in range(1, top + 1):
        step = number[i] - number[i - 1]
        before = gain(i - 1)
        radiated[i] = radiated[i - 1] + step * before
        radiated[i] = radiated[i - 1] + 0.5 * step * (before + gain(i))
    whole = float(radiation_yield(material(name), kev[top])) * kev[top]
    assert radiated[-1] / whole == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("name", ["CsI", "water"])
def test_soft_range_exceeds_the_whole_one_and_joins_it_at_low_energy(name: str) -> None:
    tables = electron_tables([material(name)], scintillator("CsI(Tl)"))
    kev, range_mm = tables.node[0, :, 0], tables.node[0, :, 1]
    csda_mm = csda_range_g_cm2(material(name), kev) / material(name).density_g_cm3 * 10
    ratio = range_mm / csda_mm
    assert np.all(ratio[kev > 300] > 1.0)
    low = (kev > 20) & (kev < 150)
    np.testing.assert_allclose(ratio[low], 1.0, atol=0.02)
    assert ratio.max() < 1.5
    assert np.all(np.diff(tables.node[0, :, 1:3], axis=0) >= 0)


def test_light_follows_the_scintillator() -> None:
    crystal = scintillator("NaI(Tl)")
    tables = electron_tables([crystal.material], crystal)
    np.testing.assert_allclose(tables.light, crystal.excess_light_kev(tables.node[0, :, 0]))
