"""What the single lines of a recognised candidate say for it and against it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truekev.samples.candidates import candidate, lines_of
from truekev.samples.spectrum_fit import SpectrumFit
from truekev.samples.spectrum_model import SpectrumModel

__all__ = ["LineEvidence", "line_evidence"]

_MOST_GROUPS = 5
_LEAST_EXPECTED = 2.0  # standard deviations that a group must be expected at to say anything


@dataclass(frozen=True)
class LineEvidence:
    """A line group of a candidate.

    Parameters
    ----------
    energy_kev : float
        Centroid of its lines.
    expected_counts, found_counts, u_counts : float
        Net full-energy counts that the candidate's strength foretells, that were found with all else in place, and the
        standard uncertainty of what was found.
    """

    energy_kev: float
    expected_counts: float
    found_counts: float
    u_counts: float

    @property
    def supports(self) -> bool:
        """Found where it was expected."""
        return self.found_counts > 2.0 * self.u_counts

    @property
    def contradicts(self) -> bool:
        """Less than half of what was expected, and significantly so."""
        short = self.expected_counts - self.found_counts
        return short > 3.0 * self.u_counts and self.found_counts < 0.5 * self.expected_counts


def line_evidence(model: SpectrumModel, fit: SpectrumFit, name: str) -> tuple[LineEvidence, ...]:
    """Line groups of a candidate, the most telling first: expected by the fit, and found."""
    lines = lines_of(candidate(name))
    areas = fit.of(name) * model.peak_areas(lines, fit.shared)
    groups: list[tuple[float, float]] = []
    energy, area = 0.0, 0.0
    for line, counts in sorted(zip(lines.energy_kev.tolist(), areas.tolist(), strict=True)):
        if area > 0 and line - energy > 1.8 * model.sigma_kev(energy):
            groups.append((energy, area))
            energy, area = 0.0, 0.0
        energy = (energy * area + line * counts) / max(area + counts, 1e-300)
        area += counts
    groups.append((energy, area))
    found = []
    for at, expected in groups:
        if not (model.lowest_kev < at < model.highest_kev) or expected <= 0:
            continue
        column = model.peak_columns(np.array([at]), fit.shared)[0]
        spread = float(column @ fit.projected @ column)
        if spread <= 0:
            continue
        extra, u = float(column @ fit.weight @ fit.residual) / spread, spread**-0.5
        # With a single group its own strength takes up whatever is there, so nothing is left over to say.
        if expected > _LEAST_EXPECTED * u:
            found.append(LineEvidence(at, expected, expected + extra, u))
    found.sort(key=lambda one: -one.expected_counts / one.u_counts)
    return tuple(found[:_MOST_GROUPS])
