"""A vial of 1 kBq with its radium kept and one with radium removed a week ago: told apart in an hour's count?

A trial is one pair of vials from thorium of 4 to 60 years, each counted for an hour at contact on invented counts (the
program's own templates, bent by a smooth error of 2 %), the rods counted before. What is asked: whether the two are
told apart with the rods known, and whether the ages that are given for the undisturbed thorium hold the true one.
"""

from __future__ import annotations

import numpy as np
from tests.support.made_samples import made_count, sample_scale, templates

from studies.frame import Result, Table, run_trials, write_page
from truekev.quantity import Measured
from truekev.samples.binned import binned
from truekev.samples.own_source import OwnCount, own_count
from truekev.samples.radium_kept import radium_kept_at
from truekev.samples.sample_file import SampleDescription
from truekev.samples.spectrum_model import SpectrumModel
from truekev.samples.thorium_age import thorium_refined
from truekev.samples.thorium_states import AGES_YEARS, carried, member_index, refined_states, without_radium
from truekev.sources.source import Body
from truekev.sources.stock import th232_bq_of_oxide
from truekev.transport.detector import DEFAULT_DETECTOR

SEED = 20261129
N_TRIALS = 40
TH232_BQ, SECONDS, WEEK = 1000.0, 3600.0, 7.0
OXIDE_G = TH232_BQ / th232_bq_of_oxide(1.0).value
VIAL = SampleDescription(
    "vial",
    Measured(2.0, 0.3, "mm"),
    0.07,
    "source",
    body=Body("vial", oxide_mass_g=OXIDE_G, inner_diameter_mm=12.0, fill_height_mm=1.0, wall_mm=1.0),
)


def _strengths(age_years: float, kept: float | None) -> dict[str, float]:
    row = refined_states()[[int(np.argmin(np.abs(AGES_YEARS - age_years)))]]
    if kept is not None:
        row = carried(without_radium(row, np.array([kept]))[:, 0], WEEK)
    members = {"Ra-228 part": "Ac-228", "Th-228 part": "Pb-212"}
    return {part: TH232_BQ * float(row[0, member_index(member)]) for part, member in members.items()}


def _counted(strengths: dict[str, float], rng: np.random.Generator) -> OwnCount:
    count = made_count(strengths, SECONDS, rng, sample=VIAL, wrong=0.02, back=float(rng.uniform(0.3, 1.5)))
    room = made_count({}, 2 * SECONDS, rng, sample=VIAL)
    model = SpectrumModel(binned(count, sample_scale(), room), sample_scale(), templates(VIAL))
    return own_count(model, VIAL, DEFAULT_DETECTOR, rods=False)


def trial(number: int, rng: np.random.Generator) -> Result:
    """Kept intervals of both vials, and the ages of the undisturbed thorium."""
    years = float(np.exp(rng.uniform(np.log(4.0), np.log(60.0))))
    before = _counted(_strengths(years, None), rng)
    rods = before.as_count(-14.0, ("Ra-228", "Th-228"))
    found = {}
    for name, kept in (("kept", 1.0), ("removed", 0.0)):
        own = _counted(_strengths(years, kept), rng).as_count(0.0, ("Ac-228", "Pb-212"))
        found[name] = radium_kept_at([own], -WEEK, before=rods, u_common=before.u_common).kept_interval
    ages = thorium_refined([rods], u_common=before.u_common)
    nearest = float(AGES_YEARS[int(np.argmin(np.abs(AGES_YEARS - years)))])
    held = any((s.low_years or 0.0) <= nearest <= (s.high_years or 1e9) for s in ages.solutions)
    return {
        "years": years,
        "kept": list(found["kept"]),
        "removed": list(found["removed"]),
        "held": held,
        "one_age": ages.verdict == "one age",
    }


def main() -> int:
    """Run, print and write docs/validation/vial_age.md."""
    trials = run_trials(
        "vial_age", trial, n_trials=N_TRIALS, seed=SEED, settings="2: 2 % wrong, rods before", workers=1
    )
    of = trials.results
    apart = sum(r["kept"][0] > r["removed"][1] for r in of)
    kept = sum(r["kept"][1] >= 0.98 for r in of)
    removed = sum(r["removed"][0] <= 0.02 for r in of)
    held = sum(bool(r["held"]) for r in of)
    rows = (
        ("the two intervals of the kept fraction do not touch", f"{apart} of {len(of)}"),
        ("interval of the vial with all radium holds 1", f"{kept} of {len(of)}"),
        ("interval of the vial without radium holds 0", f"{removed} of {len(of)}"),
        ("ages given (one, two or a range) hold the true one", f"{held} of {len(of)}"),
        ("of these called one age", f"{sum(bool(r['one_age']) for r in of)} of {len(of)}"),
        ("median lower end, radium kept", f"{float(np.median([r['kept'][0] for r in of])):.2f}"),
        ("median upper end, radium removed", f"{float(np.median([r['removed'][1] for r in of])):.2f}"),
    )
    write_page(
        trials,
        title="Radium kept or removed, and the age",
        question=(__doc__ or "").strip(),
        tables=[Table("A vial of 1 kBq, an hour each", ("what", "result"), rows)],
        answer=f"Told apart in {apart} of {len(of)} pairs; the true age is held in {held} of {len(of)}.",
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
