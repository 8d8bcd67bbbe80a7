"""A background of another gain: whether the whole-spectrum fit finds the gain and the strength, and says how well.

Thorium vial on a 10 mm CsI(Tl) crystal, 1024 channels, 100,000 net counts; truths drawn from the fit's priors, the
background's gain off by 1.5 % and its strength by 5 %, its counting one to five times as long, responses of another
seed. An estimate shrunk by its prior moves by 1 - (u / 1.5 %)^2 of the truth, u its stated uncertainty.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from studies.frame import Result, Table, Trials, report_trials, run_trials
from studies.model_truth import counted_from, draw_truth
from studies.scale_inside import ENERGIES_KEV, program
from truekev.errors import FitError, RefusedError
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.scale.whole.model import N_SHAPE
from truekev.scale.whole.problem import ROOM_GAIN_U

__all__ = ["figures", "main", "trial"]

SEED = 20261130
N_TRIALS = 300
COUNTS = 100_000.0
GROUPS = (("counted up to 2.3 times as long", 1.0, 2.3), ("2.3 to 3.6", 2.3, 3.6), ("3.6 to 5", 3.6, 5.0))


def trial(number: int, rng: np.random.Generator) -> Result:
    """One spectrum with its background."""
    truth = draw_truth(rng, n_channels=1024, net_counts=COUNTS)
    drawn = counted_from(truth, rng)
    facts: dict[str, Any] = {"true": truth.room_gain, "times": truth.room_times}
    try:
        found = calibrate_whole([drawn.counted], *program())
    except (RefusedError, FitError) as refusal:
        return {**facts, "refused": str(refusal)[:80]}
    one, scale = found.fit.spectra[0], found.calibration.scales[0]
    says = scale.energy_kev(truth.pulse.channel(ENERGIES_KEV))
    return {
        **facts,
        "found": one.room_gain,
        "u": float(np.sqrt(found.fit.covariance[N_SHAPE + 1, N_SHAPE + 1])),
        "strength": float(one.strengths[-1]) / truth.room_strength,
        "over_u": ((says - ENERGIES_KEV) / scale.u_energy_kev(ENERGIES_KEV)).tolist(),
    }


def figures(rows: list[Any]) -> dict[str, float]:
    """Slope of found on true, what the prior leaves of it, root mean square of error over stated, strength."""
    true, found, u = (np.array([r[name] for r in rows]) for name in ("true", "found", "u"))
    strength = np.array([r["strength"] for r in rows])
    return {
        "slope": float(true @ found / (true @ true)),
        "expected": float(1.0 - np.mean(u**2) / ROOM_GAIN_U**2),
        "pull": float(np.sqrt(np.mean(((found - true) / u) ** 2))),
        "strength": float(strength.mean()),
        "u_strength": float(strength.std() / np.sqrt(strength.size)),
        "inside": float(100.0 * np.mean(np.abs([r["over_u"] for r in rows]) <= 1.96)),
    }


def _tables(trials: Trials) -> tuple[list[Table], str]:
    kept = [r for r in trials.results if "found" in r]
    head = ("background", "trials", "found over true", "prior leaves", "error over u", "strength", "energies inside, %")
    lines = []
    for name, low, high in (("all", 0.0, 99.0), *GROUPS):
        rows = [r for r in kept if low <= r["times"] < high]
        f = figures(rows)
        strength = f"{f['strength']:.3f} ± {f['u_strength']:.3f}"
        lines.append(
            (
                name,
                str(len(rows)),
                f"{f['slope']:.2f}",
                f"{f['expected']:.2f}",
                f"{f['pull']:.2f}",
                strength,
                f"{f['inside']:.1f}",
            )
        )
    f = figures(kept)
    answer = (
        f"Found over true gain {f['slope']:.2f}, where the prior leaves {f['expected']:.2f} of what is known to the "
        f"stated uncertainty; error over stated uncertainty, root mean square, {f['pull']:.2f}; strength "
        f"{f['strength']:.3f} ± {f['u_strength']:.3f} of the true one; refused {len(trials.results) - len(kept)} of "
        f"{len(trials.results)}."
    )
    return [Table("Gain and strength of a measured background", head, tuple(lines))], answer


def main() -> int:
    """Run the trials and write their page."""
    trials = run_trials("background_gain", trial, n_trials=N_TRIALS, seed=SEED, settings="whole 13")
    return report_trials(trials, _tables, "Whole spectrum: a background of another gain", __doc__ or "")


if __name__ == "__main__":
    raise SystemExit(main())
