"""The question: how much of it is in this?"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from truekev.errors import InputError, RefusedError
from truekev.job.sample_count import SampleFiles, counted_sample
from truekev.quantity import Measured
from truekev.record import Record
from truekev.samples.assay import Assayed, assay_spectrum, time_for_limit
from truekev.samples.candidates import candidate, candidates
from truekev.samples.dead_time import HIGHEST_PILE_UP
from truekev.samples.identify import identify_spectrum
from truekev.samples.place import Place, place_of_known
from truekev.sources.short_forms import source_in_words

__all__ = ["HowMuch", "PlannedTime", "how_much"]

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class PlannedTime:
    """How long to count until the detection limit of a nuclide is what was wanted."""

    name: str
    wanted: float
    unit: str
    time_s: float


@dataclass(frozen=True)
class HowMuch:
    """Activities in a sample.

    Parameters
    ----------
    file, sample : str
    assayed : tuple of Assayed
    beside : tuple of str
        What else was recognised and fitted beside them.
    pile_up : float
        Share of pulses that are sums of two, as fitted.
    planned : tuple of PlannedTime
    place : Place or None
        What a known activity says of the place.
    said : tuple of str
    record : Record
    """

    file: str
    sample: str
    assayed: tuple[Assayed, ...]
    beside: tuple[str, ...]
    pile_up: float
    planned: tuple[PlannedTime, ...]
    place: Place | None
    said: tuple[str, ...]
    record: Record


def _known(text: str) -> tuple[str, Measured]:
    source = source_in_words(text)
    named = text.partition(":")[0].strip().lower()
    # Of a series the nuclide that was named: its progeny may be a little stronger.
    head = next((name for name in source.activities_bq if name.lower() == named), "")
    head = head or max(source.activities_bq, key=lambda name: source.activities_bq[name])
    activity = source.activities_bq[head]
    if source.kind != "nuclide" and source.name not in source.activities_bq:
        raise InputError(f"--known {text}: give a nuclide and its activity on the day of the count, as Cs-137:700kBq.")
    return candidate(head).name, Measured(activity, 0.03 * activity, "Bq")


def how_much(
    file: str | Path,
    files: SampleFiles,
    *,
    nuclides: Sequence[str] = (),
    plan: float | None = None,
    known: str | None = None,
    alpha: float = 0.05,
    beta: float = 0.05,
    coverage: float = 0.95,
    progress: Progress | None = None,
) -> HowMuch:
    """Activities of nuclides in a counted sample.

    Parameters
    ----------
    file, files
        As `sample_count.counted_sample`.
    nuclides
        Whose activity is asked for; all that is recognised if left out.
    plan
        Tell how long to count for this detection limit [unit of the result].
    known
        A nuclide and its activity on the day of the count: tells the place of such sources.
    alpha, beta, coverage
        As of `samples.limits.characteristic_limits`.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        A file or a name cannot be used; nothing to assay.
    RefusedError
        The count cannot say it.
    """
    asked = [candidate(name).name for name in nuclides]
    of_known = None if known is None else _known(known)
    if of_known is not None:
        asked.append(of_known[0])
    settings: dict[str, object] = {"method": "assay", "nuclides": asked, "alpha": alpha, "beta": beta}
    count = counted_sample(file, files, more=asked, settings=settings, progress=progress)
    model = count.model
    others = [one.name for one in candidates()]
    found = identify_spectrum(model, [*dict.fromkeys([*others, *asked])])
    # What might be in the place of a nuclide asked for is no second thing in the sample.
    present = [one.name for one in found.recognised if not set(one.instead) & set(asked)]
    wanted = asked or [name for name in present if not name.startswith("room")]
    assayed, fit = assay_spectrum(
        model, wanted, present, count.sample, count.detector, alpha=alpha, beta=beta, coverage=coverage
    )
    if fit.pile_up > HIGHEST_PILE_UP:
        raise RefusedError(
            f"{100 * fit.pile_up:.0f} % of the pulses are sums of two; above {100 * HIGHEST_PILE_UP:.0f} % the "
            "spectrum no longer has the shape that is fitted.",
            "a count from further away.",
        )
    planned = []
    if plan is not None:
        for one in assayed:
            relative = math.sqrt(sum(line.relative_u**2 for line in one.budget[2:]))
            time_s = time_for_limit(model, fit, one.name, plan, relative, error=alpha)
            planned.append(PlannedTime(one.name, plan, one.limits.estimate.unit, time_s))
    place = None
    if of_known is not None:
        place = place_of_known(model, fit, *of_known, count.sample, count.detector, progress)
    return HowMuch(
        count.spectrum.file,
        count.sample.name,
        assayed,
        tuple(name for name in present if name not in wanted),
        fit.pile_up,
        tuple(planned),
        place,
        count.said,
        count.record,
    )
