"""A measured Eu-152 spectrum thinned: spread of the scale and held-out shift against counts (for `counts_saved`)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from studies.frame import PAGES, Result, Table, run_trials
from studies.held_out_lines import FOLDER, HELD_OUT, TELLING_PERCENT, base, relocked
from truekev.errors import FitError, RefusedError
from truekev.pictures.canvas import INK, PALE, RUST, new_figure, save
from truekev.scale.calibrate import calibrate
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.transport.detector import DEFAULT_DETECTOR

__all__ = ["COUNTS", "METHODS", "held_out_rms", "thin", "thinned_part", "trial"]

Array = npt.NDArray[np.float64]
SEED = 20261204
N_TRIALS = 200
COUNTS = (2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 5e5)
METHODS = ("whole", "peaks")
ENERGIES_KEV = np.array([60.0, 122.0, 245.0, 344.0, 779.0, 1408.0])
_LEAST_KEV = 120.0
_MOST_PERCENT = 50.0
_SIZE = (8.0, 7.6)


@cache
def _places() -> tuple[tuple[Array, Array, Array], ...]:
    """Telling groups of each held-out spectrum from 120 keV up: energy [keV], channel found, its uncertainty."""
    found = []
    for name, (_, _, several) in HELD_OUT.items():
        if not several:
            continue
        rows = [
            (one.group.centroid_kev, one.channel, one.u_channel)
            for one in relocked(name)[1].shifts
            if one.group.centroid_kev >= _LEAST_KEV
            and np.hypot(one.u_percent, 100.0 * one.group.u_centroid_kev / one.group.centroid_kev) < TELLING_PERCENT
            and one.group.centroid_kev in {g.energy_kev for g in relocked(name)[1].relock.scale.groups}
        ]
        energy, channel, u_channel = np.array(rows).T
        found.append((energy, channel, u_channel))
    return tuple(found)


def held_out_rms(scale: EnergyScale, places: Sequence[tuple[Array, Array, Array]]) -> float:
    """Root mean square [%] of what a scale reads at held-out groups, less their energy; gain of each spectrum free.

    Zero in keV and shape are the scale's, so that all places move by one factor.
    """
    off = []
    for energy, channel, u_channel in places:
        says = scale.channel(energy)
        weight = 1.0 / (u_channel**2 + (0.005 * channel) ** 2)
        ratio = float((weight * says * channel).sum() / (weight * says * says).sum())
        off.append(100.0 * (scale.energy_kev(channel / ratio) / energy - 1.0))
    return float(np.sqrt((np.concatenate(off) ** 2).mean()))


def thin(counted: CountedSpectrum, share: float, rng: np.random.Generator) -> CountedSpectrum:
    """Each count kept with probability `share`; the background stays as it was measured, for the shorter time."""
    room = counted.background
    kept = rng.binomial(counted.counts.astype(np.int64), share).astype(float)
    shorter = None if room is None else MeasuredBackground(room.counts * share, room.variance * share**2, room.u_scale)
    return CountedSpectrum(kept, shorter, counted.sample)


def _scales(counted: CountedSpectrum) -> dict[str, EnergyScale | None]:
    crystal, scatter = crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR)
    found: dict[str, EnergyScale | None] = {}
    for method in METHODS:
        try:
            if method == "whole":
                found[method] = calibrate_whole([counted], crystal, scatter).calibration.scales[0]
            else:
                found[method] = calibrate([counted], crystal).scales[0]
        except (RefusedError, FitError):
            found[method] = None
    return found


@cache
def _full() -> dict[str, EnergyScale | None]:
    return _scales(base()[0].counted)


def trial(number: int, rng: np.random.Generator) -> Result:
    """One thinned spectrum, both methods."""
    full = base()[0].counted
    n_counts = COUNTS[number % len(COUNTS)]
    result: dict[str, Any] = {"counts": n_counts}
    for method, scale in _scales(thin(full, n_counts / float(full.counts.sum()), rng)).items():
        of_all = _full()[method]
        if scale is None or of_all is None:
            continue
        off = 100.0 * (scale.energy_kev(of_all.channel(ENERGIES_KEV)) / ENERGIES_KEV - 1.0)
        shift = held_out_rms(scale, _places())
        if np.all(np.abs(off) < _MOST_PERCENT) and np.isfinite(shift):
            result[method] = {"off": off.tolist(), "held_out": shift}
    return result


def summary(results: Sequence[Any], method: str) -> list[tuple[float, float, float, float, float]]:
    """Counts, share with a scale, spread and offset from the whole count's scale, held-out shift; all in %."""
    rows = []
    for n_counts in COUNTS:
        mine = [r for r in results if r["counts"] == n_counts]
        kept = [r[method] for r in mine if method in r]
        if len(kept) < 2:
            rows.append((n_counts, 100.0 * len(kept) / max(len(mine), 1), np.nan, np.nan, np.nan))
            continue
        off = np.array([k["off"] for k in kept])
        rows.append(
            (
                n_counts,
                100.0 * len(kept) / len(mine),
                float(np.sqrt(off.var(axis=0, ddof=1).mean())),
                float(np.sqrt((off.mean(axis=0) ** 2).mean())),
                float(np.sqrt(np.mean([k["held_out"] ** 2 for k in kept]))),
            )
        )
    return rows


