"""Critical level, detection limit and the exact test of pairs.

L. A. Currie, "Limits for qualitative detection and quantitative determination", Anal. Chem. 40 (1968) 586: the formula
as quoted on a radiometrics page of the University of Liverpool; set-up of 200 background counts after its Figure 1
(10 min and 10 % read there, 20 counts a minute from memory). Pairs of whole counts: L. A. Currie, chapter on "Applied
modeling and computations in nuclear science", ACS Symposium Series (2006), excerpt. Numbers worked out by hand from the
formulas with k = 1.644854.
"""

from __future__ import annotations

import math

import pytest

from truekev.samples.currie import currie_critical_level, currie_detection_limit
from truekev.samples.low_counts import pair_test, smallest_recognised_gross


@pytest.mark.parametrize("n_background", [10, 100, 200, 5000])
def test_quoted_formula(n_background: int) -> None:
    quoted = 2.71 + 4.65 * math.sqrt(n_background)
    assert currie_detection_limit(n_background) == pytest.approx(quoted, abs=0.005 * math.sqrt(n_background) + 0.006)


@pytest.mark.parametrize(
    ("n_background", "well_known", "critical", "detectable"),
    [(100, False, 23.26, 49.23), (200, False, 32.90, 68.50), (200, True, 23.26, 49.23)],
)
def test_levels(n_background: int, well_known: bool, critical: float, detectable: float) -> None:
    assert currie_critical_level(n_background, well_known_blank=well_known) == pytest.approx(critical, abs=0.01)
    assert currie_detection_limit(n_background, well_known_blank=well_known) == pytest.approx(detectable, abs=0.01)


def test_ten_minutes_at_ten_per_cent_efficiency() -> None:
    """68.5 disintegrations a minute: 20 counts a minute of background, 10 min, 10 % efficiency."""
    assert currie_detection_limit(200) / (10 * 0.10) == pytest.approx(68.5, abs=0.01)


def test_smallest_recognised_pair_beside_a_blank_of_nothing() -> None:
    assert int(smallest_recognised_gross(0)) == 5
    assert pair_test(5, 0).critical_net_counts == 4
    assert pair_test(5, 0).recognised
    assert not pair_test(4, 0).recognised
