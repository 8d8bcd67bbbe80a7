"""Drift undone: a count of 24 hours whose gain drifts by 5 %, in slices of ten minutes, aligned and added.

A thorium vial on a 10 mm CsI(Tl) crystal. Truths drawn from the priors of the whole-spectrum fit, responses from Monte
Carlo runs of another seed. Looked at: the width of the 2615 keV peak of the aligned sum against that without drift, and
whether all counts are there. The gains are found from counts; the widths are then those of the expected spectra added
on the gains found, since the peak's own counts tell its width to no better than a tenth.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import curve_fit

from studies.frame import Result, Table, Trials, run_trials, write_page
from studies.model_truth import Truth, counted_from, draw_truth, sample_named
from truekev.errors import FitError, RefusedError
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.search import BACKGROUND_U, MeasuredBackground
from truekev.scale.whole.align import align_whole
from truekev.scale.whole.drift import aligned_sum
from truekev.spectra.rebin import rebin_counts
from truekev.transport.detector import DEFAULT_DETECTOR

__all__ = ["drifting", "main", "peak_width", "trial"]

SEED = 20261130
N_TRIALS = 40
N_SLICES, SLICE_S = 144, 600.0
RATES_PER_S = (8.0, 30.0)  # net counts per second, by turns
DRIFT = 0.05

Array = npt.NDArray[np.float64]


@cache
def _program() -> tuple[Any, Any]:
    return crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR)


def _drift(rng: np.random.Generator, n_slices: int) -> Array:
    """Ln of the gain over the day: a cool night, and some wandering; 5 % from lowest to highest."""
    at = np.linspace(0.0, 1.0, n_slices)
    wander = np.cumsum(rng.standard_normal(n_slices)) / np.sqrt(n_slices)
    path = np.sin(2.0 * np.pi * (at + rng.uniform())) + 0.3 * wander
    return np.asarray(DRIFT * (path - path.min()) / np.ptp(path))


def drifting(
    truth: Truth, rng: np.random.Generator, n_slices: int = N_SLICES
) -> tuple[Array, Array, Array, MeasuredBackground]:
    """Slices that drift, what is expected in them, ln of the gains, and a background.

    The spectrum expected at the truth's gain (model error included) is one and the same for all slices.
    """
    drawn = counted_from(truth, rng)
    expected = drawn.expected / n_slices
    edges = np.arange(truth.n_channels + 1, dtype=np.float64) - 0.5
    gains = _drift(rng, n_slices)
    gains = gains - gains.mean()
    # The day's expected spectrum runs on above the range, so that a lower gain does not run dry.
    moved = np.array([rebin_counts(expected, edges * np.exp(g), edges).counts for g in gains])
    slices = rng.poisson(moved).astype(float)
    room = drawn.counted.background
    assert room is not None
    return slices, moved, gains, MeasuredBackground(room.counts, room.variance, BACKGROUND_U)


def peak_width(counts: Array, truth: Truth) -> float:
    """FWHM [channels] of the 2615 keV peak, a Gaussian on a falling step, in expected counts."""
    centre = float(truth.pulse.channel(2614.5))
    sigma = float(np.exp(truth.shape[-3])) * centre * np.sqrt(661.655 / 2614.5) / 2.355
    low, high = int(centre - 2.2 * sigma), int(min(centre + 3.5 * sigma, counts.size - 1))
    at = np.arange(low, high, dtype=float)
    seen = counts[low:high]

    def shape(x: Array, area: float, middle: float, width: float, step: float, base: float) -> Array:
        z = (x - middle) / width
        return area * np.exp(-0.5 * z * z) + step / (1.0 + np.exp(1.7 * z)) + base

    start = (float(seen.max() - seen.min()), centre, sigma, float(seen[0]) * 0.3, float(seen[-1]) + 0.1)
    found, _ = curve_fit(shape, at, seen, p0=start, sigma=np.sqrt(seen + 1.0), maxfev=20_000)
    return 2.3548 * abs(float(found[2]))


def trial(number: int, rng: np.random.Generator) -> Result:
    """One day: drawn, aligned, its peak compared."""
    rate = RATES_PER_S[number % len(RATES_PER_S)]
    truth = replace(
        draw_truth(rng, net_counts=rate * N_SLICES * SLICE_S, full_scale_kev=(3000.0, 3200.0)),
        room_share=float(rng.uniform(0.02, 0.15)),
    )
    slices, expected, gains, room = drifting(truth, rng)
    crystal, scatter = _program()
    facts: dict[str, Any] = {"rate": rate}
    time_s = np.asarray((np.arange(N_SLICES) + 0.5) * SLICE_S, dtype=np.float64)
    try:
        found = align_whole(list(slices), time_s, sample_named(truth.word), room, crystal, scatter)
    except (RefusedError, FitError) as refusal:
        return {**facts, "refused": str(refusal)[:120]}
    off = (found.log_ratio - found.log_ratio.mean()) - (gains - gains.mean())
    alone = (found.own.log_ratio - np.nanmean(found.own.log_ratio)) - (gains - gains.mean())
    aligned = peak_width(aligned_sum(expected, found.log_ratio).counts, truth)
    undrifted = peak_width(
        aligned_sum(expected, gains - float(slices.sum(axis=1) @ gains) / slices.sum()).counts, truth
    )
    drifted = peak_width(expected.sum(axis=0), truth)
    kev = 1.0 / float(truth.pulse.slope_per_kev(2614.5))
    return {
        **facts,
        "aligned_kev": aligned * kev,
        "undrifted_kev": undrifted * kev,
        "drifted_kev": drifted * kev,
        "counts_in": float(slices.sum()),
        "counts_out": float(found.total.counts.sum() + found.total.above),
        "off_percent": 100.0 * float(np.sqrt((off**2).mean())),
        "alone_percent": 100.0 * float(np.sqrt(np.nanmean(alone**2))),
        "inside": float((np.abs(off) <= 1.96 * found.u_log_ratio).mean()),
        "alone_inside": float((np.abs(alone) <= 1.96 * found.own.u_log_ratio).mean()),
        "rounds": found.rounds,
    }


def tables(trials: Trials) -> tuple[list[Table], str]:
    """Widths by rate, and the bar in words."""
    head = (
        "net counts per second",
        "days",
        "refused",
        "width without drift, keV",
        "drifted",
        "aligned",
        "aligned over undrifted (mean)",
        "gain of a slice, rms %",
        "by itself, rms %",
        "in the 95 % interval",
        "counts lost, at most",
    )
    rows, words = [], []
    for rate in RATES_PER_S:
        mine = [r for r in trials.results if r["rate"] == rate]
        kept = [r for r in mine if "aligned_kev" in r]
        ratio = np.array([r["aligned_kev"] / r["undrifted_kev"] for r in kept])
        mean, u = float(ratio.mean()), float(ratio.std(ddof=1) / np.sqrt(ratio.size))
        lost = max(abs(r["counts_out"] - r["counts_in"]) for r in kept)

        def middle(key: str, of: list[Any] = kept) -> float:
            return float(np.mean([r[key] for r in of]))

        rows.append(
            (
                f"{rate:.0f}",
                str(len(mine)),
                str(len(mine) - len(kept)),
                f"{middle('undrifted_kev'):.1f}",
                f"{middle('drifted_kev'):.1f}",
                f"{middle('aligned_kev'):.1f}",
                f"{mean:.4f} ± {u:.4f}",
                f"{middle('off_percent'):.3f}",
                f"{middle('alone_percent'):.3f}",
                f"{100 * middle('inside'):.1f} %",
                f"{lost:.1g}",
            )
        )
        words.append(f"{100 * (mean - 1):+.1f} ± {100 * u:.1f} % at {rate:.0f} per second")
    answer = "Mean width of the 2615 keV peak against the undrifted: " + ", ".join(words) + " (asked: within 2 %)."
    return [Table("A day with 5 % of drift in slices of ten minutes", head, tuple(rows))], answer


def main() -> int:
    """Run the days and write their page."""
    trials = run_trials("drift", trial, n_trials=N_TRIALS, seed=SEED, settings="no scale given, 5", workers=1)
    shown, answer = tables(trials)
    write_page(
        trials,
        title="Drift undone",
        question="Does aligning the slices of a count that drifted give back the peak, and keep every count?",
        tables=shown,
        answer=answer,
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
