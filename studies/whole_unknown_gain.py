"""Unknown gain, whole-spectrum start: how often the scale is right, wrong or refused.

Spectra come from the engine's responses of another seed, truths from the fit's priors, over the lockable box: full
scale log-uniform from 400 keV to 6 MeV, 256 to 8192 channels, at least two channels of width at 239 keV, 5 to 12 %
resolution; 20,000 and 100,000 net counts; and other sources under the name of a thorium vial. Right means 239, 338,
583, 911 and, where in range, 2615 keV within 1 % or three stated standard deviations.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy.special import ndtr

from studies.frame import Result, Table, Trials, report_trials, run_trials
from studies.model_truth import Truth, counted_from, draw_truth, sample_named
from studies.scale_inside import program
from truekev.errors import FitError, RefusedError
from truekev.scale.whole.calibrate_whole import calibrate_whole

__all__ = ["main", "trial"]

SEED = 20261129
N_THORIUM, N_FOREIGN = 2400, 600
_FOREIGN = ("radium-dial", "uranium-glass", "Cs-137", "K-40", "Eu-152")
_FAR = 0.03
_LINES_KEV = np.array([239.0, 338.0, 583.0, 911.0, 2614.5])


def _in_box(truth: Truth) -> bool:
    fwhm_kev = float(np.exp(truth.shape[-3])) * np.sqrt(661.655 * 239.0)
    return bool(fwhm_kev * float(truth.pulse.slope_per_kev(239.0)) >= 2.0)


def _drawn(rng: np.random.Generator, word: str, counts: float) -> Truth:
    while True:
        top = float(np.exp(rng.uniform(np.log(420.0), np.log(6000.0))))
        truth = draw_truth(
            rng,
            word=word,
            n_channels=int(2 ** rng.integers(8, 14)),
            net_counts=counts,
            fwhm_662=(0.05, 0.12),
            full_scale_kev=(top, top),
        )
        if _in_box(truth):
            return truth


def trial(number: int, rng: np.random.Generator) -> Result:
    """One spectrum: drawn, calibrated under the name of a thorium vial, compared."""
    foreign = number % 5 == 4
    counts = 20_000.0 if (number // 5) % 2 else 100_000.0
    word = _FOREIGN[(number // 10) % len(_FOREIGN)] if foreign else "thorium-vial"
    truth = _drawn(rng, word, counts)
    counted = replace(counted_from(truth, rng).counted, sample=sample_named("thorium-vial"))
    end = float(truth.pulse.energy_kev(truth.n_channels - 0.5))
    facts: dict[str, Any] = {"word": word, "counts": counts, "end_kev": end if np.isfinite(end) else 4000.0}
    crystal, scatter = program()
    try:
        calibration = calibrate_whole([counted], crystal, scatter).calibration
    except (RefusedError, FitError) as refusal:
        return {**facts, "outcome": "refused", "why": str(refusal)[:60]}
    scale, confidence = calibration.scales[0], calibration.confidences[0]
    inside = np.flatnonzero(0.985 * facts["end_kev"] > _LINES_KEV)
    lines = _LINES_KEV[inside]
    says = scale.energy_kev(truth.pulse.channel(lines))
    error, pull = np.abs(says / lines - 1.0), np.abs(says - lines) / scale.u_energy_kev(lines)
    right = bool(np.all((error <= 0.01) | (pull <= 3.0)))
    return {
        **facts,
        "outcome": "right" if right else "wrong",
        "error": error.tolist(),
        "pull": pull.tolist(),
        "margin": min(confidence.margin, 1e6),
        "gained": confidence.evidence.gained,
    }


def _by_chance(rows: list[Any]) -> float:
    """How many spectra would be called wrong if errors were normal with the stated u; an upper bound, lines apart."""
    total = 0.0
    for r in rows:
        error, pull = np.array(r["error"]), np.maximum(np.array(r["pull"]), 1e-9)
        total += min(float(2.0 * ndtr(-np.maximum(3.0, 0.01 * pull / np.maximum(error, 1e-12))).sum()), 1.0)
    return total


def _row(rows: list[Any]) -> tuple[str, ...]:
    counts = [sum(r["outcome"] == name for r in rows) for name in ("right", "refused", "wrong")]
    return (str(len(rows)), *(f"{c} ({100 * c / max(len(rows), 1):.1f} %)" for c in counts))


def _tables(trials: Trials) -> tuple[list[Table], str]:
    thorium = [r for r in trials.results if r["word"] == "thorium-vial"]
    other = [r for r in trials.results if r["word"] != "thorium-vial"]
    rows, words = [], []
    for counts in (20_000.0, 100_000.0):
        for low, high in ((0, 900), (900, 1500), (1500, 2800), (2800, 1e9)):
            chosen = [r for r in thorium if r["counts"] == counts and low <= r["end_kev"] < high]
            rows.append((f"{counts:,.0f}", f"from {low:.0f} keV", *_row(chosen)))
        chosen = [r for r in thorium if r["counts"] == counts]
        rows.append((f"{counts:,.0f}", "all", *_row(chosen)))
        right = sum(r["outcome"] == "right" for r in chosen)
        words.append(f"{counts:,.0f} counts: {right} of {len(chosen)} right ({100 * right / len(chosen):.1f} %)")
    wrong = [r for r in thorium if r["outcome"] == "wrong"]
    largest = max((max(r["error"]) for r in wrong), default=0.0)
    words.append(f"wrong and not refused: {len(wrong)} of {len(thorium)} (largest error {100 * largest:.1f} %)")
    far = sum(max(r["error"][:4]) > _FAR for r in wrong)
    words.append(f"of these another gain (over {100 * _FAR:.0f} % off from 239 to 911 keV): {far}")
    chance = _by_chance([r for r in thorium if r["outcome"] != "refused"])
    words.append(f"normal errors of the stated uncertainty would make up to {chance:.1f} such")
    given = sum(r["outcome"] != "refused" for r in other)
    words.append(f"a scale given to another source: {given} of {len(other)}")
    head = ("net counts", "full scale", "spectra", "right", "refused", "wrong")
    foreign = tuple((word, *_row([r for r in other if r["word"] == word])) for word in _FOREIGN)
    tables = [
        Table("Thorium vials in the lockable box", head, tuple(rows)),
        Table("Other sources under that name", ("what it was", "spectra", "right", "refused", "wrong"), foreign),
    ]
    return tables, "; ".join(words) + "."


def main() -> int:
    """Run all and write the page."""
    trials = run_trials("whole_unknown_gain", trial, n_trials=N_THORIUM + N_FOREIGN, seed=SEED, settings="whole 13")
    return report_trials(trials, _tables, "Unknown gain, whole spectrum", __doc__ or "")


if __name__ == "__main__":
    raise SystemExit(main())
