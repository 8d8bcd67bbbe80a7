"""Check sources of known activity at 10 cm (SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md): areas and humps.

With few histories; the figures with many are in docs/validation/known_activities.md and scatter_hump.md. One extra
distance is fitted for each type of source, the strengths of what scatters around are free.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from studies.check_source_counts import COUNTS, FOLDER, Fitted
from studies.known_activities import BARS, areas, fits_of

from truekev.transport.response_store import ResponseStore

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")

N = {"Cs-137": 60_000, "Am-241": 30_000, "Eu-152": 20_000}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> ResponseStore:
    return ResponseStore(tmp_path_factory.mktemp("responses"))


@pytest.fixture(scope="module")
def fits(store: ResponseStore) -> dict[str, Fitted]:
    return fits_of(N, store=store)


@pytest.fixture(scope="module")
def rows(fits: dict[str, Fitted], store: ResponseStore) -> list[dict[str, Any]]:
    return areas(fits, N, store=store)


@pytest.mark.parametrize("nuclide", list(BARS))
def test_full_energy_areas(rows: list[dict[str, Any]], nuclide: str) -> None:
    mine = [row for row in rows if row["nuclide"] == nuclide]
    assert mine
    off = {row["kev"]: row["measured_over_predicted"] - 1 for row in mine}
    assert all(abs(one) < BARS[nuclide] for one in off.values()), off


def test_the_extra_distance_is_that_of_a_crystal_in_an_instrument(rows: list[dict[str, Any]]) -> None:
    assert all(0.0 < row["extra_mm"] < 30.0 for row in rows)


@pytest.mark.parametrize("nuclide", ["Cs-137", "Eu-152"])
def test_backscatter_humps(fits: dict[str, Fitted], nuclide: str) -> None:
    off = fits[nuclide].off(*COUNTS[nuclide].hump_kev)
    assert off.size >= 12
    assert np.abs(off).max() < 0.05
