"""What is known of the parts' strengths before a fit."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.vial_counts import CRYSTAL, LOG_GAIN, SCATTER, SHAPE, counted, sample

from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.fit_start import start_of
from truekev.scale.whole.model import pulse_of
from truekev.scale.whole.parts import BELOW_EDGE, ForwardParts, parts_of
from truekev.scale.whole.strengths import LEAST_USUAL, USUAL_SMOOTH, Start, rows_of
from truekev.spectra.rebin import rebin_counts

PULSE = pulse_of(CRYSTAL.curve, SHAPE, LOG_GAIN)


def started(counts: float = 50_000) -> Start:
    return start_of(counted("thorium-vial", "thorium-vial", counts, 3), CRYSTAL, SCATTER, PULSE, 0.08)


def usual_of(start: Start, strengths: np.ndarray, part: int) -> float:
    """Standard deviation that an equation of this part alone gives it."""
    rows, targets = rows_of(start, strengths)
    alone = [
        row for row, target in zip(rows, targets, strict=True) if np.flatnonzero(row).tolist() == [part] and not target
    ]
    assert len(alone) == 1
    return float(1.0 / alone[0][part])


def as_described(parts: ForwardParts) -> np.ndarray:
    strengths = np.zeros(len(parts.names) + 2)
    strengths[: parts.n_source] = 30_000 * parts.totals[: parts.n_source] / parts.totals[: parts.n_source].sum()
    return strengths


def test_a_part_of_which_nothing_comes_through_tells_nothing_of_scatter() -> None:
    start = started()
    strengths = as_described(start.parts)
    low = next(i for i, name in enumerate(start.parts.names) if name.endswith(BELOW_EDGE))
    assert start.parts.totals[low] < 1e-3 * start.parts.totals[: start.parts.n_source].max()
    more = strengths.copy()
    more[low] = 400.0
    scattered = [i for i, name in enumerate(start.parts.names) if name.startswith("scattered")]
    for part in scattered:
        assert usual_of(start, more, part) == pytest.approx(usual_of(start, strengths, part), rel=1e-12)
    twice = strengths.copy()
    twice[start.parts.n_source - 1] *= 2.0
    assert usual_of(start, twice, scattered[0]) == pytest.approx(2.0 * usual_of(start, strengths, scattered[0]))


def test_what_is_hardly_expected_may_be_there_all_the_same() -> None:
    start = started()
    low = next(i for i, name in enumerate(start.parts.names) if name.endswith(BELOW_EDGE))
    room = start.data.room
    assert room is not None
    own = float(start.data.counts.sum() - room.counted.sum())
    assert usual_of(start, as_described(start.parts), low) == pytest.approx(LEAST_USUAL * own)


def test_a_background_makes_no_part_larger() -> None:
    """Smooth parts are measured by what the background does not explain."""
    start = started()
    room = start.data.room
    assert room is not None
    smooth = next(i for i, name in enumerate(start.parts.names) if name.startswith("smooth"))
    own = float(start.data.counts.sum() - room.counted.sum())
    assert own < 0.95 * start.data.counts.sum()
    assert usual_of(start, as_described(start.parts), smooth) == pytest.approx(USUAL_SMOOTH * own)


def test_x_rays_below_the_edge_are_a_part_of_their_own() -> None:
    parts = parts_of(sample("cs-137"), CRYSTAL, SCATTER, with_room=False)
    low = next(i for i, name in enumerate(parts.names) if name.endswith(BELOW_EDGE))
    assert low < parts.n_source
    assert parts.usual[low] == pytest.approx(3.0)
    assert parts.line_energy_kev[parts.line_part == low].max() < 33.0


@pytest.mark.parametrize("log_ratio", [0.0, 0.03, -0.03])
def test_moved_background_is_that_of_shared_channels(log_ratio: float) -> None:
    rng = np.random.default_rng(1)
    counts = rng.poisson(50.0 * np.exp(-np.arange(1024) / 300.0)).astype(float)
    counts[-1] = 4_000.0  # overflow: stays out
    edges = np.sort(rng.choice(np.arange(1023), 100, replace=False)) - 0.5
    longer = np.concatenate((counts[:-1], np.full(60, counts[-9:-1].mean())))
    moved = 4.0 + (np.arange(longer.size + 1) - 0.5 - 4.0) * np.exp(log_ratio)
    shared = rebin_counts(longer, moved, edges, variance=longer / 3.0)
    found, variance = MeasuredBackground(counts, counts / 3.0, 0.05).between(edges, log_ratio, 4.0)
    assert found == pytest.approx(shared.counts, abs=1e-9)
    assert variance[:-10] == pytest.approx(shared.variance[:-10], abs=1e-9)


def test_bare_bins_hold_no_background() -> None:
    assert BinnedSpectrum.bare(np.arange(9.0)).further.sum() == 0.0
