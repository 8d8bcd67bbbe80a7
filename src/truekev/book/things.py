"""Records of things that stand on the shelf, of where they went, and of the instrument."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from truekev.book.body import Body, Day, Line, NotNegative, Positive, Prose, RecordId, Value

__all__ = ["THINGS", "Departure", "Find", "HouseMove", "Instrument", "Source", "Stock", "Upkeep", "Waste"]

# Kinds that stand on the shelf, leave it by a departure and are looked after.
THINGS = ("stock", "source", "find", "waste")


class Stock(Body):
    """What was bought or given: rods, reagents, equipment.

    Rods give `electrode_class` (or thoria_percent with its standard uncertainty), count and measures; then the
    shelf knows their thorium, with daughters in equilibrium (which over-estimates dose and sums, if anything).
    """

    kind: ClassVar[str] = "stock"
    what: Literal["rods", "reagent", "equipment"]
    place: Line
    bought_on: Day | None = None
    supplier: Line = ""
    count: Annotated[int, Field(ge=1, le=100_000)] = 1
    electrode_class: Line = ""
    thoria_percent: Annotated[float, Field(gt=0, le=20)] | None = None
    u_thoria_percent: NotNegative | None = None
    diameter_mm: Positive | None = None
    length_mm: Positive | None = None
    mass_g: Positive | None = None
    u_mass_g: NotNegative = 0.0
    amount: Line = ""
    remarks: Prose = ""

    @model_validator(mode="after")
    def _rods_are_known(self) -> Stock:
        if self.what != "rods":
            return self
        if bool(self.electrode_class) == (self.thoria_percent is not None):
            raise ValueError("rods need electrode_class (such as WT20) or thoria_percent, not both and not neither")
        if self.thoria_percent is not None and self.u_thoria_percent is None:
            raise ValueError("thoria_percent needs u_thoria_percent beside it (standard uncertainty)")
        if self.diameter_mm is None or self.length_mm is None:
            raise ValueError("rods need diameter_mm and length_mm")
        return self


class Source(Body):
    """A source that one calibrates with, bought or made.

    `description` is the TOML text of a source file (`truekev new source`), with its dated separations; it gives the
    activity on every day. `gross_mass_g` is the closed vial's mass, for reweighing.
    """

    kind: ClassVar[str] = "source"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {
        "batch_id": ("batch",),
        "recovery_id": ("recovery",),
        "stock_id": ("stock",),
    }
    description: Prose
    place: Line
    form: Literal["sealed vial", "set in resin", "bundle of rods", "as bought"] = "as bought"
    home_made: bool = False
    batch_id: RecordId | None = None
    recovery_id: RecordId | None = None
    stock_id: RecordId | None = None
    made_on: Day | None = None
    gross_mass_g: Value | None = None
    oxide_mass_g: Value | None = None
    owner: Line = ""
    remarks: Prose = ""


class Find(Body):
    """Something found or inherited that emits: a lens, a mantle, a dial.

    With a `description` (source file as for Source) that gives an activity, the shelf counts it in the sums; without
    one it says that the activity is not known.
    """

    kind: ClassVar[str] = "find"
    what: Line
    place: Line
    found_on: Day
    found_where: Line = ""
    description: Prose = ""
    mass_g: Value | None = None
    remarks: Prose = ""


class Waste(Body):
    """A jar of waste that waits; it goes by a departure only, never down a drain, never into a bin.

    `activities_bq` holds on `measured_on` (or `closed_on` where nothing was measured).
    """

    kind: ClassVar[str] = "waste"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"batch_id": ("batch",)}
    contents: Line
    place: Line
    closed_on: Day
    hazards: Line
    batch_id: RecordId | None = None
    mass_g: Value | None = None
    volume_ml: Value | None = None
    activities_bq: dict[str, Value] = Field(default_factory=dict)
    measured_on: Day | None = None
    remarks: Prose = ""


class Departure(Body):
    """How a thing left: handed over, used up, or disposed of under a reference number.

    `count` pieces of a stock (all that is left, if None).
    """

    kind: ClassVar[str] = "departure"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"thing_id": THINGS, "batch_id": ("batch",)}
    thing_id: RecordId
    how: Literal["handed over", "used up", "disposed of"]
    on: Day
    count: Annotated[int, Field(ge=1)] | None = None
    to: Line = ""
    reference_no: Line = ""
    batch_id: RecordId | None = None
    remarks: Prose = ""

    @model_validator(mode="after")
    def _is_told(self) -> Departure:
        if self.how == "disposed of" and not (self.reference_no and self.to):
            raise ValueError("disposed of: give to (the licensed disposer) and reference_no (of its acceptance)")
        if self.how == "handed over" and not self.to:
            raise ValueError("handed over: give to (who has it now)")
        if self.how == "used up" and self.batch_id is None and not self.remarks:
            raise ValueError("used up: give batch_id, or say in remarks what it went into")
        return self


class Upkeep(Body):
    """A look at a thing: the yearly look, a wipe, a weighing of the closed vial, a dose rate."""

    kind: ClassVar[str] = "upkeep"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"thing_id": THINGS}
    thing_id: RecordId
    on: Day
    looked: bool = False
    sound: bool = True
    wiped: bool = False
    wipe: Value | None = None
    gross_mass_g: Value | None = None
    dose_rate: Value | None = None
    dose_rate_distance_cm: Positive | None = None
    remarks: Prose = ""


class Instrument(Body):
    """A spectrometer: its description is the TOML text of a detector file where there is one."""

    kind: ClassVar[str] = "instrument"
    description: Prose = ""
    crystal: Line
    n_channels: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    serial: Line = ""
    place: Line = ""
    remarks: Prose = ""


class HouseMove(Body):
    """The shelf moved house: every background counted before, and every limit that rests on one, retires."""

    kind: ClassVar[str] = "house move"
    on: Day
    from_place: Line
    to_place: Line
    asked: Line = ""
    reply_no: Line = ""
    remarks: Prose = ""
