"""Inside the model: how close the whole-spectrum fit comes to the bound, and whether its intervals hold.

A thorium vial on a 10 mm CsI(Tl) crystal, counted with a background; truths drawn from the fit's priors (model error
included), responses from Monte Carlo runs of another seed; gain unknown to the program, which starts from the spectrum.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from studies.frame import Result, Table, Trials, report_trials, run_trials
from studies.model_truth import Truth, counted_from, draw_truth, sample_named
from truekev.errors import FitError, RefusedError
from truekev.scale.crystal import Crystal, crystal_of, scatter_of
from truekev.scale.whole.bins import merged
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.scale.whole.fit import expected_covariance
from truekev.scale.whole.fit_start import kept_parts, pulse_covariance
from truekev.scale.whole.prior import shape_prior, ties_of
from truekev.scale.whole.strengths import Start
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.stand import Scatter

__all__ = ["CELLS", "ENERGIES_KEV", "bound_kev", "figures", "main", "program", "trial"]

SEED = 20261127
N_EACH = 2000
CELLS = tuple((n, counts) for n in (256, 1024) for counts in (5_000, 20_000, 200_000))
ENERGIES_KEV = np.array([60.0, 240.0, 583.0, 911.0, 1461.0, 2615.0])


@cache
def program() -> tuple[Crystal, tuple[Scatter, ...]]:
    """Crystal and scatter as the program ships them."""
    return crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR)


def bound_kev(truth: Truth, drawn: Any) -> np.ndarray[Any, Any]:
    """Standard deviation of the energy [keV] that no estimate can beat, at `ENERGIES_KEV`."""
    crystal, scatter = program()
    sample = sample_named(truth.word)
    parts = kept_parts(sample, crystal, scatter, with_room=False)
    width = float(np.exp(truth.shape[-3]))
    expected = drawn.expected
    data = merged(expected, drawn.expected_background, truth.pulse, width)
    start = Start(data, parts, truth.log_gain, ties_of(sample))
    theta = np.concatenate([truth.shape, [truth.log_gain, truth.room_gain]])
    strengths = np.append(truth.strengths[:-1], truth.room_strength)
    covariance = expected_covariance(start, shape_prior(), theta, strengths)
    of_pulse = pulse_covariance(covariance, truth.pulse, 0)
    jacobian = truth.pulse.jacobian(ENERGIES_KEV)
    variance = np.einsum("ij,jk,ik->i", jacobian, of_pulse, jacobian)
    return np.asarray(np.sqrt(variance) / truth.pulse.slope_per_kev(ENERGIES_KEV))


def trial(number: int, rng: np.random.Generator) -> Result:
    """One spectrum: drawn, calibrated, compared with the truth and the bound."""
    n_channels, counts = CELLS[number % len(CELLS)]
    truth = draw_truth(rng, n_channels=n_channels, net_counts=counts)
    drawn = counted_from(truth, rng)
    facts: dict[str, Any] = {"n_channels": n_channels, "counts": counts, "bound_kev": bound_kev(truth, drawn).tolist()}
    crystal, scatter = program()
    try:
        found = calibrate_whole([drawn.counted], crystal, scatter)
    except (RefusedError, FitError) as refusal:
        return {**facts, "refused": str(refusal)[:80]}
    scale = found.calibration.scales[0]
    says = scale.energy_kev(truth.pulse.channel(ENERGIES_KEV))
    return {
        **facts,
        "error_kev": (says - ENERGIES_KEV).tolist(),
        "u_kev": scale.u_energy_kev(ENERGIES_KEV).tolist(),
        "chi2": found.verdicts[0].chi2,
        "dof": found.verdicts[0].dof,
        "rounds": found.fit.rounds,
    }


def figures(rows: list[Any]) -> dict[str, Any]:
    """Spread over bound and coverage of one cell, by energy and together."""
    kept = [r for r in rows if "error_kev" in r]
    error = np.array([r["error_kev"] for r in kept])
    bound = np.array([r["bound_kev"] for r in kept])
    u = np.array([r["u_kev"] for r in kept])
    ratio = np.sqrt((error**2).mean(axis=0) / (bound**2).mean(axis=0))
    each = np.sqrt(((error / bound) ** 2).mean(axis=0))
    inside = (np.abs(error) <= 1.96 * u).mean(axis=0)
    return {
        "n": len(rows),
        "refused": len(rows) - len(kept),
        "ratio": ratio,
        "pooled": float(np.sqrt(np.mean(ratio**2))),
        "each": each,
        "own": np.sqrt((u**2).mean(axis=0) / (bound**2).mean(axis=0)),
        "inside": inside,
        "coverage": float(inside.mean()),
        "percent": 100.0 * np.sqrt((error**2).mean(axis=0)) / ENERGIES_KEV,
        "bias": 100.0 * error.mean(axis=0) / ENERGIES_KEV,
    }


def _tables(trials: Trials) -> tuple[list[Table], str]:
    head = ("channels, net counts", "refused", *(f"{e:.0f} keV" for e in ENERGIES_KEV), "together")
    spread: list[tuple[str, ...]] = []
    singly: list[tuple[str, ...]] = []
    own: list[tuple[str, ...]] = []
    coverage: list[tuple[str, ...]] = []
    size: list[tuple[str, ...]] = []
    cells = []

    def pooled(values: np.ndarray[Any, Any]) -> float:
        return float(np.sqrt(np.mean(values**2)))

    for n_channels, counts in CELLS:
        rows = [r for r in trials.results if (r["n_channels"], r["counts"]) == (n_channels, counts)]
        f = figures(rows)
        cells.append(f)
        first = (f"{n_channels}, {counts:,}", f"{f['refused']} of {f['n']}")
        for table, values in ((spread, f["ratio"]), (singly, f["each"]), (own, f["own"])):
            table.append((*first, *(f"{v:.3f}" for v in values), f"{pooled(values):.3f}"))
        coverage.append((*first, *(f"{100 * v:.1f}" for v in f["inside"]), f"{100 * f['coverage']:.1f}"))
        size.append((*first, *(f"{p:.2f} ({b:+.2f})" for p, b in zip(f["percent"], f["bias"], strict=True)), ""))
    tables = [
        Table(
            "Spread over bound: root mean square error over root mean square bound of the same draws",
            head,
            tuple(spread),
        ),
        Table("Each error over the bound of its own draw, root mean square", head, tuple(singly)),
        Table("Stated uncertainty over bound, root mean squares", head, tuple(own)),
        Table("Truth inside the stated 95 % interval, %", head, tuple(coverage)),
        Table("Root mean square error, % of the energy (mean error in brackets)", head, tuple(size)),
    ]
    over, each, stated = (pooled(np.array([pooled(f[name]) for f in cells])) for name in ("ratio", "each", "own"))
    answer = (
        f"Pooled over the cells: spread over bound {over:.3f} (each error over the bound of its own draw: {each:.3f}); "
        f"inside the 95 % interval {100 * np.mean([f['coverage'] for f in cells]):.1f} %; stated u over bound "
        f"{stated:.3f}. With few counts the likelihood is no parabola, and the bound is not reached."
    )
    return tables, answer


def main() -> int:
    """Run the cells and write their page."""
    trials = run_trials("scale_inside", trial, n_trials=N_EACH * len(CELLS), seed=SEED, settings="whole 13")
    return report_trials(trials, _tables, "Whole spectrum: inside the model", __doc__ or "")


if __name__ == "__main__":
    raise SystemExit(main())
