"""Mass energy-absorption coefficient of air.

Source: NIST Standard Reference Database 126 (Hubbell and Seltzer, NISTIR 5632).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from truekev.errors import OutOfRangeError
from truekev.safety.dose_rate import (
    air_mu_en_rho_cm2_g,
)

SHARED = Path(__file__).resolve().parents[3] / "shared" / "check-values" / "attenuation.csv"


@pytest.mark.skipif(not SHARED.exists(), reason="the shared table of NIST SRD 126 values is not here")
def test_table_of_air() -> None:
    lines = [line for line in SHARED.read_text().splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["material"] == "air"]
    assert len(rows) > 20
    for row in rows:
        value = float(air_mu_en_rho_cm2_g(float(row["E_keV"])))
        assert value == pytest.approx(float(row["mu_en_rho_cm2_g"]), rel=2e-3), row


@pytest.mark.parametrize("energy", [1.0, 9.9, 30_000.0])
def test_outside_the_table(energy: float) -> None:
    with pytest.raises(OutOfRangeError, match="20,000 keV"):
        air_mu_en_rho_cm2_g(energy)
