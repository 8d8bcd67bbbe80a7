"""Ten thousand random batches and files of readings, absurd ones included, through every job of the bench."""

from __future__ import annotations

from collections import Counter

from tests.support.bench_trials import batch_and_readings

from studies.frame import Table, run_trials, write_page

SEED = 20261125
N_TRIALS = 10_000


def main() -> None:
    """Run the study."""
    trials = run_trials("random_batches", batch_and_readings, n_trials=N_TRIALS, seed=SEED)
    outcomes: dict[str, Counter[str]] = {}
    crashes: list[str] = []
    bad: list[str] = []
    for number, result in enumerate(trials.results):
        for job, said in result["outcomes"].items():
            kind = "crash" if said.startswith("CRASH") else said
            outcomes.setdefault(job, Counter())[kind] += 1
            if kind == "crash":
                crashes.append(f"{number} {job}: {said}")
        bad += [f"{number} {what}" for what in result["bad"]]
    kinds = sorted({kind for counter in outcomes.values() for kind in counter})
    rows = tuple((job, *(str(counter[kind]) for kind in kinds)) for job, counter in outcomes.items())
    problems = crashes + bad
    answer = (
        f"{len(crashes)} crashes; {len(bad)} numbers that were not finite, or amounts below zero."
        if not problems
        else "Problems:\n\n" + "\n".join(f"- trial {problem}" for problem in problems[:40])
    )
    write_page(
        trials,
        title="Random batches and readings",
        question="Does every batch and file of readings, absurd ones included, end in a plan or a clear refusal, "
        "without a crash, without a negative amount and without a number that is none?",
        tables=[Table("What came of them", ("job", *kinds), rows)],
        answer=answer,
    )
