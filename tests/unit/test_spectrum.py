"""Spectrum, ClaimedScale, durations, and polynomial text."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import OutOfRangeError
from truekev.spectra.claims import moved_coefficients, polynomial_of_text, polynomial_text
from truekev.spectra.durations import iso_duration, seconds_of_iso, seconds_of_text
from truekev.spectra.spectrum import ClaimedScale, Spectrum

FLOATS = st.floats(-1e6, 1e6)


@pytest.mark.parametrize("counts", [[], [[1.0]], [1.0, -1e-9], [np.nan], [np.inf]])
def test_counts_that_are_no_counts(counts: list[float]) -> None:
    with pytest.raises(OutOfRangeError, match="counts"):
        Spectrum(np.array(counts))


@pytest.mark.parametrize("name", ["live_time_s", "real_time_s", "counting_time_s", "overflow"])
def test_times_and_overflow_are_not_negative(name: str) -> None:
    assert getattr(Spectrum(np.ones(3), **{name: 0.0}), name) == 0
    for value in (-1e-9, np.nan, np.inf):
        with pytest.raises(OutOfRangeError, match=name):
            Spectrum(np.ones(3), **{name: value})


def test_roles_and_variance_are_checked() -> None:
    with pytest.raises(OutOfRangeError, match="role"):
        Spectrum(np.ones(3), role="sample")
    with pytest.raises(OutOfRangeError, match="variance"):
        Spectrum(np.ones(3), variance=np.ones(2))
    with pytest.raises(ValueError, match="read-only"):
        Spectrum(np.ones(3)).counts[0] = 5


def test_the_last_channel_stands_out_only_when_it_does() -> None:
    counts = np.full(64, 4.0)
    assert not Spectrum(counts).last_channel_stands_out
    counts[-1] = 15  # five standard deviations above 4 is 15.2
    assert not Spectrum(counts).last_channel_stands_out
    counts[-1] = 17
    assert Spectrum(counts).last_channel_stands_out
    # four times the channels before it is not enough where they are full
    assert not Spectrum(np.append(np.full(63, 1000.0), 4000.0)).last_channel_stands_out
    assert Spectrum(np.append(np.full(63, 1000.0), 4001.0)).last_channel_stands_out


@settings(max_examples=200, deadline=None, derandomize=True)
@given(seconds=st.floats(0, 3e10))
def test_durations_read_back(seconds: float) -> None:
    assert seconds_of_iso(iso_duration(seconds), file="", field="time") == seconds
    assert seconds_of_text(f"{seconds!r} s", file="", field="time") == seconds


@settings(max_examples=200, deadline=None, derandomize=True)
@given(coefficients=st.lists(FLOATS, min_size=2, max_size=6))
def test_polynomial_text_reads_back(coefficients: list[float]) -> None:
    assert polynomial_of_text(polynomial_text(coefficients)) == tuple(coefficients)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(coefficients=st.lists(st.floats(-100, 100), min_size=1, max_size=5), by=st.floats(-1, 1), at=st.floats(0, 50))
def test_moved_coefficients(coefficients: list[float], by: float, at: float) -> None:
    moved = ClaimedScale(moved_coefficients(coefficients, by)).energy_kev(at)
    assert moved == pytest.approx(ClaimedScale(tuple(coefficients)).energy_kev(at + by), rel=1e-9, abs=1e-3)
