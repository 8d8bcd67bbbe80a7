"""Counts saved: how many counts a scale good to 1 % takes by the whole spectrum, by peaks, and by bench habit.

A thorium vial on a 10 mm CsI(Tl) crystal, 1,024 channels, counted with a background; truths drawn from the priors of
the whole-spectrum fit (model error included), responses from Monte Carlo runs of another seed. Error: what a scale
reads at the true place of 60, 240, 583, 911, 1461 and 2615 keV, less that, in % of it; root mean square over trials
and energies. Counts are net counts of the source; the room adds 10 to 60 %. A way gets there at the smallest counts
at which nine trials in ten have a scale and those are good to 1 %, interpolated in the logarithm of the counts.

- *whole*: `truekev calibrate` as it is; gain unknown to it. Refusals are trials without a scale.
- *habit*: Gaussians on a linear continuum at 239, 338, 583, 727, 911 with 969, 1588 and 2615 keV; a peak stands out
  where its net counts exceed five times the root of all counts there; before four stand out, 2615 keV among them,
  there is no scale; then a quadratic. *Habit with X-rays*: the 77 keV X-rays too, peaks weighed by their uncertainty.
  Both know where the peaks are to 1 % and how wide they are.
- *peaks*: `truekev calibrate --method peaks`: the same light model through line groups; widths follow one law within
  12 %; the continuum is that of the whole-shape model, scaled and tilted.
- *peaks, linear*, *quadratic*, *step*: the same light model, widths tied by one factor, on these continua in a window
  around each of the strongest lines, once 2615 keV is among them. They know what the program does not: the gain to 1 %,
  true widths, true strengths of the lines.

The second part thins a measured spectrum, `eu152-1h`, 200 times: each count is kept by chance, the background stays.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from studies.frame import Result, Table, run_trials, write_page
from studies.model_truth import Truth, counted_from, draw_truth, other_scatter
from studies.peak_habits import CONTINUA, peaks_of_lines, quadratic_of_bench, true_widths
from studies.scale_inside import ENERGIES_KEV, program
from studies.thinned_counts import thinned_part
from truekev.errors import FitError, OutOfRangeError, RefusedError
from truekev.scale.calibrate import calibrate
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.whole.calibrate_whole import calibrate_whole

__all__ = ["LADDER", "WAYS", "errors_percent", "main", "needed", "rms_and_share", "trial"]

Array = npt.NDArray[np.float64]
SEED = 20261203
N_TRIALS = 40
LADDER = (2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 5e5, 1e6, 2e6, 5e6)
WAYS = ("whole", "habit", "habit with X-rays", "peaks", *(f"peaks, {one}" for one in CONTINUA))
TARGET_PERCENT = 1.0
ENOUGH = 0.9  # share of trials with a scale
_PLACES_U = 0.01  # how well a person knows beforehand where peaks are
_NO_SCALE_PERCENT = 50.0  # an error as large is a failed fit that a person would see


def errors_percent(counted: CountedSpectrum, truth: Truth, rng: np.random.Generator) -> dict[str, list[float] | None]:
    """Error [%] of each way at `ENERGIES_KEV`; None where it has no scale."""
    crystal, scatter = program()
    place = truth.pulse.channel(ENERGIES_KEV)
    guess = replace(truth.pulse, gain=truth.pulse.gain * float(np.exp(_PLACES_U * rng.standard_normal())))

    def by_bench(xrays: bool) -> Array | None:
        found = quadratic_of_bench(counted.counts, guess, partial(true_widths, truth), xrays=xrays, weighed=xrays)
        if found is None:
            return None
        return np.asarray(np.polynomial.polynomial.polyval(place / counted.counts.size, found[0]))

    def by_lines(continuum: str) -> Array | None:
        found = peaks_of_lines(counted, truth, other_scatter(), crystal.curve, guess, continuum)
        return None if found is None else found.pulses[0].energy_kev(place)

    ways: dict[str, Callable[[], Array | None]] = {
        "whole": lambda: calibrate_whole([counted], crystal, scatter).calibration.scales[0].energy_kev(place),
        "habit": lambda: by_bench(False),
        "habit with X-rays": lambda: by_bench(True),
        "peaks": lambda: calibrate([counted], crystal).scales[0].energy_kev(place),
    }
    ways |= {f"peaks, {one}": partial(by_lines, one) for one in CONTINUA}
    errors: dict[str, list[float] | None] = {}
    for name, way in ways.items():
        try:
            says = way()
        except (RefusedError, FitError, OutOfRangeError):
            says = None
        percent = None if says is None else 100.0 * (says / ENERGIES_KEV - 1.0)
        usable = percent is not None and bool(np.all(np.abs(percent) < _NO_SCALE_PERCENT))
        errors[name] = percent.tolist() if percent is not None and usable else None
    return errors


def trial(number: int, rng: np.random.Generator, ladder: Sequence[float] = LADDER) -> Result:
    """One truth, counted anew at every number of counts of the ladder."""
    truth = draw_truth(rng, net_counts=1.0)
    errors = []
    for net_counts in ladder:
        longer = replace(truth, strengths=truth.strengths * net_counts, net_counts=net_counts)
        errors.append(errors_percent(counted_from(longer, rng).counted, longer, rng))
    return {"errors": errors}


def rms_and_share(results: Sequence[Any], way: str, lowest_kev: float = 0.0) -> tuple[Array, Array]:
    """Root mean square error [%] (NaN where none has a scale) and share of trials with a scale, by counts."""
    asked = lowest_kev <= ENERGIES_KEV
    rms, share = [], []
    for rung in range(len(results[0]["errors"])):
        found = [r["errors"][rung][way] for r in results]
        kept = np.array([one for one in found if one is not None])
        share.append(len(kept) / len(found))
        rms.append(float(np.sqrt((kept[:, asked] ** 2).mean())) if len(kept) else np.nan)
    return np.array(rms), np.array(share)


def needed(counts: Sequence[float], rms: Array, share: Array) -> float:
    """Smallest counts at which enough trials have a scale and it is good enough; infinite if that never happens."""
    log_counts = np.log(counts)
    there = (share >= ENOUGH) & (rms <= TARGET_PERCENT)
    if not there.any():
        return float("inf")
    at = int(np.argmax(there))
    if at == 0:
        return float(counts[0])
    found = float(log_counts[at - 1])
    span = float(log_counts[at] - log_counts[at - 1])
    if share[at - 1] < ENOUGH:
        part = (ENOUGH - share[at - 1]) / (share[at] - share[at - 1])
        found = max(found, float(log_counts[at - 1] + part * span))
    if np.isfinite(rms[at - 1]) and rms[at - 1] > TARGET_PERCENT:
        part = np.log(rms[at - 1] / TARGET_PERCENT) / np.log(rms[at - 1] / rms[at])
        found = max(found, float(log_counts[at - 1] + part * span))
    return float(np.exp(found))


def _interval(results: Sequence[Any], way: str, lowest_kev: float, ladder: Sequence[float]) -> tuple[float, float]:
    """Counts needed, 16 and 84 % of samples of the trials drawn with replacement."""
    rng = np.random.default_rng(SEED)
    found = []
    for _ in range(200):
        drawn = [results[i] for i in rng.integers(0, len(results), len(results))]
        found.append(needed(ladder, *rms_and_share(drawn, way, lowest_kev)))
    ordered = np.sort(found)
    return float(ordered[31]), float(ordered[167])


def _said(counts: float) -> str:
    return f"{float(f'{counts:.2g}'):,.0f}" if np.isfinite(counts) else f"not by {LADDER[-1]:,.0f}"


def _ladder_table(results: Sequence[Any], title: str, lowest_kev: float) -> Table:
    rows = []
    for way in WAYS:
        rms, share = rms_and_share(results, way, lowest_kev)
        cells = ["none" if s == 0 else f"{r:.2f} ({100 * s:.0f})" for r, s in zip(rms, share, strict=True)]
        rows.append((way, *cells))
    return Table(title, ("way", *(f"{c:,.0f}" for c in LADDER)), tuple(rows))


def _energy_table(results: Sequence[Any], net_counts: float) -> Table:
    rung = LADDER.index(net_counts)
    rows = []
    for way in WAYS:
        kept = np.array([r["errors"][rung][way] for r in results if r["errors"][rung][way] is not None])
        if len(kept):
            cells = [
                f"{r:.2f} ({m:+.2f})" for r, m in zip(np.sqrt((kept**2).mean(axis=0)), kept.mean(axis=0), strict=True)
            ]
        else:
            cells = ["none"] * ENERGIES_KEV.size
        rows.append((way, *cells))
    head = ("way", *(f"{e:.0f} keV" for e in ENERGIES_KEV))
    return Table(f"Root mean square error at {net_counts:,.0f} counts, % (mean error in brackets)", head, tuple(rows))


def _needed_table(results: Sequence[Any], title: str, lowest_kev: float) -> tuple[Table, dict[str, float]]:
    counts = {way: needed(LADDER, *rms_and_share(results, way, lowest_kev)) for way in WAYS}
    rows = []
    for way in WAYS:
        low, high = _interval(results, way, lowest_kev, LADDER)
        share = counts["whole"] / counts[way] if np.isfinite(counts[way]) else np.nan
        ratio = "" if way == "whole" else f"{share:.3f}" if np.isfinite(share) else "the other never gets there"
        if not np.isfinite(counts["whole"]) and way != "whole":
            ratio = "whole does not get there"
        between = f"{_said(low)} to {_said(high)}" if np.isfinite(low) else ""
        rows.append((way, _said(counts[way]), between, ratio))
    return Table(title, ("way", "counts for 1 %", "68 % by resampling", "whole over it"), tuple(rows)), counts


def _against(counts: dict[str, float], name: str, ways: Sequence[str], asked: str) -> str:
    best = min(ways, key=lambda way: counts[way])
    if not np.isfinite(counts[best]):
        return f"{name} never gets there by {LADDER[-1]:,.0f} counts"
    return f"{counts['whole'] / counts[best]:.3f} of what {name} takes ({best}; asked: at most {asked})"


def simulated_part(results: Sequence[Any]) -> tuple[list[Table], str]:
    """Tables and answer of the ladder."""
    all_six, counts = _needed_table(results, "Counts for 1 % over the six energies", 0.0)
    from_240, above = _needed_table(results, "Counts for 1 % over the five energies from 240 keV up", 200.0)
    tables = [
        all_six,
        _ladder_table(
            results, "Root mean square error over the six energies, % (trials with a scale, %), by counts", 0.0
        ),
        from_240,
        _ladder_table(results, "The same from 240 keV up", 200.0),
        _energy_table(results, 200_000.0),
    ]
    habits = [w for w in WAYS if w.startswith("habit")]
    peaks = [w for w in WAYS if w.startswith("peaks")]
    words = []
    for what, one in (("six energies", counts), ("five energies from 240 keV up", above)):
        words.append(
            f"Over the {what} the whole spectrum takes {_said(one['whole'])} counts for 1 %: "
            f"{_against(one, 'bench habit', habits, 'a tenth')}; {_against(one, 'fitting peaks', peaks, 'a third')}."
        )
    words.append(
        "At 60 keV nothing but the model of light says where the scale lies below the X-rays: there the model error "
        "that was drawn sets the limit of the whole spectrum, not counting, and peaks fail."
    )
    return tables, " ".join(words)


def main() -> int:
    """Run both parts and write their page."""
    trials = run_trials("counts_saved", trial, n_trials=N_TRIALS, seed=SEED, settings="saved 7")
    tables, answer = simulated_part(trials.results)
    thinned, picture = thinned_part()
    write_page(
        trials,
        title="Counts saved",
        question=(__doc__ or "").strip(),
        tables=[*tables, *thinned],
        answer=f"{answer}\n\n{picture}".strip(),
    )
    print(answer)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
