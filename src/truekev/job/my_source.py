"""The question: what does my own source hold, how old is it, was its radium kept, and is it what the balance says?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from truekev.errors import InputError
from truekev.job.how_old import ThoriumHistory, how_old
from truekev.job.sample_count import SampleCount, SampleFiles, counted_sample
from truekev.quantity import Measured
from truekev.record import Record
from truekev.samples.own_source import THORIUM, OwnCount, own_count
from truekev.samples.source_record import source_toml
from truekev.sources.components import short_progeny_bq
from truekev.sources.stock import ELECTRODE_CLASSES, electrode_mass_g, th232_bq_of_oxide

__all__ = ["Before", "MySource", "my_source"]

Progress = Callable[[float, str], None]
_IN_STEP_DAYS = 30.0  # until then after a separation Pb-212 is not what Th-228 is


@dataclass(frozen=True)
class Before:
    """A further count: of the rods before a separation, or of the same source months later or sealed."""

    spectrum: str
    files: SampleFiles
    on: date | None = None


@dataclass(frozen=True, eq=False)
class MySource:
    """What a count says of one's own source.

    Parameters
    ----------
    file : str
    on : date
    count : OwnCount
    history : ThoriumHistory or None
        Ages, thorium activity, radium kept; None where the series is not recognised.
    thoria_fraction : Measured or None
        Of rods: mass fraction of ThO2 that the best age gives, and `electrode_classes` that agree with the whole set.
    electrode_classes : tuple of str
    purity : tuple or None
        Thorium by the count over thorium by the balance: from the least to the most over all ages that agree.
    radon_escape : Measured or None
        Share of Rn-220 that leaves the open source.
    gain_over_rods : mapping
        Line to counts per second of this count over those of the count before.
    record_toml : str
        The source record; empty where nothing was recognised.
    words, said : tuple of str
    record : Record
    """

    file: str
    on: date
    count: OwnCount
    history: ThoriumHistory | None
    thoria_fraction: Measured | None
    electrode_classes: tuple[str, ...]
    purity: tuple[float, float] | None
    radon_escape: Measured | None
    gain_over_rods: dict[str, float]
    record_toml: str
    words: tuple[str, ...]
    said: tuple[str, ...]
    record: Record


def _day(count: SampleCount, on: date | None, what: str) -> date:
    if on is not None:
        return on
    if count.spectrum.start is None:
        raise InputError(
            f"{what} {count.spectrum.file} does not say when it was counted; give the day with {what}'s date."
        )
    return count.spectrum.start.date()


def _is_rods(count: SampleCount) -> bool:
    return count.sample.body is not None and count.sample.body.form == "rods"


def _own(count: SampleCount) -> OwnCount:
    return own_count(count.model, count.sample, count.detector, rods=_is_rods(count))


def _class_of_rods(count: SampleCount, history: ThoriumHistory) -> tuple[Measured | None, tuple[str, ...]]:
    """Thoria fraction of rods by the best age, and the classes that the set of solutions allows."""
    body = count.sample.body
    if body is None or body.form != "rods" or not history.refined.solutions:
        return None, ()
    sizes = {"diameter_mm": body.diameter_mm or 0.0, "length_mm": body.length_mm or 0.0}
    mass_g = (body.n_rods or 1) * electrode_mass_g(**sizes, thoria_fraction=body.thoria_fraction or 0.02)
    per_fraction = th232_bq_of_oxide(mass_g).value
    best = min(history.refined.solutions, key=lambda one: one.distance)
    fits = []
    for name, of in ELECTRODE_CLASSES.items():
        for solution in history.refined.solutions:
            low, high = (bq / per_fraction for bq in solution.th232_bq)
            if low <= of.highest and high >= of.lowest:
                fits.append(name)
                break
    return Measured(best.th232.value / per_fraction, best.th232.u / per_fraction), tuple(fits)


def _escape(open_count: OwnCount, sealed: OwnCount) -> Measured:
    """Share of radon that leaves: progeny of the open count over that of the sealed one, efficiency the same."""
    a, b = open_count.fit.of(THORIUM), sealed.fit.of(THORIUM)
    ratio = a / b
    u = abs(ratio) * math.hypot(open_count.fit.u(THORIUM) / a, sealed.fit.u(THORIUM) / b)
    return Measured(1.0 - ratio, u)


def _th232_range(history: ThoriumHistory) -> tuple[float, float] | None:
    """Th-232 activity over all histories that agree, two standard uncertainties beyond each [Bq]."""
    if history.separated is not None and history.separated.fits:
        return history.separated.th232_bq
    spans = [solution.th232_bq for solution in history.refined.solutions]
    return (min(low for low, _ in spans), max(high for _, high in spans)) if spans else None


def _th232(history: ThoriumHistory, balance: Measured | None) -> Measured | None:
    """Th-232 for the record: the balance's, or that of the one age that agrees."""
    if balance is not None:
        return balance
    refined = history.refined
    return refined.solutions[0].th232 if history.separated is None and refined.verdict == "one age" else None