def _picture(by_method: dict[str, list[tuple[float, float, float, float, float]]], floors: dict[str, float]) -> Figure:
    figure = new_figure(2, (1.0, 1.0), _SIZE)
    looks = {"whole": (INK, "-", "o", "whole spectrum"), "peaks": (RUST, "--", "s", "peaks")}
    for axis, column, says in zip(
        figure.axes, (2, 4), ("spread of the scale, %", "held-out lines off by, %"), strict=True
    ):
        for method, rows in by_method.items():
            colour, line, marker, label = looks[method]
            table = np.array(rows)
            seen = np.isfinite(table[:, column])
            often = seen & (table[:, 1] >= 90.0)
            axis.plot(table[seen, 0], table[seen, column], color=colour, linestyle=line, linewidth=1.4)
            axis.plot(table[often, 0], table[often, column], marker, color=colour, markersize=6, label=label)
            seldom = seen & ~often
            axis.plot(table[seldom, 0], table[seldom, column], marker, color=colour, markersize=6, fillstyle="none")
            if column == 4 and method in floors:
                axis.axhline(floors[method], color=colour, linestyle=":", linewidth=1.0)
        axis.set_xscale("log")
        axis.set_yscale("log")
        ticks = [
            t
            for t in (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0)
            if axis.get_ylim()[0] <= t <= axis.get_ylim()[1]
        ]
        axis.set_yticks(ticks, [f"{t:g}" for t in ticks])
        axis.set_yticks([], minor=True)
        axis.set_ylabel(says)
        axis.grid(color=PALE, alpha=0.5, linewidth=0.6)
    figure.axes[0].set_title("Eu-152, one hour, thinned (hollow: under nine in ten have a scale)", loc="left")
    figure.axes[0].legend(loc="upper right", frameon=False, labelcolor=INK)
    at = (2e3, 1e4, 5e4, 2e5, 5e5)
    figure.axes[1].set_xticks(at, [f"{t:,.0f}" for t in at])
    figure.axes[1].set_xticks([], minor=True)
    figure.axes[1].set_xlabel("counts of the thinned spectrum; dotted: all 1.5 million")
    return figure


def thinned_part() -> tuple[list[Table], str]:
    """Table, and the picture's place in the page; nothing where the open spectra are not here."""
    if not FOLDER.is_dir():
        return [], "The open spectra were not here; the second part was left out."
    trials = run_trials("counts_saved_thinned", trial, n_trials=N_TRIALS, seed=SEED, settings="saved 6")
    by_method = {method: summary(trials.results, method) for method in METHODS}
    floors = {m: held_out_rms(s, _places()) for m, s in _full().items() if s is not None}
    rows = []
    for whole, peaks in zip(by_method["whole"], by_method["peaks"], strict=True):
        cells = [
            cell
            for row in (whole, peaks)
            for cell in (f"{row[1]:.0f}", *("none" if np.isnan(v) else f"{v:.2f}" for v in row[2:]))
        ]
        rows.append((f"{whole[0]:,.0f}", *cells))
    rows.append(
        (
            "all",
            *(
                cell
                for m in METHODS
                for cell in ("100" if m in floors else "0", "", "", f"{floors[m]:.2f}" if m in floors else "none")
            ),
        )
    )
    head = (
        "counts",
        *(f"{m}: {what}" for m in METHODS for what in ("with a scale, %", "spread", "offset", "held-out")),
    )
    title = (
        f"`eu152-1h` thinned, {len(trials.results)} spectra: spread of the scale and its mean offset from that of all "
        f"counts (root mean square over {', '.join(f'{e:.0f}' for e in ENERGIES_KEV)} keV), and held-out groups from "
        f"120 keV up, gain free (root mean square), %"
    )
    file = save(_picture(by_method, floors), PAGES / "counts-saved-eu152.png")
    words = (
        f"![Spread and held-out shift against counts, whole spectrum and peaks]({file.name})\n\n"
        f"Thinned part: seed {SEED}; commit {', '.join(trials.commits)}. "
        f"Held-out groups: {', '.join(n for n, h in HELD_OUT.items() if h[2])}, at the places found with the scale of "
        "all counts. Spectra: SÚRO, National Radiation Protection Institute, "
        "Prague, `juhele/opengeodata`, CC BY-SA 4.0; the picture is drawn from them and is under the same licence."
    )
    return [Table(title, head, tuple(rows))], words
