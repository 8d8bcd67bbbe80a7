"""Source record with the label of the vial, and calibration record."""

from __future__ import annotations

from collections.abc import Iterable

from truekev.book.body import Body
from truekev.book.records import BookRecord
from truekev.book.work import Relock, Result, Scale
from truekev.job.source_record import LOWEST_AGED_SHARE, SourceOnDay
from truekev.pictures.canvas import png_of
from truekev.pictures.scale_pictures import picture_of_scale
from truekev.pictures.source_course import picture_of_source
from truekev.quantity import Measured
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.polynomials import instrument_polynomial, peak_polynomials
from truekev.sheets.answer_sheets import measured_facts
from truekev.sheets.behind import versions_of
from truekev.sheets.content import Blanks, Fact, Facts, Figure, Grid, Label, Part, Sheet, Words, caution_texts

__all__ = ["calibration_sheet", "source_sheet"]

_ENERGIES_KEV = (30, 60, 100, 200, 300, 500, 662, 1000, 1461, 2000, 2615)


def source_sheet(source: SourceOnDay, measured: BookRecord[Result] | None = None) -> Sheet:
    """Source record of a source on a day, with its label; never more than a record of what was done and computed.

    `measured` is the newest answer about what it holds, where it was counted for that.
    """
    body, item = source.record.body, source.item
    head = item.head_activity
    title = f"{body.name}, on {source.on}"
    results = [
        Fact.of(name, activity)
        for name, activity in item.activities.items()
        if activity.value > 1e-3 * (head.value if head else 1)
    ]
    if item.dose_rate is not None:
        results.append(
            Fact.of(
                "air kerma rate at 10 cm", item.dose_rate, "photons of a point without absorption: an upper estimate"
            )
        )
    if source.beta_contact_msv_h is not None:
        value, low, high = source.beta_contact_msv_h
        results.append(
            Fact(
                "skin on the glass, betas",
                f"{value:.1g} mSv/h ({low:.1g} to {high:.1g})",
                "an estimate, factor 3: use tongs",
            )
        )
    for name, compared in item.comparisons.items():
        results.append(Fact(f"beside {name} figures", compared.say, "; ".join(compared.sources)))
    parts: list[Part] = [
        Grid("History", ("date", "what", "kept"), _history(source), (2, 4, 5)),
    ]
    if source.history is not None:
        parts.append(
            Figure(
                png_of(picture_of_source(source.history, source.on)),
                "Activity of the longer-lived members after the last separation, computed.",
                "Ra-228 falls and grows back over decades; Th-228 follows within years; Ra-224 and Pb-212 follow "
                "Th-228.",
            )
        )
        waits = "; ".join(
            f"{name}: {'not within 1000 years' if day is None else day}" for name, day in source.equilibrium.items()
        )
        parts.append(Words("In equilibrium within 1 %", (waits + ".",)))
    if measured is not None:
        counted = f"Counted {measured.body.figure('on')}: what it holds (record {measured.id})"
        parts.append(Facts(counted, measured_facts(measured.body.answer)))
    if source.age_unknown:
        low = LOWEST_AGED_SHARE
        text = (
            "The thorium's own age is not known. Ra-228 and all that descends from it may be less than computed, "
            "down to "
            f"{low} of it, until counts of rods and vial say more. This is not in the uncertainties above."
        )
        parts.append(Words("What the figures do not hold", (text,)))
    parts += [
        Grid(
            "Looks, wipes, weighings",
            ("date", "look", "wipe", "closed mass", "remark"),
            _upkeep(source),
            (2, 2, 2, 3, 4),
        ),
        label_of(source),
        Blanks("Next looks", columns=("date", "look", "wipe", "closed mass [g]", "initials"), n_rows=5),
    ]
    return Sheet(
        title="Source record",
        subtitle=title,
        cautions=caution_texts(source.cautions),
        inputs=(
            Fact("form", body.form, "home-made: no certificate stands behind it" if body.home_made else ""),
            Fact("place; owner", f"{body.place}; {body.owner or '____'}"),
            Fact("oxide", "not weighed" if body.oxide_mass_g is None else str(body.oxide_mass_g.measured)),
            Fact("closed mass", "not weighed" if body.gross_mass_g is None else str(body.gross_mass_g.measured)),
        ),
        results=tuple(results),
        parts=tuple(parts),
        versions=versions_of([source.record, *source.behind, *([] if measured is None else [measured])]),
        sign=("made by, date", "responsible, date", "goes at the end to"),
    )


