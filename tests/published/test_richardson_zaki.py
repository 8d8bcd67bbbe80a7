"""Settling in a crowd.

Source: a published exercise (curioustab 78014); exponents of Richardson and Zaki 1954, from memory.
"""

from __future__ import annotations

import pytest

from truekev.bench.settling import (
    hindered_velocity_m_s,
    richardson_zaki_exponent,
)


def test_richardson_zaki_exercise() -> None:
    # hindered 4.44 µm/s at 30 % solids with n = 4.5: terminal 22.1 µm/s
    assert hindered_velocity_m_s(22.1e-6, 0.30, 4.5) == pytest.approx(4.44e-6, rel=5e-3)


def test_richardson_zaki_exponents() -> None:
    assert richardson_zaki_exponent(0.01) == pytest.approx(4.65, abs=0.05)
    assert richardson_zaki_exponent(1000) == pytest.approx(2.39, abs=0.05)
    assert 2.39 < richardson_zaki_exponent(50) < richardson_zaki_exponent(0.5) < 4.65
