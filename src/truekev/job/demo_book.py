"""A bench book filled by an invented college teaching lab: for the tour, the tests and the sheets.

Everything in it is invented. The spectra are the simulated ones of the demonstration.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from truekev.bench.settings import BatchSettings, batch_template
from truekev.book.body import Body, Value
from truekev.book.book import Book
from truekev.book.run_readings import NewReading, add_readings
from truekev.book.spectra import add_spectrum
from truekev.book.things import Departure, Find, Instrument, Source, Stock, Upkeep, Waste
from truekev.book.work import Authority, Note, Recovery, Sample
from truekev.job.book_entry import batch_body
from truekev.job.book_results import keep_plan
from truekev.job.book_scales import calibrate_in_book, relock_in_book
from truekev.tables.loader import table_bytes

__all__ = ["INVENTED", "fill_demo_book", "is_invented"]

INVENTED = "Invented: a college teaching lab that does not exist; nothing here was measured."
_ABOUT = "About this book"

_ROD_BUNDLE = """\
name = "Rod bundle, drawer 3"
kind = "thoriated-rods"
distance_mm = 10.0
reference_date = 2015-06-01
aged = true

[body]
form = "rods"
n_rods = 10
diameter_mm = 2.4
length_mm = 150.0
electrode_class = "WT20"
"""

_VIAL = """\
name = "Thoria vial no. 1"
kind = "thorium-vial"
reference_date = 2026-10-09
aged = true

[[separation]]
on = 2026-10-09
kept = { Th = 1.0, Ra = 0.97, Ac = 1.0, Pb = 0.8, Bi = 0.8 }
others_kept = 1.0

[body]
form = "vial"
oxide_mass_g = 0.72
fill_height_mm = 1.4
inner_diameter_mm = 16.0
wall_mm = 1.0
"""

_LENS = """\
name = "Old camera lens"
kind = "thoriated-lens"
reference_date = 1970-01-01
aged = true

[activities_bq]
Th-232 = [5200.0, 1600.0]
"""


def is_invented(book: Book) -> bool:
    """Whether a book is the demonstration's."""
    return any(note.body.text == INVENTED for note in book.current(Note, _ABOUT))


class _Filler:
    """Writes the story of the lab, its clock set to the days on which things happened."""

    def __init__(self, path: Path) -> None:
        self.moment = datetime(2026, 2, 10, 9, 0, tzinfo=UTC)
        self.book = Book.create(path, "Teaching lab (invented)", clock=self.clock)

    def clock(self) -> datetime:
        self.moment += timedelta(seconds=20)
        return self.moment

    def on(self, year: int, month: int, day: int, hour: int = 10) -> date:
        self.moment = datetime(year, month, day, hour, tzinfo=UTC)
        return self.moment.date()

    def add(self, body: Body) -> int:
        return self.book.add(body).id


def fill_demo_book(path: str | Path, progress: Callable[[float, str], None] | None = None) -> Book:
    """Make the demonstration's book at `path`: a year of an invented teaching lab.

    Raises
    ------
    InputError
        A file of that name is there.
    """
    tell = progress or (lambda _share, _what: None)
    filler = _Filler(Path(path))
    tell(0.0, "the spring: stock and counts")
    instrument, rods = _stock_and_question(filler)
    _counts_and_scale(filler, instrument, rods, tell)
    tell(0.7, "the autumn: batch, vial, waste")
    batch = _batch(filler, rods)
    _vial_and_waste(filler, batch)
    tell(1.0, "done")
    return filler.book