def _history(source: SourceOnDay) -> tuple[tuple[str, ...], ...]:
    rows: list[tuple[str, ...]] = []
    history = source.history
    if history is not None:
        given = ", ".join(
            f"{n} {Measured(a, history.u_activities_bq.get(n, 0.0), 'Bq')}" for n, a in history.activities_bq.items()
        )
        aged = "in equilibrium with all that descends from it" if history.aged else ""
        rows.append((f"{history.reference_date}", f"reference: {given}", aged))
        for separation in history.separations:
            kept = ", ".join(f"{element} {fraction:g}" for element, fraction in separation.kept.items())
            rows.append((f"{separation.on}", "separated", f"{kept}; others {separation.others_kept:g}"))
    for record in source.behind:
        rows.append((f"{record.created:%Y-%m-%d}", f"{record.kind}: {record.name}", f"record {record.id}"))
    return tuple(rows) or (("", "no dates known", ""),)


def _upkeep(source: SourceOnDay) -> tuple[tuple[str, ...], ...]:
    rows = tuple(
        (
            f"{r.body.on}",
            ("sound" if r.body.sound else "NOT SOUND") if r.body.looked else "",
            "" if not r.body.wiped else "done" if r.body.wipe is None else str(r.body.wipe.measured),
            "" if r.body.gross_mass_g is None else str(r.body.gross_mass_g.measured),
            r.body.remarks,
        )
        for r in source.upkeep
    )
    return rows or (("", "none yet", "", "", ""),)


def label_of(source: SourceOnDay) -> Label:
    """The label of a source: trefoil, nuclide, activity, date, form, owner (usual practice; symbol of ISO 361)."""
    body, item = source.record.body, source.item
    made = body.made_on or source.on
    return Label(
        "RADIOACTIVE",
        (
            f"{item.head} with daughters" if len(item.activities) > 1 else item.head,
            f"{item.head_activity} on {source.on}",
            f"{body.name} · {body.form}",
            f"made {made} · record {source.record.id}",
            f"owner: {body.owner or '____'}",
            "Do not open. Tongs.",
        ),
        trefoil=True,
    )


def calibration_sheet(
    record: BookRecord[Scale] | BookRecord[Relock], scale: EnergyScale, behind: Iterable[BookRecord[Body]]
) -> Sheet:
    """Calibration record of a scale or re-lock of the book."""
    body = record.body
    relock = isinstance(body, Relock)
    edges = scale.edges_kev()
    energies = [e for e in _ENERGIES_KEV if max(edges[0], 1.0) <= e <= edges[-1]]
    rows = tuple(
        (
            f"{e}",
            f"{float(scale.channel(e)):.2f}",
            f"{float(scale.u_energy_kev(e)):.2g}",
            f"{100 * float(scale.u_energy_kev(e)) / e:.2g}",
        )
        for e in energies
    )
    groups = tuple(
        (
            g.name.replace("+", " + "),
            str(Measured(g.energy_kev, g.u_energy_kev, "")),
            str(Measured(g.channel, g.u_channel, "")),
            str(Measured(g.net_counts, g.u_net_counts, "")),
            f"{g.pull:+.1f}",
            "" if g.used else "left out",
        )
        for g in scale.groups
    )
    polynomials = tuple(
        (
            f"{p.degree}",
            "; ".join(f"{c:.9g}" for c in p.coefficients_kev),
            f"{p.largest_error_kev:+.1f} at {p.at_kev:.0f}",
        )
        for p in (instrument_polynomial(scale, degree) for degree in (1, 2, 3))
    )
    results = [Fact("FWHM at 662 keV", f"{100 * scale.fwhm_662:.2f} %", "of the model; its uncertainty is in the band")]
    if isinstance(body, Relock):
        results.insert(0, Fact.of("gain, new over old", body.gain_ratio.measured))
    picture = png_of(picture_of_scale(scale, peak_polynomials(scale.groups, scale), record.name))
    return Sheet(
        title="Calibration record" + (" (re-lock)" if relock else ""),
        subtitle=f"{record.name}, {body.made_on}",
        cautions=(
            "The scale holds for full-energy peaks, at the instrument's setting and temperature of that count only.",
        ),
        inputs=(
            Fact("detector", scale.detector),
            Fact("counted", scale.source, scale.spectrum_start),
            Fact("method", scale.method),
            Fact("history", "; ".join(scale.history)),
        ),
        results=tuple(results),
        parts=(
            Grid("The scale", ("energy [keV]", "channel (its middle is the whole number)", "u [keV]", "u [%]"), rows),
            Figure(
                picture,
                "Deviation of the scale from a straight line through zero and 662 keV.",
                "Light per energy rises towards low energies; the band is 95 %.",
            ),
            Grid(
                "Line groups behind it",
                ("group", "energy [keV]", "found at channel", "net counts", "pull [σ]", ""),
                groups,
                (3, 3, 3, 3, 1, 1),
            ),
            Grid(
                "To type into the instrument: E/keV = c0 + c1 ch + c2 ch² + c3 ch³",
                ("degree", "c0; c1; …", "largest error [keV]"),
                polynomials,
                (1, 6, 2),
            ),
        ),
        versions=versions_of([record, *behind], record.tables),
        sign=("calibrated by, date", "typed into the instrument by, date"),
    )
