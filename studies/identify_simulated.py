"""Identification of spectra simulated by independent means: what is there, and is anything else named?

The simulated spectra (tests/support/truth) come from a simulation that shares neither transport nor light model with
the program: bodies, windows, scatter, bremsstrahlung, tails of peaks, threshold and room are drawn. A trial is one
source, 5,000 to 500,000 counts of it over a room of a tenth to five times as many, a background of its own gain beside
it, and an energy scale as good as a calibration gives: ch(E) right within half a per cent, widths within 3 %.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from tests.support.truth.draw import Truth, draw_truth
from tests.support.truth.simulate import Simulated, simulate_spectrum

from studies.frame import Result, Table, run_trials, write_page
from truekev.quantity import Measured
from truekev.samples.binned import binned
from truekev.samples.candidates import NATURAL, RADON_PROGENY, candidates
from truekev.samples.component_templates import PeakShape
from truekev.samples.identify import identify_spectrum
from truekev.samples.sample_file import POINT_SAMPLE
from truekev.samples.sample_templates import sample_grid, sample_templates
from truekev.samples.spectrum_model import SpectrumModel
from truekev.scale.crystal import crystal_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.light import KNOTS_KEV, Pulse, psi_prior_covariance
from truekev.transport.detector import DEFAULT_DETECTOR

Array = npt.NDArray[np.float64]

SEED = 20261201
N_TRIALS = 120
# The simulation counts at 10 mm, which is known; matter about the activity is not.
PLACE = replace(POINT_SAMPLE, distance_mm=Measured(9.5, 0.5, "mm"))
RADIUM = {"Ra-226 part", RADON_PROGENY, "Pb-210"}
HELD: dict[str, set[str]] = {
    "thorium": {"Th-228 part"},
    "radium": RADIUM,
    "thorium with radium": RADIUM | {"Th-228 part"},
    "uranium": {"U-238 part", "U-235 part"},
    **{name: {name} for name in ("Am-241", "Cs-137", "Co-60", "Eu-152", "Ba-133", "K-40", "Co-57", "I-131")},
}
# What the body of a source may add, beside its nuclides.
BESIDE = {
    "thorium": {"Ra-228 part", "tungsten K X-rays", "lead K X-rays"},
    "thorium with radium": {"Ra-228 part", "lead K X-rays"},
    "radium": {"lead K X-rays"},
    "uranium": {"Pa-231"},
}
_SETTINGS = "2: scale within 0.5 %"


def _scale(of: Simulated, rng: np.random.Generator) -> EnergyScale:
    """A scale that follows the true one, off by what a calibration leaves open."""
    truth: Truth = of.truth
    energy = np.geomspace(30.0, min(truth.full_scale_kev, 2900.0), 40)
    channel = of.true_channel(energy)
    curve = crystal_of(DEFAULT_DETECTOR).curve

    def pulse(x: Array) -> Pulse:
        return Pulse(curve, float(x[0]), float(np.exp(x[1])), float(x[2]), float(x[3]), tuple(x[4:].tolist()))

    start = np.concatenate(([0.0, np.log(1e3 * truth.n_channels / truth.full_scale_kev), 1.0, 0.01], np.zeros(8)))

    def off(x: Array) -> Array:
        return np.concatenate(((pulse(x).channel(energy) / channel - 1.0) * 2e3, x[4:] / 0.02))

    found = least_squares(off, start, x_scale="jac")
    spread = np.concatenate(([0.1, 0.004, 0.03, 0.002], np.zeros(KNOTS_KEV.size)))
    moved = found.x + spread * rng.standard_normal(spread.size)
    covariance = np.diag(np.square([0.1, 0.004, 0.03, 0.002, *(0.0,) * 8]))
    covariance[4:, 4:] = 0.05 * psi_prior_covariance()
    light = truth.light.of_photon(np.array([122.0, 661.655]))
    low, high = truth.resolution.fwhm_kev(light)
    slope = float(np.log(high / low) / np.log(light[1] / light[0]) - 0.5)
    width = float(high / light[1]) * (1.0 + 0.03 * float(rng.standard_normal()))
    return EnergyScale(pulse(moved), covariance, truth.n_channels, width, slope, (), "made", "", DEFAULT_DETECTOR.name)


@cache
def _sources() -> tuple[str, ...]:
    return tuple(HELD)


def trial(number: int, rng: np.random.Generator) -> Result:
    """What is recognised in one simulated spectrum."""
    source = _sources()[number % len(_sources())]
    truth = draw_truth(
        rng,
        source=source,
        full_scale_kev=(1550.0, 3200.0),
        net_counts=(5e3, 5e5),
        background_ratio=(0.1, 5.0),
        fwhm662=(0.06, 0.12),
        zero_kev=(-5.0, 5.0),
        channels=(256, 512, 1024, 2048),
    )
    of = simulate_spectrum(replace(truth, overflow_in_last_channel=False), rng)
    scale = _scale(of, rng)
    grid = sample_grid(DEFAULT_DETECTOR, PLACE, PeakShape(scale.fwhm_662, scale.fwhm_slope))
    model = SpectrumModel(
        binned(of.spectrum, scale, of.background), scale, sample_templates(grid, PLACE, DEFAULT_DETECTOR)
    )
    found = identify_spectrum(model, [one.name for one in candidates()])
    answers = [[one.name, *one.instead] for one in found.recognised]
    return {
        "source": source,
        "net": truth.net_counts,
        "over_room": truth.net_counts / np.sqrt(truth.net_counts * (1 + truth.background_ratio)),
        "answers": answers,
        "unknown": [round(peak.energy_kev) for peak in found.unknown],
        "chi2": found.fit.chi2 / model.n_bins,
    }


def judged(result: Result) -> tuple[bool, list[str]]:
    """Whether what is there is among the answers, and what else is named."""
    held = HELD[result["source"]]
    beside = BESIDE.get(result["source"], set())
    natural = set(NATURAL) if held <= NATURAL else set()
    there = any(set(answer) & held for answer in result["answers"])
    wrong = [" or ".join(answer) for answer in result["answers"] if not set(answer) & (held | beside | natural)]
    return there, wrong + [f"unknown {energy} keV" for energy in result["unknown"]]


def main() -> int:
    """Run, print and write docs/validation/identify_simulated.md."""
    trials = run_trials("identify_simulated", trial, n_trials=N_TRIALS, seed=SEED, settings=_SETTINGS, workers=1)
    rows = []
    for source in (*HELD, "all"):
        of = [r for r in trials.results if source in (r["source"], "all")]
        there = sum(judged(r)[0] for r in of)
        wrong = Counter(name for r in of for name in judged(r)[1])
        n_wrong = sum(bool(judged(r)[1]) for r in of)
        named = ", ".join(f"{name} {n}" for name, n in wrong.most_common(6)) if source != "all" else "-"
        chi2 = float(np.median([r["chi2"] for r in of]))
        rows.append((source, str(len(of)), str(there), str(n_wrong), named or "-", f"{chi2:.2f}"))
    head = ("source", "spectra", "it is recognised", "something else is named", "what", "median chi-square per bin")
    there = sum(judged(r)[0] for r in trials.results)
    n_all = sum(bool(judged(r)[1]) for r in trials.results)
    write_page(
        trials,
        title="Identification of independently simulated spectra",
        question=(__doc__ or "").strip(),
        tables=[Table("Answers", head, tuple(rows))],
        answer=f"Of {len(trials.results)} spectra the source is recognised in {there}, something that is not there is "
        f"named in {n_all}.",
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
