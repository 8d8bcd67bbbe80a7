"""Air kerma of the thorium series beside a point.

Source: photon lines of DDEP folded with NIST SRD 126 mu_en/rho of air, worked out outside the project.
"""

from __future__ import annotations

import pytest

from truekev.errors import OutOfRangeError
from truekev.safety.dose_rate import (
    air_kerma_constant,
    air_kerma_rate_ngy_h,
    beta_contact_msv_h,
)
from truekev.sources.components import aged_bq


def test_thorium_in_equilibrium() -> None:
    constant = air_kerma_constant(aged_bq("Th-232"), "Th-232")
    assert constant.ugy_m2_h_mbq.value == pytest.approx(0.268, rel=0.03)
    percent = {name: 100 * share for name, share in constant.shares.items()}
    for name, expected in (("Tl-208", 48), ("Ac-228", 40), ("Pb-212", 7), ("Bi-212", 5)):
        assert percent[name] == pytest.approx(expected, abs=1)


@pytest.mark.parametrize(("nuclide", "constant"), [("Cs-137", 0.0769), ("Co-60", 0.306)])
def test_everyday_sources(nuclide: str, constant: float) -> None:
    assert air_kerma_constant({nuclide: 1.0}, nuclide).ugy_m2_h_mbq.value == pytest.approx(constant, rel=0.01)


@pytest.mark.parametrize(("distance_cm", "ngy_h"), [(10, 27), (1, 2700)])
def test_a_kilobecquerel(distance_cm: float, ngy_h: float) -> None:
    activities = {name: 1000 * ratio for name, ratio in aged_bq("Th-232").items()}
    assert air_kerma_rate_ngy_h(activities, distance_cm).value == pytest.approx(ngy_h, rel=0.05)


def test_betas_outdo_photons_at_contact() -> None:
    activities = {name: 4000 * ratio for name, ratio in aged_bq("Th-232").items()}
    assert beta_contact_msv_h(4000.0)[0] * 1e6 > air_kerma_rate_ngy_h(activities, 1.0).value


@pytest.mark.parametrize("distance", [0.0, 0.99, 1e6, float("nan")])
def test_no_point_that_close(distance: float) -> None:
    with pytest.raises(OutOfRangeError, match="no point"):
        air_kerma_rate_ngy_h({"Cs-137": 1.0}, distance)
