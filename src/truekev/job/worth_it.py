"""The question: what will a count of this source give, and is a stronger one worth making?"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError, OutOfRangeError
from truekev.job.counted import detector_of, read_background
from truekev.job.preparing import ENGINE, announce_preparation
from truekev.job.worth_it_words import (
    AT_HAND,
    EVERYDAY,
    MORE_RODS,
    TO_MAKE,
    Choice,
    Costs,
    PredictedCurve,
    answer_in_words,
)
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.scale.forecast import forecast
from truekev.scale.predicted import PredictedSpectrum, energy_of_u, predict
from truekev.scale.room import Room, assumed_room, measured_room
from truekev.sources.bodies import MOST_RODS, strata_of
from truekev.sources.nearness import crystal_share
from truekev.sources.short_forms import rods_source, source_in_words, vial_source
from truekev.sources.source import Source
from truekev.spectra.spectrum import Spectrum
from truekev.tables.loader import table_versions
from truekev.transport.detector import Detector

__all__ = ["WorthIt", "alternatives", "worth_it", "worth_it_of", "worth_making"]

Progress = Callable[[float, str], None]

_RECOVERED = 0.95  # of the oxide, after washing: assumed
_MOST_OF_A_BATCH = 20
_NAMED_U, _OTHER_U = 0.03, 0.05
_CASCADE_KEV = 583.187  # of Tl-208, always with 2614.5 keV
_SUMMED = 0.01
_OPTION = re.compile(r" \(--[^)]*\)")
_OWN = "`truekev forecast` takes your own detector, room, peak width and prices."


@dataclass(frozen=True)
class WorthIt:
    """The comparison.

    Parameters
    ----------
    reach : float
        Wanted standard uncertainty of the scale over the energy.
    choices : tuple of Choice
    answer : tuple of str
        In words, the first the decision.
    said : tuple of str
        What was assumed.
    record : Record
    """

    reach: float
    choices: tuple[Choice, ...]
    answer: tuple[str, ...]
    said: tuple[str, ...]
    record: Record


def _curve(predicted: PredictedSpectrum, room: Room) -> PredictedCurve:
    edges_kev = np.geomspace(16.0, 2950.0, 320)
    at_u = energy_of_u(predicted.curve, predicted.u)
    width = np.diff(edges_kev)

    def per_kev(cumulative: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray(np.diff(np.interp(edges_kev, at_u, cumulative)) / width, np.float64)

    names = {
        "full energy and escape": ("direct",),
        "scattered on the way": ("forward", "back"),
        "made on the way": ("secondary",),
        "betas": ("betas",),
    }
    parts = {
        words: np.sum([per_kev(p.cumulative[1]) for p in predicted.parts if p.route in routes], axis=0)
        for words, routes in names.items()
        if any(p.route in routes for p in predicted.parts)
    }
    parts["room"] = per_kev(room.cumulative)
    total = np.sum(list(parts.values()), axis=0)
    return PredictedCurve(0.5 * (edges_kev[1:] + edges_kev[:-1]), np.asarray(total, np.float64), parts)


def _any_deposit(predicted: PredictedSpectrum) -> float:
    """Share of photons of 583 keV born in the source that leave anything in the crystal."""
    routes = predicted.response.routes
    return float(routes[0].full_energy(_CASCADE_KEV)) + sum(
        float(one.deposits(_CASCADE_KEV)[0].sum()) for one in routes
    )


def _kind(source: Source, words: str) -> str:
    if source.body.form in ("vial", "resin") and not Path(words).is_file():
        return TO_MAKE
    return AT_HAND


def _said_of(rows: Sequence[tuple[Source, str, int]]) -> tuple[str, ...]:
    if not any(kind == TO_MAKE for _, kind, _ in rows):
        return ()
    return (
        "A vial or resin in a short form counts as not yet made; one that exists is described in a source file "
        "(truekev new source).",
    )


def _oxide_g(source: Source) -> float:
    """Thorium dioxide in a bundle of rods, from its Th-232."""
    th232 = source.activities_bq.get("Th-232", 0.0)
    return th232 / vial_source(1.0).activities_bq["Th-232"]


def alternatives(named: Sequence[Source]) -> list[tuple[Source, str, int]]:
    """What to set beside the named: more rods, everyday things, then the vial that could be made.

    Each with its kind and the number of rods to buy.
    """
    rods = [source for source in named if source.body.form == "rods"]
    found: list[tuple[Source, str, int]] = []
    if rods:
        most = max(rods, key=lambda source: source.body.n_rods or 0)
        n = most.body.n_rods or 1
        double = min(2 * n, MOST_RODS)
        if double > n and all((other.body.n_rods or 0) < double for other in rods):
            factor = double / n
            components = tuple(
                replace(c, activities_bq={name: factor * bq for name, bq in c.activities_bq.items()})
                for c in most.components
            )
            more = replace(
                most, name=f"{double} such rods", components=components, body=replace(most.body, n_rods=double)
            )
            found.append((more, MORE_RODS, double - n))
    found += [(source, EVERYDAY, 0) for source in _everyday(named)]
    if rods and not any(source.body.form in ("vial", "resin") for source in named):
        oxide = _RECOVERED * _oxide_g(most)
        vial = _like(vial_source(oxide, name=f"the vial that could be made from them ({oxide:.2g} g)"), most)
        found.append((vial, TO_MAKE, 0))
    return found


def _everyday(named: Sequence[Source]) -> list[Source]:
    """Everyday things beside what is named: a bag of salt, and beside rods a mantle too, which needs no chemistry."""
    found = []
    if not any(source.body.form == "bag" or "K-40" in source.activities_bq for source in named):
        found.append(source_in_words("salt:500g"))
    if any(source.body.form == "rods" for source in named) and not any(s.kind == "gas-mantle" for s in named):
        found.append(source_in_words("gas-mantle"))
    return found


def _like(vial: Source, rods: Source) -> Source:
    """The vial with the rods' own ratios between daughters and thorium: the grains keep them."""
    factor = vial.activities_bq["Th-232"] / rods.activities_bq["Th-232"]
    components = tuple(
        replace(c, activities_bq={name: factor * bq for name, bq in c.activities_bq.items()})
        for c in rods.components
        if not c.extra_lines
    )
    return replace(vial, components=components, remarks=())


