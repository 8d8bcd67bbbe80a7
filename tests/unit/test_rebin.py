"""Rebinning conserves counts; merging; slices."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import InputError, OutOfRangeError
from truekev.spectra.rebin import merge_counts, merge_spectrum, rebin_counts
from truekev.spectra.slices import sum_of_slices
from truekev.spectra.spectrum import ClaimedScale, Spectrum

STEPS = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=30)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(old=STEPS, new=STEPS, offset=st.floats(-500, 500), seed=st.integers(0, 2**32 - 1))
def test_rebinning_conserves_counts_and_variance(old: list[float], new: list[float], offset: float, seed: int) -> None:
    edges = np.concatenate([[0.0], np.cumsum(old)])
    target = offset + np.concatenate([[0.0], np.cumsum(new)])
    counts = 10.0 ** np.random.default_rng(seed).uniform(-6, 12, len(old))
    result = rebin_counts(counts, edges, target)
    assert result.counts.sum() + result.below + result.above == pytest.approx(counts.sum(), rel=1e-12)
    assert np.all(result.counts >= 0)
    # Poisson variance is shared as the counts are
    assert result.variance == pytest.approx(result.counts)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(steps=STEPS, seed=st.integers(0, 2**32 - 1))
def test_finer_and_back_is_the_same(steps: list[float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = np.concatenate([[0.0], np.cumsum(steps)])
    counts = rng.poisson(50, len(steps)).astype(float)
    finer = np.union1d(edges, rng.uniform(0, edges[-1], 20))
    there = rebin_counts(counts, edges, finer, variance=counts + 1)
    back = rebin_counts(there.counts, finer, edges, variance=there.variance)
    assert back.counts == pytest.approx(counts, rel=1e-12, abs=1e-9)
    assert back.variance == pytest.approx(counts + 1, rel=1e-12)


def test_rebinning_by_hand() -> None:
    # channels of 10 and 20 counts on [0, 1, 2]; new edges 0.5, 1.25, 3
    result = rebin_counts([10, 20], [0, 1, 2], [0.5, 1.25, 3])
    assert result.counts == pytest.approx([5 + 5, 15])
    assert (result.below, result.above) == (5, 0)


@pytest.mark.parametrize(
    ("edges", "new_edges"),
    [([0, 1], [0, 1]), ([0, 1, 1], [0, 1]), ([0, 1, 2], [1]), ([0, 1, 2], [0, np.nan]), ([0, 1, np.inf], [0, 1])],
)
def test_edges_that_do_not_fit_are_refused(edges: list[float], new_edges: list[float]) -> None:
    with pytest.raises(OutOfRangeError):
        rebin_counts([1, 2], edges, new_edges)


def test_merging() -> None:
    assert merge_counts(np.arange(6), [0, 1, 4]).tolist() == [0, 6, 9]
    for starts in ([], [0, 0], [-1, 2], [6]):
        with pytest.raises(OutOfRangeError):
            merge_counts(np.arange(6), starts)
    scale = ClaimedScale((3.0, 9.0, 0.01), "as found")
    spectrum = Spectrum(
        np.arange(12), claimed_scale=scale, variance=np.arange(12) + 1, background=Spectrum(np.ones(12))
    )
    merged = merge_spectrum(spectrum, 4)
    assert merged.counts.tolist() == [6, 22, 38]
    assert merged.variance is not None
    assert merged.variance.tolist() == [10, 26, 42]
    assert merged.background is not None
    assert merged.background.counts.tolist() == [4, 4, 4]
    assert merged.claimed_scale is not None
    assert merged.claimed_scale.energy_kev(merged.edges) == pytest.approx(scale.energy_kev(spectrum.edges[::4]))
    with pytest.raises(OutOfRangeError, match="divisor"):
        merge_spectrum(spectrum, 5)


def test_points_follow_merging() -> None:
    scale = ClaimedScale((0.0, 1.0), "table", ((-0.5, 1.0), (3.5, 7.0), (7.5, 20.0)))
    spectrum = Spectrum(np.arange(8), claimed_scale=scale)
    merged = merge_spectrum(spectrum, 4)
    assert merged.claimed_scale is not None
    assert merged.claimed_scale.energy_kev(merged.edges) == pytest.approx([1.0, 7.0, 20.0])


def _slice(minute: int) -> Spectrum:
    start = datetime(2026, 3, 2, 9, tzinfo=UTC) + timedelta(minutes=minute)
    scale = ClaimedScale((1.0, 9.0))
    return Spectrum(
        np.arange(4) + minute, live_time_s=59.0, real_time_s=60.0, start=start, overflow=1, claimed_scale=scale
    )


def test_the_sum_of_slices() -> None:
    total = sum_of_slices([_slice(0), _slice(1), _slice(3)])
    assert total.counts.tolist() == [4, 7, 10, 13]
    assert (total.live_time_s, total.real_time_s, total.counting_time_s) == (177, 180, None)
    assert total.overflow == 3
    assert total.start == _slice(0).start
    assert total.claimed_scale == ClaimedScale((1.0, 9.0))
    assert len(total.slices) == 3


def test_slices_that_differ_in_scale_or_lack_a_time() -> None:
    other = replace(_slice(1), claimed_scale=None, live_time_s=None, variance=np.full(4, 9.0))
    total = sum_of_slices([_slice(0), other])
    assert total.claimed_scale is None
    assert "different energy scales" in total.notes[-1]
    assert total.live_time_s is None
    assert total.variance is not None
    assert total.variance.tolist() == [9, 10, 11, 12]


@pytest.mark.parametrize(
    ("slices", "match"),
    [
        ([], "no spectrum"),
        ([_slice(1), _slice(0)], "starts before"),
        ([_slice(0), replace(_slice(0), start=_slice(0).start)], "still counts"),
        ([_slice(0), Spectrum(np.ones(5))], "5 channels"),
        ([replace(_slice(0), instrument="a"), replace(_slice(1), instrument="b")], "of instrument 'b'"),
        ([replace(_slice(0), role="background"), _slice(1)], "slice 2"),
        ([_slice(0), replace(_slice(1), rebinned=True)], "redistributed"),
        ([_slice(0), replace(_slice(1), start=datetime(2026, 3, 2, 9, 1))], "time zone"),
    ],
)
def test_what_are_no_slices_is_refused(slices: list[Spectrum], match: str) -> None:
    with pytest.raises(InputError, match=match):
        sum_of_slices(slices)
