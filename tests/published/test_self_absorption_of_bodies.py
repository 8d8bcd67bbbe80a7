"""Self-absorption of source bodies: uniform slab (1 - exp(-x))/x from NIST SRD 126 (seen in roentgen 2.4.0).

Thoria of 1 mm and 10.0 g/cm3; tungsten of 2.4 mm and 19.3 g/cm3, at 77.1, 238.6, 583.2 and 2614.5 keV.
"""

from __future__ import annotations

import pytest

from truekev.sources.bodies import body_parts
from truekev.sources.escape import escape_rays
from truekev.sources.source import Body

ENERGIES = (77.1, 238.6, 583.2, 2614.5)


@pytest.mark.parametrize(
    ("name", "thickness_mm", "expected", "tolerance"),
    [
        ("thoria", 1.0, (0.309, 0.709, 0.933, 0.978), 0.01),
        ("tungsten", 2.4, (0.025, 0.376, 0.778, 0.910), 0.015),
    ],
)
def test_slab(name: str, thickness_mm: float, expected: tuple[float, ...], tolerance: float) -> None:
    body = body_parts(Body("disc", name, diameter_mm=400.0, length_mm=thickness_mm))
    share, u = escape_rays(body, towards=(0.0, 0.0, 1.0), n_rays=400_000).escape(ENERGIES)
    for found, statistical, published in zip(share, u, expected, strict=True):
        # the published figures are rounded to three decimals
        assert abs(found - published) < tolerance * published + 0.0005 + 2 * statistical
