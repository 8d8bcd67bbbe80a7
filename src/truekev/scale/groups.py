"""Line groups as this resolution sees them, and the fit of one group's place in a spectrum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

__all__ = ["GroupFit", "LineGroup", "fit_group", "form_groups"]

Array = npt.NDArray[np.float64]
_FWHM = 2.3548200450309493
_LOW_KEV = 150.0
_WIDTH_PRIOR = 0.12  # in ln(width): the law of widths from the search is this good


@dataclass(frozen=True)
class LineGroup:
    """Lines that this resolution cannot part.

    Parameters
    ----------
    name : str
        Nuclides and energy in words.
    energy_kev : ndarray
        Energies of the member lines.
    weight : ndarray
        Their expected peak areas, relative to one another, summing to 1.
    area : float
        Expected area of the whole group, relative to other groups.
    u_centroid_kev : float
        Uncertainty of the centroid from the lines' energies and intensities [keV].
    """

    name: str
    energy_kev: Array
    weight: Array
    area: float
    u_centroid_kev: float

    @property
    def centroid_kev(self) -> float:
        """Area-weighted mean energy [keV]."""
        return float(self.energy_kev @ self.weight)


def form_groups(
    energy_kev: Array,
    area: Array,
    names: Sequence[str],
    fwhm_kev: Array,
    *,
    apart: float = 0.9,
    least_share: float = 0.01,
) -> list[LineGroup]:
    """Join lines nearer than `apart` FWHM to the running centroid of a group, strongest first.

    Parameters
    ----------
    energy_kev, area, names
        Lines: energy, expected peak area, nuclide.
    fwhm_kev
        Peak width at each line [keV].
    apart
        Lines nearer than this many FWHM are one group.
    least_share
        Lines weaker than this share of the strongest line in the group are left out of its name.
    """
    centres: list[float] = []
    members: list[list[int]] = []
    for index in np.argsort(-area):
        if area[index] <= 0:
            continue
        distance = [abs(energy_kev[index] - centre) / fwhm_kev[index] for centre in centres]
        if distance and min(distance) < apart:
            nearest = int(np.argmin(distance))
            members[nearest].append(int(index))
            chosen = members[nearest]
            centres[nearest] = float(np.average(energy_kev[chosen], weights=area[chosen]))
        else:
            centres.append(float(energy_kev[index]))
            members.append([int(index)])
    groups = []
    for chosen in members:
        energies, areas = energy_kev[chosen], area[chosen]
        weight = areas / areas.sum()
        centroid = float(energies @ weight)
        said = sorted({names[i] for i in chosen if area[i] >= least_share * areas.max()})
        # Members' areas are good to a tenth, at low energy (absorption, X-rays) to a quarter: the centroid
        # moves by that part of their spread.
        spread = float(np.sqrt((weight**2) @ (energies - centroid) ** 2))
        u_centroid = spread * (0.08 if centroid > _LOW_KEV else 0.25)
        groups.append(
            LineGroup(f"{'+'.join(said)} {centroid:.1f} keV", energies, weight, float(areas.sum()), u_centroid)
        )
    return sorted(groups, key=lambda group: group.centroid_kev)


@dataclass(frozen=True)
class GroupFit:
    """Where a group lies in one spectrum.

    Parameters
    ----------
    group : LineGroup
    channel, u_channel : float
        Pulse coordinate of the group's centroid, and its uncertainty: counting statistics and the
        shape of the continuum under it.
    u_statistical : float
        The part from counting alone.
    area, u_area : float
        Net counts.
    width_factor : float
        Fitted width over the expected one.
    expected_channel : float
        Where the scale it was fitted with put it.
    low, high : int
        First and last channel of the window.
    """

    group: LineGroup
    channel: float
    u_channel: float
    u_statistical: float
    area: float
    u_area: float
    width_factor: float
    expected_channel: float
    low: int
    high: int

    @property
    def significance(self) -> float:
        """Net area over its uncertainty."""
        return self.area / self.u_area if self.u_area > 0 else 0.0


def fit_group(
    counts: Array,
    group: LineGroup,
    line_channels: Array,
    sigma_channels: Array,
    continuum: Array,
    extra_variance: Array | None = None,
    misfit: float = 1.0,
) -> GroupFit | None:
    """Fit area, place and width of one group over a known continuum that may be scaled and tilted.

    Poisson likelihood by iterated weighted least squares. None where the window leaves the spectrum or
    the fit does not settle.

    Parameters
    ----------
    counts : ndarray, shape (n,)
        Counts per channel.
    group
        The group, with the weights of its lines.
    line_channels, sigma_channels : ndarray
        Expected pulse coordinate and standard deviation of each line of the group [channels].
    continuum : ndarray, shape (n,)
        Everything but this group, as the whole-shape model has it [counts per channel].
    extra_variance : ndarray, shape (n,), optional
        Variance per channel from a background measured with its own noise.
    misfit
        How badly the whole-shape model fits, as a factor on what the continuum's shape is not known by.
    """
    centre = float(line_channels @ group.weight)
    sigma = float(sigma_channels @ group.weight)
    low = int(np.floor(line_channels.min() - 2.6 * sigma))
    high = int(np.ceil(line_channels.max() + 2.6 * sigma))
    if low < 1 or high > counts.size - 2 or high - low < 4:
        return None
    step = max(1, int(sigma / 3.0))
    n_bins = (high - low + 1) // step
    edges = low + step * np.arange(n_bins + 1) - 0.5
    window = slice(low, low + step * n_bins)
    measured = counts[window].reshape(n_bins, step).sum(axis=1)
    under = np.maximum(continuum[window].reshape(n_bins, step).sum(axis=1), 1e-3 * max(measured.mean(), 1e-3))
    noise = np.zeros(n_bins) if extra_variance is None else extra_variance[window].reshape(n_bins, step).sum(axis=1)
    slope = (0.5 * (edges[1:] + edges[:-1]) - centre) / sigma

    def peak(shift: float, factor: float) -> tuple[Array, Array, Array]:
        z = (edges[:, None] - line_channels[None, :] - shift) / (sigma_channels * factor)[None, :]
        density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
        shape = np.diff(ndtr(z), axis=0) @ group.weight
        by_shift = -np.diff(density / (sigma_channels * factor)[None, :], axis=0) @ group.weight
        by_width = -np.diff(density * z, axis=0) @ group.weight
        return shape, by_shift, by_width

    shift, log_width = 0.0, 0.0
    area = max(float((measured - under).sum()), 0.05 * float(measured.sum()), 1.0)
    scale, tilt = 1.0, 0.0
    inverse = np.eye(5)
    for iteration in range(25):
        shape, by_shift, by_width = peak(shift, float(np.exp(log_width)))
        base = under * np.maximum(scale + tilt * slope, 0.02)
        model = np.maximum(area * shape + base, 0.05)
        variance = np.maximum(model, 0.3 * np.maximum(measured, 1.0)) + noise
        design = np.column_stack([shape, area * by_shift, area * by_width, under, under * slope])
        normal = design.T @ (design / variance[:, None])
        gradient = design.T @ ((measured - model) / variance)
        # Priors: width as the law says; the continuum's scale and tilt near the model's.
        for index, value, spread in ((2, log_width, _WIDTH_PRIOR), (3, scale - 1.0, 0.3), (4, tilt, 0.1)):
            normal[index, index] += 1.0 / spread**2
            gradient[index] -= value / spread**2
        try:
            inverse = np.linalg.inv(normal)
        except np.linalg.LinAlgError:
            return None
        move = inverse @ gradient
        move[1] = np.clip(move[1], -0.5 * sigma, 0.5 * sigma)
        move[2] = np.clip(move[2], -0.2, 0.2)
        area = max(area + float(move[0]), 1e-3)
        shift += float(move[1])
        log_width = float(np.clip(log_width + move[2], -0.5, 0.5))
        scale += float(move[3])
        tilt += float(move[4])
        if abs(shift) > 2.0 * sigma:
            return None
        if iteration > 2 and abs(move[1]) < 1e-3 * sigma and abs(move[0]) < 1e-3 * area + 0.1:
            break
    u_area = float(np.sqrt(inverse[0, 0]))
    u_statistical = float(np.sqrt(inverse[1, 1]))
    height = area * float(shape.max())
    ratio = height / max(float(np.interp(centre + shift, edges[1:], base)), 1e-9)
    # The continuum's curvature is not known exactly: it moves a weak peak on a high continuum most.
    # An area far from the expected one says that the model is wrong here.
    surprise = 1.0 + 2.0 * abs(np.log(max(area, 1e-3) / group.area))
    u_shape = _FWHM * sigma * (0.02 + 0.045 / max(ratio, 0.05)) * surprise * misfit
    return GroupFit(
        group,
        centre + shift,
        float(np.hypot(u_statistical, u_shape)),
        u_statistical,
        area,
        u_area,
        float(np.exp(log_width)),
        centre,
        low,
        low + step * n_bins - 1,
    )
