"""Line groups found in a located spectrum, each fitted on the continuum of the whole-shape model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from truekev.scale.crystal import Crystal
from truekev.scale.groups import GroupFit, fit_group, form_groups
from truekev.scale.light import REFERENCE_KEV, Pulse
from truekev.scale.locate import LocatedSpectrum, templates_between
from truekev.scale.sample import Sample
from truekev.scale.search import MeasuredBackground, scan
from truekev.scale.templates import nominal_between, nominal_pulse_kev_at_nodes

__all__ = ["FoundGroups", "PeakWidth", "find_groups", "warped"]

Array = npt.NDArray[np.float64]
_FWHM = 2.3548200450309493
_LEAST_EXPECTED = 3.0  # expected peak area over the noise of what lies under it


@dataclass(frozen=True)
class FoundGroups:
    """Groups fitted in a spectrum.

    Parameters
    ----------
    fits : tuple of GroupFit
        Groups that could be fitted, by rising energy.
    expected_area : tuple of float
        Net counts that the whole-shape model expects in each.
    model : ndarray, shape (n,)
        The whole-shape model per channel.
    strengths : ndarray
        Strengths of its templates [counts].
    parts : tuple of (str, ndarray of shape (n,))
        What the model is the sum of: each component by its name, per channel; the measured background last.
    """

    fits: tuple[GroupFit, ...]
    expected_area: tuple[float, ...]
    model: Array
    strengths: Array
    parts: tuple[tuple[str, Array], ...] = ()


@dataclass(frozen=True)
class PeakWidth:
    """Law of peak widths: FWHM/E is `at_662` at 661.655 keV, and FWHM grows as light ** (1/2 + slope)."""

    at_662: float
    slope: float

    def sigma_channels(self, pulse: Pulse, energy_kev: Array) -> Array:
        """Standard deviation of full-energy peaks [channels]."""
        light = 1e3 * pulse.curve.light_mev(energy_kev, pulse.kappa) / REFERENCE_KEV
        fwhm_kev = self.at_662 * REFERENCE_KEV * light ** (0.5 + self.slope)
        return np.asarray(fwhm_kev * 1e-3 * pulse.gain / _FWHM)

    def updated(self, fits: Sequence[GroupFit]) -> PeakWidth:
        """The law fitted to the widths found, held near the present one where they say little."""
        if not fits:
            return self
        x = np.log(np.array([f.group.centroid_kev for f in fits]) / REFERENCE_KEV)
        y = np.log([f.width_factor for f in fits])
        weight = np.minimum(np.array([f.significance for f in fits]) ** 2, 400.0) / 4.0
        design = np.column_stack([np.ones_like(x), x])
        normal = design.T @ (design * weight[:, None]) + np.diag([1.0 / 0.15**2, 1.0 / 0.1**2])
        right = design.T @ (weight * y) - np.array([0.0, self.slope / 0.1**2])
        move = np.linalg.solve(normal, right)
        return PeakWidth(
            float(np.clip(self.at_662 * np.exp(move[0]), 0.04, 0.16)), float(np.clip(self.slope + move[1], -0.3, 0.4))
        )


def warped(pulse: Pulse, edges: Array) -> Array:
    """Nominal pulse height [keV-equivalent] of channel edges under ch(E) of `pulse`."""
    nominal = nominal_pulse_kev_at_nodes(pulse.curve)
    return np.asarray(nominal_between(np.asarray(edges, float), pulse.channel_at_nodes(), nominal, pulse.c0))


def find_groups(
    counts: Array,
    background: MeasuredBackground | None,
    located: LocatedSpectrum,
    pulse: Pulse,
    width: PeakWidth,
    sample: Sample,
    crystal: Crystal,
) -> FoundGroups:
    """Fit every line group that should stand out, with ch(E) of `pulse` as the expectation.

    Parameters
    ----------
    counts, background
        The spectrum, and a measured background.
    located
        Result of the search.
    pulse, width
        The current ch(E), and law of widths.
    sample, crystal
        What was counted with what.
    """
    data = located.data
    templates = templates_between(located.templates, width.at_662)
    as_nominal = replace(data, edges=warped(pulse, data.edges))
    chi2, found = scan(as_nominal, templates, np.array([[1.0, 0.0, 0.0]]))
    strengths = found[0]
    misfit = float(np.sqrt(max(chi2[0] / data.counts.size, 1.0)))
    nominal_edges = np.sqrt(np.maximum(warped(pulse, np.arange(counts.size + 1, dtype=np.float64) - 0.5), 0.0))
    cumulative = np.array([np.interp(nominal_edges, templates.u, row) for row in templates.cumulative[0]])
    rows = np.diff(cumulative, axis=1) * strengths[:-1, None]
    parts = [(name, row) for name, row in zip(templates.names, rows, strict=True)]
    model = rows.sum(axis=0)
    if background is not None:
        parts.append(("measured background", strengths[-1] * background.counts))
        model = model + parts[-1][1]
    energies, areas, names = _lines(sample, crystal, templates.totals, strengths)
    if not energies.size:
        return FoundGroups((), (), model, strengths, tuple(parts))
    sigma = width.sigma_channels(pulse, energies)
    fwhm_kev = _FWHM * sigma / pulse.slope_per_kev(energies)
    fits, expected = [], []
    for group in form_groups(energies, areas, names, fwhm_kev):
        line_channels = pulse.channel(group.energy_kev)
        line_sigma = width.sigma_channels(pulse, group.energy_kev)
        edges = np.arange(counts.size + 1) - 0.5
        near = slice(
            max(int(line_channels.min() - 6 * line_sigma.max()), 0),
            max(min(int(line_channels.max() + 6 * line_sigma.max()) + 1, counts.size), 1),
        )
        if near.stop - near.start < 3 or line_channels.max() > counts.size:
            continue
        z = (edges[near.start : near.stop + 1, None] - line_channels[None, :]) / line_sigma[None, :]
        peak = group.area * (np.diff(ndtr(z), axis=0) @ group.weight)
        continuum = model.copy()
        continuum[near] = np.maximum(continuum[near] - peak, 0.02 * model[near])
        inside = np.abs(edges[near.start : near.stop] + 0.5 - group.weight @ line_channels) < 1.5 * line_sigma.mean()
        noise = np.sqrt(max(float(model[near][inside].sum()), 1.0))
        if group.area < _LEAST_EXPECTED * noise:
            continue
        fit = fit_group(
            counts,
            group,
            line_channels,
            line_sigma,
            continuum,
            None if background is None else background.variance,
            misfit,
        )
        if fit is not None:
            fits.append(fit)
            expected.append(group.area)
    return FoundGroups(tuple(fits), tuple(expected), model, strengths, tuple(parts))


def _lines(sample: Sample, crystal: Crystal, totals: Array, strengths: Array) -> tuple[Array, Array, list[str]]:
    """All lines of the source with their expected peak areas [counts] and makers."""
    energies = np.concatenate([component.energy_kev for component in sample.components])
    areas = np.concatenate(
        [
            strengths[index] * component.rate * crystal.response.full_energy(component.energy_kev) / totals[index]
            for index, component in enumerate(sample.components)
        ]
    )
    return energies, areas, [maker for component in sample.components for maker in component.makers]
