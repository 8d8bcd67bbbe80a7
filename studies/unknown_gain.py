"""Unknown gain: how often the scale is right, wrong or refused, on spectra of an independent truth.

5,000 thorium sources at fresh seeds over the whole range of instruments, each with a measured background,
and 1,000 spectra of something else under the same word. Right means 239, 338, 583, 911 and, where in range,
2615 keV within 1 % or three stated standard deviations.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from tests.support.truth import draw_truth, simulate_spectrum

from studies.frame import Table, Trials, run_trials, write_page
from truekev.errors import RefusedError
from truekev.scale.calibrate import calibrate
from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import Crystal, crystal_of
from truekev.scale.sample import Sample, sample_of
from truekev.scale.search import BACKGROUND_U, MeasuredBackground
from truekev.sources.described import resolve_source
from truekev.transport.detector import DEFAULT_DETECTOR

__all__ = ["main", "trial"]

N_THORIUM = 5000
N_FOREIGN = 1000
SEED = 20261125
_FOREIGN = ("radium", "uranium", "Cs-137", "K-40", "room alone")
_LINES_KEV = (239.0, 338.0, 583.0, 911.0, 2614.5)


@cache
def _crystal() -> Crystal:
    return crystal_of(DEFAULT_DETECTOR)


@cache
def _sample(word: str) -> Sample:
    return sample_of([resolve_source(word)])


def trial(
    number: int, rng: np.random.Generator, *, with_background: bool = True, n_thorium: int = N_THORIUM
) -> dict[str, Any]:
    """One spectrum: drawn, calibrated, compared."""
    foreign = number >= n_thorium
    kind = _FOREIGN[number % len(_FOREIGN)] if foreign else "thorium"
    if kind == "room alone":
        truth = draw_truth(rng, source="thorium", net_counts=(1.0, 1.0), background_ratio=(2e4, 2e6))
    else:
        truth = draw_truth(rng, source=kind)
    simulated = simulate_spectrum(truth, rng)
    body = "W" if foreign and rng.random() < 0.5 else truth.surroundings.body
    word = "thoriated-rods" if body == "W" else "thorium-vial"
    background = None
    if with_background and simulated.background is not None and truth.background_live_time_s:
        times = truth.live_time_s / truth.background_live_time_s
        room = simulated.background.counts
        background = MeasuredBackground(room * times, room * times**2, BACKGROUND_U)
    width_239 = float(truth.resolution.fwhm_kev(239.0)) / truth.full_scale_kev * truth.n_channels
    facts: dict[str, Any] = {
        "kind": kind,
        "net_counts": truth.net_counts,
        "background_ratio": truth.background_ratio,
        "full_scale_kev": truth.full_scale_kev,
        "n_channels": truth.n_channels,
        "in_box": width_239 >= 2.0,
    }
    try:
        scale = calibrate([CountedSpectrum(simulated.spectrum.counts, background, _sample(word))], _crystal()).scales[0]
    except RefusedError as refusal:
        return {**facts, "outcome": "refused", "why": refusal.why[:60]}
    lines = np.array([e for e in _LINES_KEV if e < 0.985 * truth.full_scale_kev])
    stated = scale.energy_kev(simulated.true_channel(lines))
    error = np.abs(stated / lines - 1.0)
    pulls = np.abs(stated - lines) / scale.u_energy_kev(lines)
    right = bool(np.all((error <= 0.01) | (pulls <= 3.0)))
    return {
        **facts,
        "outcome": "right" if right else "wrong",
        "error": [float(e) for e in error],
        "pull": [float(p) for p in pulls],
    }


def trial_without_background(number: int, rng: np.random.Generator) -> dict[str, Any]:
    """The same without a measured background."""
    return trial(number, rng, with_background=False, n_thorium=1000)


def _count(rows: list[Any]) -> tuple[str, ...]:
    n = len(rows)
    names = ("right", "refused", "wrong")
    counts = [sum(r["outcome"] == name for r in rows) for name in names]
    return (str(n), *(f"{c} ({100 * c / n:.1f} %)" if n else "-" for c in counts))


def tables(trials: Trials) -> list[Table]:
    """Outcomes by full scale and counts, and of the foreign spectra by kind."""
    thorium = [r for r in trials.results if r["kind"] == "thorium"]
    rows = []
    for low, high in ((400, 900), (900, 1500), (1500, 2800), (2800, 6000)):
        for least, most in ((2e4, 1e5), (1e5, 2e6)):
            for inside in (True, False):
                chosen = [
                    r
                    for r in thorium
                    if low <= r["full_scale_kev"] < high and least <= r["net_counts"] < most and r["in_box"] is inside
                ]
                if chosen:
                    label = f"{least:.0f} to {most:.0f}"
                    rows.append((f"{low} to {high}", label, "yes" if inside else "no", *_count(chosen)))
    rows.append(("all", "all", "both", *_count(thorium)))
    head = ("full scale, keV", "net counts", "in the lockable box", "spectra", "right", "refused", "wrong")
    foreign = tuple(
        (kind, *_count([r for r in trials.results if r["kind"] == kind]))
        for kind in _FOREIGN
        if any(r["kind"] == kind for r in trials.results)
    )
    other = ("what it was", "spectra", "right", "refused", "wrong")
    return [
        Table("Thorium sources under their own name", head, tuple(rows)),
        Table("Other spectra under the name of a thorium source", other, foreign),
    ]


def answer(trials: Trials) -> str:
    """The bars in words."""
    thorium = [r for r in trials.results if r["kind"] == "thorium"]
    box = [r for r in thorium if r["in_box"] and r["full_scale_kev"] > 2800 and r["net_counts"] > 1e5]
    right = sum(r["outcome"] == "right" for r in box)
    wrong = sum(r["outcome"] == "wrong" for r in thorium)
    given = sum(r["outcome"] != "refused" for r in trials.results if r["kind"] != "thorium")
    n_foreign = len(trials.results) - len(thorium)
    return (
        f"Lockable box, full scale above 2.8 MeV, above 100,000 net counts: {right} of {len(box)} right "
        f"({100 * right / max(len(box), 1):.1f} %). Wrong and not refused: {wrong} of {len(thorium)}. "
        f"A scale given to another source: {given} of {n_foreign}."
    )


def main() -> int:
    """Run both series and write their page."""
    with_room = run_trials(
        "unknown_gain", trial, n_trials=N_THORIUM + N_FOREIGN, seed=SEED, settings="with background, verdict 1"
    )
    without = run_trials(
        "unknown_gain_without_background",
        trial_without_background,
        n_trials=1200,
        seed=SEED + 1,
        settings="without background, verdict 1",
    )
    text = answer(with_room) + "\n\nWithout a measured background (1,000 and 200 spectra): " + answer(without)
    shown = tables(with_room) + [
        Table(f"Without a measured background: {t.title}", t.columns, t.rows) for t in tables(without)
    ]
    for table in shown:
        print(table.text())
    print(text)
    write_page(
        with_room,
        title="Unknown gain",
        question="How often is the scale right, wrong or refused when nobody knows the gain?",
        tables=shown,
        answer=text,
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
