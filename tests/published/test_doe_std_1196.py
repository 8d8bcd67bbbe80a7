"""Inhalation coefficients, a second source.

Source: DOE-STD-1196-2011 Table A-2 (public transcription), adult, type S.
"""

from __future__ import annotations

import pytest

from truekev.safety.intake import dose_coefficient_sv_bq


@pytest.mark.parametrize(("nuclide", "sv_bq"), [("Th-232", 2.48e-5), ("Th-228", 3.97e-5), ("Ra-228", 1.61e-5)])
def test_second_source(nuclide: str, sv_bq: float) -> None:
    assert dose_coefficient_sv_bq("inhalation", nuclide, "S") == pytest.approx(sv_bq, rel=0.03)
