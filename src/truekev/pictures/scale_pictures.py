"""Pictures of a calibration: the spectrum with what was fitted, and the scale beside straight lines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from truekev.pictures.canvas import INK, PALE, RUST, SEA, new_figure
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.light import REFERENCE_KEV
from truekev.scale.polynomials import PeakPolynomial
from truekev.spectra.spectrum import Spectrum

__all__ = ["picture_of_scale", "picture_of_spectrum"]

Array = npt.NDArray[np.float64]
_MOST_BINS = 450
_TELLING_PERCENT = 5.0  # a group known worse than this says nothing in the picture


def picture_of_spectrum(spectrum: Spectrum, scale: EnergyScale, fitted: FittedSpectrum, title: str) -> Figure:
    """Counts per keV with the whole-shape model and the groups found; residuals below.

    The vertical axis is compressed as the square root, so that equal height is equal significance.
    """
    step = max(1, int(np.ceil(spectrum.n_channels / _MOST_BINS)))
    n = spectrum.n_channels // step
    edges = scale.edges_kev()[: n * step + 1 : step]
    counts = spectrum.counts[: n * step].reshape(n, step).sum(axis=1)
    model = fitted.groups.model[: n * step].reshape(n, step).sum(axis=1)
    width = np.diff(edges)
    figure = new_figure(2, (3.2, 1.0), (10.0, 6.6))
    upper, lower = figure.axes
    upper.stairs(counts / width, edges, color=INK, linewidth=1.1, label="measured")
    centres = 0.5 * (edges[1:] + edges[:-1])
    upper.plot(centres, model / width, color=RUST, linewidth=1.3, label="model with continuum")
    upper.set_yscale("function", functions=(lambda y: np.sqrt(np.maximum(y, 0.0)), lambda y: y**2))
    used = [g for g in scale.groups if g.used]
    shown = np.interp([g.energy_kev for g in used], centres, counts / width)
    upper.set_ylim(0.0, 1.45 * float((counts / width)[centres > 20.0].max(initial=1e-9)))
    last = -np.inf
    for group, height in zip(used, shown, strict=True):
        upper.plot([group.energy_kev] * 2, [height, 1.12 * height], color=SEA, linewidth=1.2)
        if group.energy_kev - last > 70.0 + 0.02 * group.energy_kev:
            upper.annotate(
                f"{group.energy_kev:.0f}",
                (group.energy_kev, 1.12 * height),
                xytext=(0, 3),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=9,
                rotation=90,
                color=SEA,
            )
            last = group.energy_kev
    left_out = [g for g in scale.groups if not g.used]
    for group in left_out:
        upper.axvline(group.energy_kev, color=PALE, linewidth=1.0, linestyle=":")
    upper.set_ylabel("counts per keV, root axis")
    upper.set_title(title, loc="left")
    upper.legend(loc="upper right")
    pulls = (counts - model) / np.sqrt(np.maximum(model, 1.0))
    lower.stairs(np.clip(pulls, -12.0, 12.0), edges, color=INK, linewidth=0.9)
    for level in (-2.0, 0.0, 2.0):
        lower.axhline(level, color=PALE, linewidth=0.8, linestyle="-" if level == 0 else "--")
    lower.set_ylim(-12.5, 12.5)
    lower.set_ylabel("residual, σ")
    lower.set_xlabel("energy, keV")
    top = min(float(edges[-1]), 3000.0)
    for axis in figure.axes:
        axis.set_xlim(max(float(edges[0]), 0.0), top)
    return figure


def picture_of_scale(scale: EnergyScale, polynomials: tuple[PeakPolynomial, ...], title: str) -> Figure:
    """Deviation of the scale from a straight line through zero and 662 keV, with its 95 % band."""
    top = min(float(scale.edges_kev()[-1]), 3000.0)
    energy = np.geomspace(30.0, top, 300)
    line = _straight(scale, energy)
    figure = new_figure(1, None, (10.0, 5.2))
    axis = figure.axes[0]
    percent = 100.0 * (line / energy - 1.0)
    band = 100.0 * 1.96 * scale.u_energy_kev(energy) / energy
    axis.fill_between(energy, percent - band, percent + band, color=PALE, alpha=0.6, label="95 % band")
    axis.plot(energy, percent, color=INK, linewidth=1.8, label="light model")
    for polynomial, style in zip(polynomials, (":", "--", "-."), strict=True):
        if polynomial.coefficients_kev:
            claimed = polynomial.energy_kev(scale.channel(energy))
            axis.plot(
                energy,
                percent + 100.0 * (claimed / energy - 1.0) * -1.0,
                color=RUST,
                linestyle=style,
                linewidth=1.1,
                label=f"polynomial of degree {polynomial.degree} through the groups",
            )
    for group in scale.groups:
        found = float(_straight_at(scale, group.channel))
        u = 100.0 * group.u_channel / (float(scale.pulse.slope_per_kev(group.energy_kev)) * group.energy_kev)
        if u > _TELLING_PERCENT:
            continue
        axis.errorbar(
            group.energy_kev,
            100.0 * (found / group.energy_kev - 1.0),
            yerr=u,
            color=SEA,
            marker="o" if group.used else "x",
            markersize=4,
            linewidth=1.0,
        )
    axis.set_xscale("log")
    ticks = [t for t in (30, 60, 120, 240, 500, 1000, 2000, 3000) if t <= top]
    axis.set_xticks(ticks, [str(t) for t in ticks])
    axis.set_xticks([], minor=True)
    low, high = float((percent - band).min()), float((percent + band).max())
    axis.set_ylim(max(low, -40.0) - 1.5, min(high, 40.0) + 1.5)
    axis.set_xlabel("energy, keV")
    axis.set_ylabel("a straight line set at 662 keV reads, %")
    axis.set_title(title, loc="left")
    axis.legend(loc="best", fontsize=9)
    return figure


def _straight_at(scale: EnergyScale, channel: npt.ArrayLike) -> Array:
    """What a straight line through no light and 661.655 keV reads at a pulse coordinate [keV]."""
    reference = float(scale.channel(REFERENCE_KEV)) - scale.pulse.c0
    return np.asarray((np.asarray(channel, float) - scale.pulse.c0) / reference * REFERENCE_KEV)


def _straight(scale: EnergyScale, energy_kev: Array) -> Array:
    return _straight_at(scale, scale.channel(energy_kev))
