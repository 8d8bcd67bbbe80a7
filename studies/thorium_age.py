"""Do the ages of thorium and the fraction of radium kept cover the truth, and is "one age" ever a wrong one.

One trial is one set-up: a true age, a relative uncertainty of both activities, and what else is known.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from studies.frame import Result, Table, run_trials, write_page
from truekev.nuclides.chain import DecayChain
from truekev.nuclides.history import YEAR_S
from truekev.quantity import Measured
from truekev.samples.radium_kept import radium_kept_at
from truekev.samples.thorium_age import thorium_refined
from truekev.samples.thorium_count import ThoriumCount

SEED = 20261127
N_REFINED, N_KEPT = 600, 200
TH232_BQ = 1000.0
MASS_U = 0.03
DAY_S = 86400.0


@dataclass(frozen=True)
class SetUp:
    """True age, relative uncertainty of activities, and what is known beside one count.

    `known` is "" (nothing), "mass" (of the source), "later" (a second count after 400 days) or "rods" (a count of the
    rods on the day of the separation). `kept` is None where thorium was refined once and left alone.
    """

    years: float
    u: float
    known: str = ""
    kept: float | None = None


REFINED = [
    SetUp(years, u, known)
    for years in (1.0, 4.55, 6.0, 12.0, 40.0)
    for u in (0.02, 0.05)
    for known in ("", "mass", "later")
]
KEPT = [SetUp(15.0, 0.03, known, kept) for kept in (0.0, 0.3, 0.9) for known in ("rods", "mass")]
SET_UPS = (*REFINED, *KEPT)


def _truth(chain: DecayChain, set_up: SetUp, days: float) -> tuple[float, float]:
    """True activities of Ac-228 and Pb-212 [Bq] so many days after the first count or the separation."""
    state = chain.activity_transfer(set_up.years * YEAR_S) @ chain.vector({"Th-232": TH232_BQ, "Th-228": TH232_BQ})
    if set_up.kept is not None:
        state = state * chain.vector({name: set_up.kept if name[:2] in ("Ra", "Ac") else 1.0 for name in chain.members})
    later = dict(zip(chain.members, chain.activity_transfer(days * DAY_S) @ state, strict=True))
    return later["Ac-228"], later["Pb-212"]


def count_of(true: tuple[float, float], day: float, u: float, rng: np.random.Generator) -> ThoriumCount:
    """A count with normal errors of relative size `u`, a small Ac-228 activity with those of 1 % of the other."""
    spread = (max(u * true[0], 0.01 * true[1]), u * true[1])
    drawn = [Measured(float(rng.normal(a, s)), s, "Bq") for a, s in zip(true, spread, strict=True)]
    return ThoriumCount(drawn[0], drawn[1], day, ("Ac-228", "Pb-212"))


def judge_refined(set_up: SetUp, n: int, rng: np.random.Generator) -> dict[str, float]:
    """Shares of draws: age covered, called one age, one age and wrong, called misfit."""
    chain = DecayChain.of(["Th-232"])
    days = (0.0, 400.0) if set_up.known == "later" else (0.0,)
    truths = [_truth(chain, set_up, day) for day in days]
    covered = one = wrong = misfit = 0
    for _ in range(n):
        counts = [count_of(true, day, set_up.u, rng) for true, day in zip(truths, days, strict=True)]
        mass = Measured(float(rng.normal(TH232_BQ, MASS_U * TH232_BQ)), MASS_U * TH232_BQ, "Bq")
        found = thorium_refined(counts, th232=mass if set_up.known == "mass" else None)
        holds = any((s.low_years or 0.0) <= set_up.years <= (s.high_years or np.inf) for s in found.solutions)
        covered += holds
        one += found.verdict == "one age"
        wrong += found.verdict == "one age" and not holds
        misfit += not found.fits
    return {"covered": covered / n, "one": one / n, "wrong": wrong / n, "misfit": misfit / n}


def judge_kept(set_up: SetUp, n: int, rng: np.random.Generator) -> dict[str, float]:
    """Shares of draws: kept fraction covered, found, thorium activity covered; mean width of the interval."""
    chain = DecayChain.of(["Th-232"])
    assert set_up.kept is not None
    after, rods = _truth(chain, set_up, 10.0), _truth(chain, SetUp(set_up.years, set_up.u), 0.0)
    covered = found_it = thorium = 0
    width = 0.0
    for _ in range(n):
        mass = Measured(float(rng.normal(TH232_BQ, MASS_U * TH232_BQ)), MASS_U * TH232_BQ, "Bq")
        found = radium_kept_at(
            [count_of(after, 10.0, set_up.u, rng)],
            0.0,
            before=count_of(rods, 0.0, set_up.u, rng) if set_up.known == "rods" else None,
            th232=mass if set_up.known == "mass" else None,
        )
        low, high = found.kept_interval
        covered += low <= set_up.kept <= high
        found_it += found.verdict == "kept fraction found"
        thorium += found.th232_bq[0] <= TH232_BQ <= found.th232_bq[1]
        width += (high - low) / n
    return {"covered": covered / n, "found": found_it / n, "thorium": thorium / n, "width": width}


def trial(number: int, rng: np.random.Generator) -> Result:
    """One set-up."""
    set_up = SET_UPS[number]
    shares = judge_refined(set_up, N_REFINED, rng) if set_up.kept is None else judge_kept(set_up, N_KEPT, rng)
    return {"set_up": asdict(set_up), **shares}


def _percent(*shares: float) -> tuple[str, ...]:
    return tuple(f"{100 * share:.1f}" for share in shares)


_KNOWN = {"": "one count", "mass": "and the mass to 3 %", "later": "and a count 400 days later", "rods": "and the rods"}


def main() -> None:
    """Run the study."""
    trials = run_trials("thorium_age", trial, n_trials=len(SET_UPS), seed=SEED, settings=f"{SET_UPS} {N_REFINED}")
    refined, kept = trials.results[: len(REFINED)], trials.results[len(REFINED) :]
    tables = [
        Table(
            "Refined once [%]",
            (
                "true age, years",
                "u %",
                "known",
                "true age covered",
                "called one age",
                "one age and wrong",
                "no age fits",
            ),
            tuple(
                (
                    f"{s.years:g}",
                    f"{100 * s.u:g}",
                    _KNOWN[s.known],
                    *_percent(r["covered"], r["one"], r["wrong"], r["misfit"]),
                )
                for s, r in zip(REFINED, refined, strict=True)
            ),
        ),
        Table(
            "Radium partly kept ten days before the count, 15 years after refining, u 3 % [%]",
            ("kept", "known", "kept covered", "called found", "Th-232 covered", "mean width of interval"),
            tuple(
                (
                    f"{100 * (s.kept or 0.0):g}",
                    _KNOWN[s.known],
                    *_percent(r["covered"], r["found"], r["thorium"], r["width"]),
                )
                for s, r in zip(KEPT, kept, strict=True)
            ),
        ),
    ]
    least = min(result["covered"] for result in trials.results)
    wrong = max(result["wrong"] for result in refined)
    write_page(
        trials,
        title="Age of thorium, and radium kept",
        question="Stated at 95 %: do the stretches of ages and the intervals of the fraction kept hold the truth, and "
        f"how often is a single age given that is wrong? {N_REFINED} draws for each age, {N_KEPT} for each fraction.",
        tables=tables,
        answer=f"Covered at least {100 * least:.1f} %; a single age that is wrong at most {100 * wrong:.1f} %. "
        "Intervals at an end of what is possible (all or nothing kept) and unions of two stretches cover more than "
        "they say.",
    )