def _stock_and_question(filler: _Filler) -> tuple[int, int]:
    day = filler.on(2026, 2, 10)
    filler.add(Note(name=_ABOUT, text=INVENTED))
    instrument = filler.add(
        Instrument(
            name="Pocket spectrometer",
            crystal="CsI(Tl) cube 10 × 10 × 10 mm",
            n_channels=1024,
            serial="invented",
            place="bench 2",
        )
    )
    rods = filler.add(
        Stock(
            name="Electrodes, red mark",
            what="rods",
            place="drawer 3, steel box",
            bought_on=day,
            supplier="welding supplier (invented)",
            count=20,
            electrode_class="WT20",
            diameter_mm=2.4,
            length_mm=150.0,
            mass_g=255.4,
            u_mass_g=0.1,
        )
    )
    filler.add(
        Stock(
            name="Sodium hydroxide pellets",
            what="reagent",
            place="caustics cabinet",
            bought_on=day,
            amount="500 g, 97 %",
        )
    )
    asked = filler.on(2026, 2, 17)
    question = (
        "May a teaching lab dissolve three thoriated electrodes (some 2.8 kBq of Th-232) and keep the oxide sealed?"
    )
    filler.add(
        Authority(
            name="Question before the batch",
            asked_on=asked,
            asked_whom="radiation authority (invented)",
            question=question,
            about_ids=(rods,),
            answered_on=date(2026, 3, 20),
            reply_no="RA-2026-0417 (invented)",
            reply="Yes, under the college's registration; the waste goes to the licensed disposer.",
        )
    )
    return instrument, rods


def _counts_and_scale(filler: _Filler, instrument: int, rods: int, tell: Callable[[float, str], None]) -> None:
    book = filler.book
    filler.on(2026, 3, 2)
    bundle = filler.add(
        Source(
            name="Rod bundle, drawer 3",
            description=_ROD_BUNDLE,
            place="drawer 3, steel box",
            form="bundle of rods",
            stock_id=rods,
            made_on=date(2026, 3, 2),
            owner="Teaching lab",
        )
    )
    room = add_spectrum(
        book, table_bytes("demo_background.csv"), "room.csv", name="Room without rods", role="background",
        instrument_id=instrument, place="bench 2",
    )  # fmt: skip
    first = add_spectrum(
        book, table_bytes("demo_rods.csv"), "rods.csv", name="Rods, one hour", instrument_id=instrument,
        thing_ids=(bundle,), background_id=room.id, place="bench 2",
    )  # fmt: skip
    tell(0.1, "calibrating")
    calibrate_in_book(book, first.id, made_on=filler.moment.date())
    filler.on(2026, 4, 20, 8)
    later = add_spectrum(
        book, table_bytes("demo_rods_later.csv"), "rods-later.csv", name="Rods, a cold morning",
        instrument_id=instrument, thing_ids=(bundle,), background_id=room.id, place="bench 2",
        temperature_degc=Value(value=12.0, u=1.0, unit="°C"),
    )  # fmt: skip
    tell(0.6, "re-locking")
    relock_in_book(book, later.id, made_on=filler.moment.date())
    found = filler.on(2026, 5, 12)
    filler.add(
        Find(
            name="Old camera lens",
            what="lens of thorium glass",
            place="shelf B, lead tray",
            found_on=found,
            found_where="physics collection, cupboard",
            description=_LENS,
            mass_g=Value(value=212.0, u=1.0, unit="g"),
        )
    )
    filler.add(
        Find(
            name="Gas mantles, one packet",
            what="gas mantles",
            place="shelf B, sealed bag",
            found_on=found,
            found_where="camping box of the geology class",
        )
    )
    filler.add(Sample(name="Potting soil", what="soil from the greenhouse", taken_on=found, taken_where="greenhouse"))


