"""Simulated spectra that do not come from the program's own model.

    truth = draw_truth(rng, source="thorium")
    simulated = simulate_spectrum(truth, rng)
    simulated.true_channel(661.657)

Built from the tables of an independent transport code and from evaluated lines in ../shared, which are
absent outside the development folders: ask `is_available()` first and skip.
"""

from tests.support.truth.draw import Truth, draw_truth, source_names
from tests.support.truth.simulate import Simulated, expected_counts, simulate_spectrum, true_channel
from tests.support.truth.tables import is_available

__all__ = [
    "Simulated",
    "Truth",
    "draw_truth",
    "expected_counts",
    "is_available",
    "simulate_spectrum",
    "source_names",
    "true_channel",
]