def _activities(own: OwnCount, th232: Measured | None) -> dict[str, Measured]:
    found = {} if th232 is None else {"Th-232": th232}
    for head, one in (("Ra-228", own.radium), ("Th-228", own.thorium)):
        best = one.limits.best_estimate
        for name, share in short_progeny_bq(head).items():
            found[name] = Measured(best.value * share, best.u * share, "Bq")
    return found


def _words(own: OwnCount, history: ThoriumHistory | None) -> list[str]:
    if history is None:
        limit = own.thorium.limits.detection_limit
        told = "" if limit is None else f" (detection limit {limit:.3g} Bq of Th-228)"
        if own.thorium.limits.recognised:
            return [f"Perhaps thoriated: above the decision threshold, below the detection limit{told}. Count longer."]
        return [
            f"Not thoriated, as far as this count can see{told}. Other dopants (lanthanum, cerium, zirconium) look the "
            "same from outside, and the marks of classes wear off."
        ]
    words = [f"Ra-228 {own.radium.limits.best_estimate}, Th-228 {own.thorium.limits.best_estimate}."]
    if own.ratio is not None:
        words.append(f"Ra-228 over Th-228: {own.ratio}.")
    words.append(history.words)
    limits = own.contamination.limits
    if limits.recognised:
        words.append(f"The uranium series is in it as well: Ra-226 {limits.best_estimate}.")
    elif limits.detection_limit is not None:
        words.append(
            f"The uranium series is not recognised (detection limit {limits.detection_limit:.3g} Bq of Ra-226)."
        )
    return words