def _batch(filler: _Filler, rods: int) -> int:
    book = filler.book
    filler.on(2026, 10, 2)
    # by the time of the book basket, titanium, copper and iron are out of the beaker
    body = batch_body(batch_template().replace("_out = false", "_out = true "), "batch.toml")
    settings = BatchSettings.model_validate(body.settings)
    batch = book.add(body.model_copy(update={"stock_ids": (rods,)}))
    plan, report = keep_plan(book, batch.id)
    filler.on(2026, 10, 5, 7)
    rng = np.random.default_rng(2026)
    course = report.plan.course
    hours = np.arange(0.25, float(course.time_s[-1]) / 3600, 0.5)
    amperes = np.interp(hours * 3600, course.time_s, course.current_a)
    volts = np.interp(hours * 3600, course.time_s, course.voltage_v)
    degrees = np.interp(hours * 3600, course.time_s, course.temperature_degc)
    add_readings(
        book,
        batch.id,
        [
            NewReading(
                settings.start + timedelta(hours=float(hour)),
                current_a=round(float(a + rng.normal(0, 0.004)), 3),
                voltage_v=round(float(v + rng.normal(0, 0.03)), 2),
                temperature_degc=round(float(t + rng.normal(0, 0.3)), 1),
            )
            for hour, a, v, t in zip(hours, amperes, volts, degrees, strict=True)
        ],
    )
    ended = report.plan.finish
    filler.on(ended.year, ended.month, ended.day, ended.hour)
    batch = book.add(
        batch.body.model_copy(update={"ended_on": ended, "remarks": "All dissolved; basket empty."}),
        supersedes=batch.id,
    )
    filler.add(
        Departure(
            name="Three electrodes dissolved", thing_id=rods, how="used up", on=ended.date(), count=3, batch_id=batch.id
        )
    )
    filler.add(Note(name="Batch planned", text=f"Plan kept as record {plan.id}.", about_ids=(batch.id,)))
    return batch.id


def _vial_and_waste(filler: _Filler, batch: int) -> None:
    separated = filler.on(2026, 10, 9)
    recovery = filler.add(
        Recovery(
            name="Oxide of the autumn batch",
            batch_id=batch,
            separated_on=separated,
            kept={"Th": 1.0, "Ra": 0.97, "Ac": 1.0, "Pb": 0.8, "Bi": 0.8},
            oxide_mass_g=Value(value=0.72, u=0.01, unit="g"),
            n_washes=4,
        )
    )
    closed = filler.on(2026, 10, 12)
    vial = filler.add(
        Source(
            name="Thoria vial no. 1",
            description=_VIAL,
            place="shelf A, outer tube",
            form="sealed vial",
            home_made=True,
            batch_id=batch,
            recovery_id=recovery,
            made_on=closed,
            gross_mass_g=Value(value=14.382, u=0.002, unit="g"),
            oxide_mass_g=Value(value=0.72, u=0.01, unit="g"),
            owner="Teaching lab",
        )
    )
    filler.add(
        Upkeep(
            name="Wiped and weighed at closing",
            thing_id=vial,
            on=closed,
            looked=True,
            wiped=True,
            wipe=Value(value=0.0, u=0.4, unit="Bq"),
            gross_mass_g=Value(value=14.381, u=0.002, unit="g"),
            remarks="Nothing on the wipe above its decision threshold.",
        )
    )
    closed = filler.on(2026, 10, 14)
    sludge = filler.add(
        Waste(
            name="Sludge of the autumn batch",
            contents="calcium tungstate and hydroxide",
            place="waste cabinet, jar 1",
            closed_on=closed,
            hazards="corrosive; radioactive until shown otherwise",
            batch_id=batch,
            mass_g=Value(value=92.0, u=2.0, unit="g"),
            activities_bq={"Th-232": Value(value=12.0, u=8.0, unit="Bq")},
            measured_on=closed,
        )
    )
    filler.add(
        Waste(
            name="Liquid of the autumn batch",
            contents="lime water over tungstate, about pH 12",
            place="waste cabinet, canister 2",
            closed_on=closed,
            hazards="corrosive",
            batch_id=batch,
            volume_ml=Value(value=420.0, u=10.0, unit="mL"),
        )
    )
    asked = filler.on(2026, 10, 20)
    filler.add(
        Authority(
            name="Where may the sludge go?",
            asked_on=asked,
            asked_whom="radiation authority (invented)",
            question="92 g of sludge with about 12 Bq of Th-232; to which licensed disposer, under which number?",
            about_ids=(sludge,),
        )
    )
