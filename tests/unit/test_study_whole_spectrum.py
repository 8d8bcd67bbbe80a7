"""Studies of the whole-spectrum fit, thinned: a few trials each, with rougher Monte Carlo runs of another seed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from studies import background_gain, model_truth, relock_counts, scale_inside, scale_outside, whole_unknown_gain

from truekev.scale.crystal import Crystal
from truekev.scale.light import LightCurve
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.node_response import node_response
from truekev.transport.stand import scatter_responses

SEED = 73


@pytest.fixture(scope="module", autouse=True)
def rough_runs() -> Iterator[None]:
    response = node_response(DEFAULT_DETECTOR, relative_u=0.02, seed=SEED)
    curve = LightCurve("rough", tuple(response.nodes_kev.tolist()), tuple(response.peak_d_kev.tolist()))
    crystal = Crystal("rough", curve, response)
    scatter = scatter_responses(DEFAULT_DETECTOR, histories=60_000, seed=SEED + 1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(model_truth, "other_crystal", lambda: crystal)
        patch.setattr(relock_counts, "other_crystal", lambda: crystal)
        patch.setattr(model_truth, "other_scatter", lambda: scatter)
        model_truth._parts.cache_clear()
        yield
    model_truth._parts.cache_clear()


def rng(trial: int) -> np.random.Generator:
    return np.random.default_rng([SEED, trial])


def test_inside_the_model_the_truth_lies_near_the_bound() -> None:
    rows = [scale_inside.trial(k, rng(k)) for k in range(2 * len(scale_inside.CELLS))]
    kept = [r for r in rows if "error_kev" in r]
    assert all(r["counts"] < 20_000 for r in rows if "refused" in r)
    assert len(kept) >= 10
    for r in kept:
        assert np.all(np.abs(r["error_kev"]) < 4.5 * np.array(r["u_kev"]))
    spread = np.array([np.array(r["error_kev"]) / r["bound_kev"] for r in kept])
    assert 0.5 < np.sqrt(np.mean(spread**2)) < 1.6


@pytest.mark.parametrize("case", ["scatter", "light", "lines", "room gain", "trigger"])
def test_outside_the_model_the_scale_stays_right(case: str) -> None:
    number = scale_outside.CASES.index(case)
    r = scale_outside.trial(number, rng(number))
    percent = 100 * np.abs(r["error_kev"]) / scale_outside.ENERGIES_KEV
    assert np.all(percent[1:] < 2.0)
    assert np.all(np.abs(r["error_kev"]) < 4.5 * np.array(r["u_kev"]))


@pytest.mark.parametrize("number", range(10))
def test_unknown_gain_is_right_or_refused(number: int) -> None:
    r = whole_unknown_gain.trial(number, rng(number))
    if r["word"] == "thorium-vial":
        assert r["outcome"] == "right"
    else:
        assert r["outcome"] == "refused"


def test_a_background_of_another_gain_is_found_as_well_as_is_said() -> None:
    found = background_gain.figures([background_gain.trial(number, rng(number)) for number in range(12)])
    assert found["slope"] == pytest.approx(found["expected"], abs=0.3)
    assert found["pull"] < 1.8
    assert found["strength"] == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize("number", range(2))
def test_two_thousand_counts_give_the_gain(number: int) -> None:
    r = relock_counts.trial(number, rng(number))
    assert abs(r["ratio_percent"]) < 4 * r["u_ratio_percent"]
    assert r["u_ratio_percent"] < 1.5
    assert r["above"] == pytest.approx(2_000, rel=0.1)
