"""Flammable limits of hydrogen in air.

Sources: chemicals 1.5.2 (LFL, UFL); ASU hydrogen safety page.
"""

from __future__ import annotations

import pytest
from chemicals import LFL, UFL

from truekev.bench.plan import LOWER_FLAMMABLE_LIMIT, air_for_hydrogen_l_min

HYDROGEN = "1333-74-0"


def test_lower_limit() -> None:
    assert pytest.approx(4.0, abs=0.1) == 100 * LOWER_FLAMMABLE_LIMIT
    assert LFL(CASRN=HYDROGEN) == pytest.approx(LOWER_FLAMMABLE_LIMIT, abs=0.001)


def test_upper_limit_is_far_above_any_mixture_at_the_cell() -> None:
    assert 0.73 <= UFL(CASRN=HYDROGEN) <= 0.79
    air = air_for_hydrogen_l_min(1.0)
    assert 1.0 / (1.0 + air) == pytest.approx(LOWER_FLAMMABLE_LIMIT / 4)
