"""Sheets of the shelf: what stands there, moving house, a spill or broken vial, and for who finds it without the owner.

What to do in a spill or a move is common practice where no source is named.
"""

from __future__ import annotations

from collections.abc import Iterable

from truekev.book.body import Body
from truekev.book.records import BookRecord
from truekev.job.background import BackgroundStanding
from truekev.job.shelf import ShelfReport
from truekev.job.shelf_items import ShelfItem
from truekev.safety.cautions import PROTECTIVE_GEAR, cautions_for
from truekev.safety.intake import spill_respirable_mg
from truekev.safety.rules import ASK_FIRST
from truekev.sheets.behind import versions_of
from truekev.sheets.content import Blanks, Fact, Facts, Grid, Label, Part, Sheet, SheetStep, Steps, Words, caution_texts

__all__ = ["finder_sheet", "moving_sheet", "shelf_sheet", "spill_sheet"]

NO_DRAIN = "Nothing from this shelf goes down a drain or into a bin."


def _things(items: Iterable[ShelfItem], *, dose: bool = True) -> Grid:
    rows = []
    for item in items:
        pieces = f" ({item.n_pieces} pieces)" if item.n_pieces > 1 else ""
        activity = item.remark if item.head_activity is None else f"{item.head_activity} {item.head}"
        rate = ("-" if item.dose_rate is None else str(item.dose_rate),) if dose else ()
        rows.append((str(item.record_id), item.name, item.what + pieces, item.place, activity, *rate))
    columns = ("no.", "thing", "what", "place", "activity", *(("air kerma rate at 10 cm",) if dose else ()))
    return Grid("What stands there", columns, tuple(rows), (1, 4, 4, 4, 4, *((3,) if dose else ())))


def _sums(report: ShelfReport) -> tuple[Fact, ...]:
    facts = [
        Fact.of("dose rate of all of it at 10 cm", report.dose_rate_all, "points without absorption: an upper estimate")
    ]
    for one in report.sums:
        facts.append(
            Fact.of(
                f"sum of fractions, {one.list_name}",
                one.fraction,
                f"of the published activities ({'; '.join(one.citations) or 'nothing to compare'})",
            )
        )
    return tuple(facts)


