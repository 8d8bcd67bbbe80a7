"""Outside the model: what becomes of the whole-spectrum fit where the truth is not of its kind.

Scatter, light curve, line intensities, gain of the background, trigger and size of the crystal are changed behind the
fit's back, one at a time and all together; thorium vial, 1024 channels, 100,000 net counts.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from studies.frame import Result, Table, Trials, report_trials, run_trials
from studies.model_truth import CHANGES, counted_from, draw_truth, with_changes
from studies.scale_inside import ENERGIES_KEV, program
from truekev.errors import FitError, RefusedError
from truekev.scale.whole.calibrate_whole import calibrate_whole

__all__ = ["CASES", "main", "trial"]

SEED = 20261128
N_EACH = 240
COUNTS = 100_000.0
CASES = ("nothing changed", *CHANGES, "all of these")


def trial(number: int, rng: np.random.Generator) -> Result:
    """One spectrum of one case."""
    case = CASES[number % len(CASES)]
    truth = draw_truth(rng, n_channels=1024, net_counts=COUNTS)
    changed = CHANGES if case == "all of these" else (case,) if case in CHANGES else ()
    truth = with_changes(truth, {name: float(rng.uniform(-1.0, 1.0)) for name in changed}, rng)
    drawn = counted_from(truth, rng)
    facts: dict[str, Any] = {"case": case}
    crystal, scatter = program()
    try:
        scale = calibrate_whole([drawn.counted], crystal, scatter).calibration.scales[0]
    except (RefusedError, FitError) as refusal:
        return {**facts, "refused": str(refusal)[:80]}
    says = scale.energy_kev(truth.pulse.channel(ENERGIES_KEV))
    return {**facts, "error_kev": (says - ENERGIES_KEV).tolist(), "u_kev": scale.u_energy_kev(ENERGIES_KEV).tolist()}


def _tables(trials: Trials) -> tuple[list[Table], str]:
    head = ("changed", "refused", *(f"{e:.0f} keV" for e in ENERGIES_KEV), "inside, %")
    bias, spread = [], []
    words = ""
    for case in CASES:
        rows = [r for r in trials.results if r["case"] == case]
        kept = [r for r in rows if "error_kev" in r]
        if not kept:
            continue
        error = np.array([r["error_kev"] for r in kept])
        inside = np.abs(error) <= 1.96 * np.array([r["u_kev"] for r in kept])
        percent = 100.0 * error / ENERGIES_KEV
        refused = f"{len(rows) - len(kept)} of {len(rows)}"
        covered = f"{100 * inside.mean():.1f}"
        standard = percent.std(axis=0) / np.sqrt(len(kept))
        means = (f"{m:+.2f} ± {s:.2f}" for m, s in zip(percent.mean(axis=0), standard, strict=True))
        bias.append((case, refused, *means, covered))
        sizes = (f"{v:.2f}" for v in np.sqrt((percent**2).mean(axis=0)))
        spread.append((case, refused, *sizes, covered))
        if case == "all of these":
            high = np.abs(percent.mean(axis=0)[1:]).max()
            words = (
                f"All together: largest mean error above 200 keV {high:.2f} %, at 60 keV "
                f"{percent.mean(axis=0)[0]:+.2f} %; truth inside the stated 95 % interval {covered} %."
            )
    tables = [
        Table("Mean error, % of the energy, with its standard uncertainty", head, tuple(bias)),
        Table("Root mean square error, % of the energy", head, tuple(spread)),
    ]
    return tables, words


def main() -> int:
    """Run the cases and write their page."""
    trials = run_trials("scale_outside", trial, n_trials=N_EACH * len(CASES), seed=SEED, settings="whole 8")
    return report_trials(trials, _tables, "Whole spectrum: outside the model", __doc__ or "")


if __name__ == "__main__":
    raise SystemExit(main())