def _cost(kind: str, n_bought: int, costs: Costs) -> tuple[float | None, float | None]:
    if kind == MORE_RODS:
        return (None if costs.rod_price is None else n_bought * costs.rod_price), 0.0
    if kind == TO_MAKE:
        if costs.make_cost is None and costs.make_hours is None:
            return None, None
        work = (costs.make_hours or 0.0) * (costs.hour_price or 0.0)
        return (costs.make_cost or 0.0) + work, costs.make_hours
    return 0.0, 0.0


def worth_it_of(
    sources: Sequence[tuple[Source, str, int]],
    detector: Detector,
    *,
    background: Spectrum | None = None,
    reach: float = 0.005,
    fwhm_662: float = 0.08,
    costs: Costs | None = None,
    relative_u: float = _NAMED_U,
    said: Sequence[str] = (),
    record: Record | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> WorthIt:
    """Compare sources, each with its kind and the number of rods to buy for it; any executor may carry the transport.

    Raises
    ------
    InputError
        A source cannot be counted so; see `sources.bodies.strata_of`.
    """
    if not 0.0015 < reach <= 0.1:
        raise OutOfRangeError(
            f"reach {100 * reach:.3g} %: it must lie above 0.15 % (no model of a crystal's light is better) and not "
            "above 10 %."
        )
    if not 0.02 <= fwhm_662 <= 0.2:
        raise OutOfRangeError(f"resolution {100 * fwhm_662:.3g} % at 662 keV: it must lie between 2 and 20 %.")
    tell = progress or (lambda share, what: None)
    announce_preparation(tell, ENGINE)
    choices, words = [], list(said)
    summed = 0.0
    for i, (source, kind, n_bought) in enumerate(sources):

        def part(done: float, what: str, i: int = i) -> None:
            tell((i + done) / len(sources), what)

        accuracy = relative_u if kind == AT_HAND else max(relative_u, _OTHER_U)
        predicted = predict(source, detector, fwhm_662=fwhm_662, relative_u=accuracy, executor=executor, progress=part)
        if background is None:
            room = assumed_room(detector, predicted.curve, predicted.u)
        else:
            room = measured_room(background, predicted.curve, predicted.u)
        summed = max(summed, _any_deposit(predicted))
        money, hours = _cost(kind, n_bought, costs or Costs())
        result = forecast(predicted, room, reach)
        strata = strata_of(source, detector)
        seen = crystal_share(strata)
        th232 = source.activities_bq.get("Th-232", 0.0) * sum(one.share for one in strata)  # what is not covered
        choices.append(Choice(source.name, kind, result, _curve(predicted, room), money, hours, th232, seen))
        words += [remark for remark in (room.words, *source.remarks) if remark not in words]
    if summed > _SUMMED:
        words.append(
            "Photons of one decay are taken as apart: this near, peaks of cascades (583 and 2615 keV, say) lose up to "
            f"{100 * summed:.0f} % of their counts to sums."
        )
    words.append(
        f"Peak width {100 * fwhm_662:.2g} % at 662 keV (--resolution says otherwise); nothing stands behind or beside "
        "the source; the times are the least that a fit of the whole spectrum needs, its model taken as wrong by 3 %, "
        "by more below 60 keV."
    )
    return WorthIt(
        reach, tuple(choices), answer_in_words(choices, reach, costs or Costs()), tuple(words), record or Record.make()
    )


def worth_it(
    sources: Sequence[str],
    *,
    detector: str | None = None,
    background: str | None = None,
    reach: float = 0.005,
    fwhm_662: float = 0.08,
    costs: Costs | None = None,
    only_these: bool = False,
    on: date | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> WorthIt:
    """Forecast the count of each source, beside more rods, an everyday source and the vial that could be made.

    Parameters
    ----------
    sources
        Short forms, words with an activity, or source files.
    detector, background
        Files; by default a CsI(Tl) cube of 10 mm in an assumed room.
    reach, fwhm_662
        Wanted uncertainty over the energy; peak width at 662 keV over the energy.
    costs
        The person's own prices.
    only_these
        Leave the alternatives out.
    on
        The day; default today.
    executor
        What carries the transport; by default threads, one per core.
    progress
        Called with (share done, what).
    """
    if not sources:
        raise InputError("--source is missing: name what could be counted, as rods:WT20,2.4x175,5 or a source file.")
    day = on or date.today()
    of_detector, assumed = detector_of(detector)
    room = read_background(background)
    named = [source_in_words(words, on=day) for words in sources]
    rows = [(source, _kind(source, words), 0) for source, words in zip(named, sources, strict=True)]
    if not only_these:
        rows += alternatives(named)
    inputs = [InputFile.of(file) for file in (*sources, detector, background) if file and Path(file).is_file()]
    settings = {"sources": list(sources), "reach": reach, "fwhm_662": fwhm_662, "on": day.isoformat()}
    return worth_it_of(
        rows,
        of_detector,
        background=None if room is None else room.spectrum,
        reach=reach,
        fwhm_662=fwhm_662,
        costs=costs,
        said=(assumed, *_said_of(rows)),
        record=Record.make(inputs, settings, table_versions()),
        executor=executor,
        progress=progress,
    )


def worth_making(
    n_rods: int,
    diameter_mm: float,
    length_mm: float,
    thoria: Measured,
    oxide_g: float,
    *,
    progress: Progress | None = None,
) -> WorthIt:
    """A batch's rods as they are, an everyday source, and the vial that the batch would give.

    Parameters
    ----------
    n_rods, diameter_mm, length_mm
        The rods; more than 20 of them count as the 20 nearest to the crystal.
    thoria
        Mass fraction of thoria in them.
    oxide_g
        Oxide that the batch frees [g].
    progress
        Called with (share done, what).

    Notes
    -----
    With the default detector in an assumed room, the Monte Carlo at 5 % in each peak.
    """
    shown = min(n_rods, _MOST_OF_A_BATCH)
    name = f"the rods as they are, {shown} side by side" if shown > 1 else "the rod as it is"
    rods = rods_source("", diameter_mm, length_mm, shown, fraction=thoria, name=name)
    vial = vial_source(oxide_g, name=f"the vial that could be made from them ({oxide_g:.2g} g)")
    rows = [(rods, AT_HAND, 0), (source_in_words("salt:500g"), EVERYDAY, 0), (replace(vial, remarks=()), TO_MAKE, 0)]
    of_detector, assumed = detector_of(None)
    found = worth_it_of(rows, of_detector, relative_u=0.05, said=(assumed,), progress=progress)
    return replace(found, said=(*(_OPTION.sub("", words) for words in found.said), _OWN))
