"""A thinned run of the study of unknown gain: nothing wrong, nothing given to a source that is not there."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from studies import unknown_gain
from tests.support.truth import is_available

pytestmark = pytest.mark.skipif(not is_available(), reason="the shared reference tables (../shared) are not here")

N_THORIUM, N_FOREIGN = 20, 10
SEED = 4242


@pytest.fixture(scope="module")
def results() -> list[dict[str, object]]:
    return [
        unknown_gain.trial(
            number,
            np.random.default_rng(np.random.SeedSequence([SEED, number])),
            n_thorium=N_THORIUM,
        )
        for number in range(N_THORIUM + N_FOREIGN)
    ]


def test_thorium_is_right_or_refused(results: list[dict[str, object]]) -> None:
    outcomes = Counter(r["outcome"] for r in results if r["kind"] == "thorium")
    assert outcomes.total() == N_THORIUM
    assert outcomes["wrong"] == 0
    assert outcomes["right"] >= N_THORIUM // 2


def test_other_sources_get_no_scale(results: list[dict[str, object]]) -> None:
    foreign = [r for r in results if r["kind"] != "thorium"]
    assert {r["kind"] for r in foreign} == {"radium", "uranium", "Cs-137", "K-40", "room alone"}
    assert [r["outcome"] for r in foreign] == ["refused"] * N_FOREIGN
    assert all(r["why"] for r in foreign)