def shelf_sheet(report: ShelfReport, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """The shelf on a day: things, sums, what is due, what has left."""
    parts: list[Part] = [_things(report.items)]
    for one in report.sums:
        rows = tuple((str(i), name, str(fraction)) for i, name, fraction in one.parts)
        parts.append(
            Grid(f"Share of the published {one.list_name} activities", ("no.", "thing", "fraction"), rows, (1, 6, 3))
        )
        if one.above_concentration:
            parts.append(Words("Concentration above the published one", ("; ".join(one.above_concentration) + ".",)))
    if report.sums[0].not_counted:
        parts.append(Words("Not counted", ("; ".join(report.sums[0].not_counted) + ".",)))
    due = tuple(
        (f"{d.by}{' overdue' if d.overdue(report.on) else ''}", d.what, f"{d.thing} ({d.record_id})", d.why)
        for d in report.due
    )
    parts.append(Grid("Due", ("by", "what", "thing", "why"), due or (("", "nothing", "", ""),), (2, 3, 3, 4)))
    if report.left:
        parts.append(Words("Left the shelf, each by a record", tuple(words for _, words in report.left)))
    return Sheet(
        title="Shelf",
        subtitle=f"{report.book}, {report.on}",
        cautions=("Information, not permission: the authority's answer counts.", *caution_texts(report.cautions)),
        results=_sums(report),
        parts=tuple(parts),
        versions=versions_of(behind, report.record.tables),
        sign=("gone through by, date",),
    )


def moving_sheet(report: ShelfReport, standing: BackgroundStanding, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """Moving house: ask, pack, carry, set up, count a new background; the old one and its limits retire."""
    transport = next(one for one in report.sums if one.list_name == "transport")
    background = (
        "none is in force"
        if standing.in_force is None
        else f"record {standing.in_force.id} ({standing.in_force.name}) and every limit that rests on it"
    )
    ask = (
        "Ask the authority of the old and of the new place whether the things may go there, and under what.",
        "Ask the carrier before you carry or send anything: post and parcel services commonly refuse radioactive and "
        "caustic goods whatever their activity. A private car has rules too.",
        "Waste is not moved without the authority's word: ask whether it must be handed over first.",
    )
    pack = (
        "Wipe every thing and its box; write the wipe into the book. What is not clean does not travel.",
        "Weigh each sealed vial closed, and write the mass down: the same again after the move.",
        "Vial: in its outer tube, tube in a closed tin, tin in absorbent, upright in the middle of the box, "
        "label outside.",
        "Rods: bundled, ends covered, in a rigid closed box. Lenses and dials wrapped singly, glass whole.",
        "Caustic and peroxide never in the same box, upright, each in its own tray; better used up or handed over.",
        "This sheet and the finder's sheet on top, inside the box.",
    )
    after = (
        "Open over a tray, with gloves; look at every seal. A cracked vial: take the sheet for a spill.",
        "Reweigh, wipe, write both down; give every thing its new place in the book, and record the move.",
        "Count the new room, an hour at least, with shield and stand as they will be used. Until then there is no "
        "background, and no limit of detection.",
        "Re-lock with the source; the gain will have moved.",
    )
    return Sheet(
        title="Moving house",
        subtitle=f"{report.book}, {report.on}",
        cautions=(f"{ASK_FIRST}", transport.say, NO_DRAIN),
        inputs=(Fact("things to move", f"{len(report.items)}"),),
        results=(
            *_sums(report),
            Fact("retires on the day of the move", background),
        ),
        parts=(
            Steps("Ask first", tuple(SheetStep("", text) for text in ask)),
            Steps("Pack", tuple(SheetStep("", text) for text in pack)),
            _things(report.items, dose=False),
            Blanks(
                "Asked", ("authority, old place: reply no.", "authority, new place: reply no.", "carrier: reply, name")
            ),
            Steps("At the new place", tuple(SheetStep("", text) for text in after)),
            Words("Published, as examples", tuple(str(rule) for rule in report.rules)),
        ),
        versions=versions_of(behind, report.record.tables),
        sign=("packed by, date", "received by, date"),
    )


def spill_sheet(report: ShelfReport, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """A spill or a broken vial: what to do, in order, and whom to call."""
    powders = [item for item in report.items if item.kind == "source" and item.what == "sealed vial"]
    steps = (
        SheetStep(
            "at once",
            "Hold your breath, step back, warn the others. Nobody walks through it. No fan, no vacuum "
            "cleaner, no dry brush.",
        ),
        SheetStep(
            "at once",
            "Caustic on skin or in eyes comes first: running water, fifteen minutes, then a doctor. Take "
            "wet clothes off.",
        ),
        SheetStep(
            "then",
            "Air supply off, door closed. Fetch: respirator P3, goggles, two pairs of gloves, coat, wet wipes, "
            "bag, tongs.",
        ),
        SheetStep(
            "then", "Lay wet wipes over the powder from the edge inwards; let them soak. Pick glass up with tongs."
        ),
        SheetStep(
            "then",
            "Wipe from outside to inside, each wipe once, into the bag. Again, until a wipe counts like a clean one.",
        ),
        SheetStep(
            "then", "Gloves off inside out, into the bag. Wash hands and face; do not eat, drink or smoke before."
        ),
        SheetStep(
            "after",
            "Bag, close, label it; it is waste that waits for the authority. Write down what was spilled, how "
            "much, who was there.",
        ),
        SheetStep(
            "after",
            "Count floor, shoes and wipes with the spectrometer; but a gamma spectrometer cannot clear alpha "
            "contamination: ask the authority or an adviser to survey it.",
        ),
    )
    results = [
        Fact(
            "of a gram of dry powder spilled, gets into the air to breathe",
            f"about {spill_respirable_mg(1.0):.1g} mg",
            "order of magnitude, DOE-HDBK-3010 from memory: why it is wetted before anything else",
        )
    ]
    results += [Fact.of(f"{p.name} ({p.place})", p.head_activity or "not known", p.head) for p in powders]
    return Sheet(
        title="A spill, or a broken vial",
        subtitle=report.book,
        cautions=("No vacuum cleaner, no sweeping, no drain, no bin.", *caution_texts(cautions_for("seal"))),
        inputs=(Fact("gear", "; ".join(PROTECTIVE_GEAR)),),
        results=tuple(results),
        parts=(
            Steps("In this order", steps),
            Blanks(
                "Telephone", ("radiation protection adviser", "authority", "poison information", "owner of the shelf")
            ),
            Blanks("What happened", ("date, time, who", "what, how much", "wipes and counts")),
        ),
        versions=versions_of(behind, report.record.tables),
        sign=("cleaned by, date", "surveyed by, date"),
    )


def finder_sheet(report: ShelfReport, behind: Iterable[BookRecord[Body]] = ()) -> Sheet:
    """For whoever finds this shelf without its owner: what it is, how harmless and how not, whom to ask."""
    words = (
        "These are weakly radioactive things that somebody kept to check a measuring instrument: thorium in "
        "welding rods and "
        "in a vial, and finds such as old lenses. Closed and left where they are they do nobody harm.",
        f"Standing ten centimetres from all of it gives at most {report.dose_rate_all}; an hour at a metre gives "
        "a hundredth "
        "of an hour at ten centimetres. One nanogray counts here as one nanosievert.",
        "What can harm: the powder in the vials, if it is breathed in or swallowed; and the caustics and their "
        "waste, on skin "
        "and in eyes. So: do not open, do not shake, do not break, do not sand or grind.",
        "Do not throw any of it away, do not give it to a scrap dealer, do not send it by post.",
        "Call the authority below, read it this list, and ask who fetches it. The book (a file, see below) says "
        "where each "
        "thing came from and what is in it.",
    )
    return Sheet(
        title="For whoever finds this shelf without me",
        subtitle=f"{report.book}, as of {report.on}",
        cautions=("Leave it closed. Call first.", NO_DRAIN),
        results=_sums(report),
        parts=(
            Words("What this is", words),
            _things(report.items),
            Label(
                "RADIOACTIVE THINGS, WEAK",
                ("Keep closed. Do not throw away.", f"List inside, {report.on}.", "Call: ____"),
                True,
                110.0,
                50.0,
            ),
            Blanks(
                "Whom to call",
                (
                    "authority, telephone",
                    "somebody who knows these things",
                    "licensed disposer",
                    "where the book is, how to open it",
                ),
            ),
            Facts("Not known to this list", tuple(Fact(i.name, i.remark) for i in report.items if not i.activities)),
        ),
        versions=versions_of(behind, report.record.tables),
        sign=("written by, date", "who takes it at the end"),
    )
