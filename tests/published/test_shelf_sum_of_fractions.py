"""Sum of fractions on a shelf.

UK SI 2017/1075, Schedule 7 (Part 1: sum of quantity over limit; Part 2: Th-232 in equilibrium 1000 Bq, 1 Bq/g); the
ORAU collection's typical rod, 2.4 mm × 15 cm with 2 % thoria, holds 0.23 g of thorium; 1 kBq of Th-232 in equilibrium
gives 27 nGy/h at 10 cm (DDEP lines and NIST coefficients, derived, 5 %).
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from truekev.book.book import Book
from truekev.book.things import Stock
from truekev.job.shelf import shelf_on


@pytest.mark.parametrize("count", [1, 7])
def test_typical_rods(tmp_path: Path, count: int) -> None:
    rods = Stock(
        name="Rods",
        what="rods",
        place="drawer",
        count=count,
        thoria_percent=2.0,
        u_thoria_percent=0.1,
        diameter_mm=2.4,
        length_mm=150.0,
    )
    with Book.create(tmp_path / "a.book", "Lab", clock=lambda: datetime(2026, 1, 1, tzinfo=UTC)) as book:
        book.add(rods)
        report = shelf_on(book, date(2026, 6, 1))
    kilobecquerels = count * 0.23 * 4.067  # 4.067 kBq of Th-232 per gram of thorium
    assert report.items[0].head_activity is not None
    assert report.items[0].head_activity.value / 1000 == pytest.approx(kilobecquerels, rel=0.04)
    for one in report.sums:
        assert one.fraction.value == pytest.approx(kilobecquerels, rel=0.04)
        assert one.fraction.u / one.fraction.value == pytest.approx(0.05, rel=0.05)
    assert report.dose_rate_all.value == pytest.approx(27 * kilobecquerels, rel=0.06)
    assert "UK SI 2017/1075" in report.sums[0].citations[0]
