"""Control charts: limits at 3 and 2 standard deviations and nine points on one side.

ISO 7870-2:2023, clauses 4.4 and 4.5 (titles seen; numbers from normal theory). Run lengths with supplementary rules: C.
W. Champ and W. H. Woodall, "Exact results for Shewhart control charts with supplementary runs rules", Technometrics 29
(1987) 393 (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from truekev.quantity import Measured
from truekev.samples.control import ACTION_SIGMA, RUN_OF, WARNING_SIGMA, control_chart
from truekev.samples.run_length import average_run_length, chance_of_run


def test_limits_and_mean_run_lengths_to_a_false_alarm() -> None:
    assert (ACTION_SIGMA, WARNING_SIGMA, RUN_OF) == (3.0, 2.0, 9)
    assert average_run_length(limit_sigma=ACTION_SIGMA) == pytest.approx(370.4, abs=0.1)
    assert average_run_length(limit_sigma=WARNING_SIGMA) == pytest.approx(22.0, abs=0.1)


def test_chance_of_nine_on_one_side() -> None:
    assert chance_of_run(9) == 0.00390625
    assert chance_of_run(9) == pytest.approx(0.0039, abs=5e-5)


def test_limits_with_runs_of_eight() -> None:
    """152.73 points: limits at 3 standard deviations and eight in a row on one side (Champ and Woodall)."""
    assert average_run_length(run_of=8) == pytest.approx(152.73, abs=0.01)


def test_nine_on_one_side_is_a_change_and_eight_is_none() -> None:
    first = [Measured(100.0 + d, 0.0) for d in np.tile([-1.0, 1.0, -2.0, 2.0], 10)]
    steady = [Measured(100.5, 0.0)] * 8
    assert control_chart("gain", [*first, *steady], n_first=40).verdict == "unchanged"
    found = control_chart("gain", [*first, *steady, Measured(100.5, 0.0)], n_first=40)
    assert (found.verdict, found.changed_at, found.beyond_action) == ("changed", 48, ())