def my_source(
    spectrum: str | Path,
    files: SampleFiles,
    *,
    on: date | None = None,
    before: Before | None = None,
    separated: date | None = None,
    sealed: str | Before | None = None,
    oxide_mass_g: Measured | None = None,
    later: tuple[Before, ...] = (),
    coverage: float = 0.95,
    progress: Progress | None = None,
) -> MySource:
    """What a count says of one's own thorium source.

    Parameters
    ----------
    spectrum, files
        The count, and what belongs to it; the sample file names the body.
    on
        The day of the count; that of the file if left out.
    before, separated
        A count of the rods before a separation, and the day of it.
    sealed
        A second count of the same source in the same place, closed tightly for a day; the first was open. The name of a
        spectrum goes with the files of the first.
    oxide_mass_g
        Mass of thorium dioxide by the balance.
    later
        Further counts of the same source months later.
    coverage
        Of the sets of ages.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        A file cannot be used, a day is missing, a count lies on the wrong side of the separation.
    RefusedError
        The count says nothing.
    """
    settings: dict[str, object] = {"method": "characterise", "separated": separated, "oxide_mass_g": oxide_mass_g}
    count = counted_sample(spectrum, files, settings=settings, progress=progress)
    day = _day(count, on, "spectrum")
    own = _own(count)
    rods = None
    earlier = None
    if before is not None:
        of_rods = counted_sample(before.spectrum, before.files, settings=settings, progress=progress)
        rods = _own(of_rods)
        rods_day = _day(of_rods, before.on, "count before")
        if rods.thoriated:
            earlier = rods.as_count((rods_day - day).days, ("Ra-228", "Th-228"))
    th232 = None if oxide_mass_g is None else th232_bq_of_oxide(oxide_mass_g.value, oxide_mass_g.u)
    recent = separated is not None and (day - separated).days < _IN_STEP_DAYS
    seen_as = ("Ac-228", "Pb-212") if recent else ("Ra-228", "Th-228")
    history = history_alone = None
    if own.thoriated:
        counts = [own.as_count(0.0, seen_as)]
        for one in later:
            again = counted_sample(one.spectrum, one.files, settings=settings, progress=progress)
            counts.append(_own(again).as_count((_day(again, one.on, "later count") - day).days, ("Ra-228", "Th-228")))
        since = None if separated is None else float((separated - day).days)
        known = {"separated_on_day": since, "before": earlier, "u_common": own.u_common, "coverage": coverage}
        history_alone = how_old(counts, **known)  # type: ignore[arg-type]
        history = history_alone if th232 is None else how_old(counts, th232=th232, **known)  # type: ignore[arg-type]
    words = _words(own, history)
    fraction, classes = (None, ()) if history is None else _class_of_rods(count, history)
    if fraction is not None:
        agree = ", ".join(classes) or "none"
        percent = f"{100 * fraction.value:.2f} ± {100 * fraction.u:.2f} %"
        words.append(f"Thoria: {percent} at the best age; classes that agree: {agree}.")
    purity = None
    span = None if history_alone is None else _th232_range(history_alone)
    if th232 is not None and span is not None:
        purity = (max(span[0], 0.0) / th232.value, span[1] / th232.value)
        agrees = "which agrees" if purity[0] <= 1.0 <= purity[1] else "which does not agree"
        words.append(
            f"Thorium by the count is {purity[0]:.2f} to {purity[1]:.2f} of that by the balance over all ages that "
            f"fit, {agrees}."
        )
    escape = None
    if sealed is not None:
        shut = sealed if isinstance(sealed, Before) else Before(sealed, files)
        closed = _own(counted_sample(shut.spectrum, shut.files, settings=settings, progress=progress))
        if own.thoriated and closed.thoriated:
            escape = _escape(own, closed)
            words.append(f"Radon-220 that leaves the open source: {100 * escape.value:.1f} ± {100 * escape.u:.1f} %.")
    gain = {}
    if rods is not None:
        gain = {a.name: a.per_s / b.per_s for a, b in zip(own.rates, rods.rates, strict=True) if b.per_s > 0}
        if gain:
            words.append("Counts over those of the rods: " + ", ".join(f"{n} {g:.2g}" for n, g in gain.items()) + ".")
    told = ""
    if history is not None:
        of = _th232(history, th232)
        remarks = [*words, *_budget_words(own), *_forecast_words(own)]
        if of is None:
            remarks.append("Th-232 is not known, so what grows in anew is left out: these activities hold for months.")
        told = source_toml(
            count.sample.name, day, count.sample.distance_mm.value, _activities(own, of), count.sample.body, remarks
        )
    return MySource(
        count.spectrum.file,
        day,
        own,
        history,
        fraction,
        classes,
        purity,
        escape,
        gain,
        told,
        tuple(words),
        count.said,
        count.record,
    )


def _budget_words(own: OwnCount) -> list[str]:
    parts = [f"{line.name} {100 * line.relative_u:.2g} %" for line in own.thorium.budget if line.relative_u > 0]
    return ["Budget of Th-228 (relative, k = 1): " + "; ".join(parts) + "."]


def _forecast_words(own: OwnCount) -> list[str]:
    parts = [
        f"{one.energy_kev:.0f} keV: {one.expected_counts:.0f} foretold, {one.found_counts:.0f} ± "
        f"{one.u_counts:.0f} found"
        for one in own.evidence
    ]
    return ["Line groups: " + "; ".join(parts) + "."] if parts else []
