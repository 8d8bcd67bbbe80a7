"""Transport exempt limits of the thorium series.

Source: 49 CFR 173.436 (Ac-228); IAEA SSR-6 Table 2 (the others, from memory).
"""

from __future__ import annotations

import pytest

from truekev.safety.rules import exemption_values


@pytest.mark.parametrize(
    ("nuclide", "bq_g", "bq"), [("Th(nat)", 1, 1e3), ("Th-232", 10, 1e4), ("Th-228", 1, 1e4), ("Ac-228", 10, 1e6)]
)
def test_transport_limits(nuclide: str, bq_g: float, bq: float) -> None:
    value = {v.nuclide: v for v in exemption_values("transport")}[nuclide]
    assert (value.concentration_bq_g, value.activity_bq) == (bq_g, bq)
