"""Polynomials for the instrument: near the best possible, and honest about what is left."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog
from tests.support.made_scale import made_scale, used_group

from truekev.errors import OutOfRangeError
from truekev.scale.polynomials import instrument_polynomial, peak_polynomials


def _least_possible(energy: np.ndarray, channel: np.ndarray, degree: int) -> float:
    """Smallest possible largest error over sqrt(E): the minimax polynomial as a linear program (scipy, HiGHS)."""
    x = channel / channel.max()
    vander = np.polynomial.polynomial.polyvander(x, degree) / np.sqrt(energy)[:, None]
    target = np.sqrt(energy)
    above = np.column_stack([vander, -np.ones(x.size)])
    below = np.column_stack([-vander, -np.ones(x.size)])
    solved = linprog(
        np.append(np.zeros(degree + 1), 1.0),
        A_ub=np.vstack([above, below]),
        b_ub=np.concatenate([target, -target]),
        bounds=[(None, None)] * (degree + 1) + [(0, None)],
    )
    assert solved.success
    return float(solved.x[-1])


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_near_minimax(degree: int) -> None:
    scale = made_scale()
    polynomial = instrument_polynomial(scale, degree)
    energy = np.geomspace(polynomial.low_kev, polynomial.high_kev, 1000)
    channel = scale.channel(energy)
    error = np.polynomial.polynomial.polyval(channel, polynomial.coefficients_kev) - energy
    reached = float(np.max(np.abs(error) / np.sqrt(energy)))
    assert reached <= 1.1 * _least_possible(energy, channel, degree)
    # what it says of itself is so
    assert abs(polynomial.largest_error_kev) == pytest.approx(float(np.abs(error).max()), rel=0.02)
    at = np.polynomial.polynomial.polyval(scale.channel(polynomial.at_kev), polynomial.coefficients_kev)
    assert float(at) - polynomial.at_kev == pytest.approx(polynomial.largest_error_kev, abs=1e-6)


def test_a_higher_degree_is_nearer() -> None:
    errors = [abs(instrument_polynomial(made_scale(), degree).largest_error_kev) for degree in (1, 2, 3)]
    assert errors[0] > errors[1] > errors[2]


@pytest.mark.parametrize("degree", [-1, 0, 4])
def test_other_degrees_are_refused(degree: int) -> None:
    with pytest.raises(OutOfRangeError, match="degree 1, 2 or 3"):
        instrument_polynomial(made_scale(), degree)


def test_the_range_ends_with_the_spectrum() -> None:
    polynomial = instrument_polynomial(made_scale(n_channels=256), 2)
    assert polynomial.high_kev == pytest.approx(float(made_scale(256).edges_kev()[-1]))
    assert polynomial.high_kev < 900


def test_a_range_outside_the_spectrum() -> None:
    with pytest.raises(OutOfRangeError, match="covers no energy"):
        instrument_polynomial(made_scale(n_channels=256), 2, low_kev=2000.0, high_kev=2600.0)


def test_polynomials_through_groups() -> None:
    scale = made_scale()
    straight = [used_group(e) for e in (100.0, 300.0, 900.0)]
    groups = [
        type(g)(**{**g.__dict__, "channel": 2.0 + 0.3 * g.energy_kev}) for g in straight
    ]  # a proportional instrument
    one, two, three = peak_polynomials(groups, scale)
    assert one.coefficients_kev == pytest.approx((-2.0 / 0.3, 1.0 / 0.3))
    assert one.chi2 == pytest.approx(0.0, abs=1e-9)
    assert (one.dof, two.dof) == (1, 0)
    np.testing.assert_allclose(two.energy_kev([2.0 + 0.3 * 500.0]), [500.0])
    assert three.coefficients_kev == ()


def test_groups_left_out_do_not_count() -> None:
    groups = [used_group(e) for e in (100.0, 300.0, 900.0)]
    with_outlier = [*groups, used_group(600.0, used=False, shift=30.0)]
    assert peak_polynomials(groups, made_scale()) == peak_polynomials(with_outlier, made_scale())
