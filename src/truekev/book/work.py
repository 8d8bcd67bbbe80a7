"""Records of work: batches and recoveries, spectra, scales, samples, results, notes and pictures."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, JsonValue

from truekev.book.body import (
    Body,
    Day,
    InputRecord,
    Line,
    Moment,
    NotNegative,
    Positive,
    Prose,
    RecordId,
    Sha256,
    Value,
)
from truekev.book.things import THINGS

__all__ = [
    "Authority",
    "Batch",
    "Note",
    "Picture",
    "Recovery",
    "Relock",
    "Result",
    "Sample",
    "Scale",
    "SpectrumFile",
    "Withdrawn",
]


class Batch(Body):
    """A batch: the checked settings of a batch file, and the text as the person wrote it."""

    kind: ClassVar[str] = "batch"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"stock_ids": ("stock",)}
    settings: dict[str, JsonValue]
    text: Prose = ""
    stock_ids: tuple[RecordId, ...] = ()
    ended_on: Moment | None = None
    remarks: Prose = ""


class Recovery(Body):
    """The oxide of a batch, washed, dried and weighed."""

    kind: ClassVar[str] = "recovery"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"batch_id": ("batch",)}
    batch_id: RecordId
    separated_on: Day
    kept: dict[str, Annotated[float, Field(ge=0, le=1)]] = Field(default_factory=dict)
    others_kept: Annotated[float, Field(ge=0, le=1)] = 1.0
    oxide_mass_g: Value | None = None
    n_washes: Annotated[int, Field(ge=0, le=100)] | None = None
    remarks: Prose = ""


class SpectrumFile(Body):
    """One spectrum of a stored file: its bytes are kept as they came, this is what stands in them."""

    kind: ClassVar[str] = "spectrum"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {
        "instrument_id": ("instrument",),
        "thing_ids": THINGS,
        "sample_id": ("sample",),
        "background_id": ("spectrum",),
    }
    files: ClassVar[tuple[str, ...]] = ("file_sha256",)
    file_sha256: Sha256
    file_name: Line
    number: Annotated[int, Field(ge=1)] = 1
    role: Literal["", "foreground", "background", "calibration", "intrinsic"] = ""
    instrument_id: RecordId | None = None
    thing_ids: tuple[RecordId, ...] = ()
    sample_id: RecordId | None = None
    background_id: RecordId | None = None
    start: Moment | None = None
    live_time_s: NotNegative | None = None
    real_time_s: NotNegative | None = None
    n_channels: Annotated[int, Field(ge=1)]
    counts: NotNegative
    place: Line = ""
    temperature_degc: Value | None = None
    remarks: Prose = ""


class Scale(Body):
    """An energy scale of an instrument; `scale` is the document that the scale room writes and reads."""

    kind: ClassVar[str] = "scale"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {
        "instrument_id": ("instrument",),
        "spectrum_ids": ("spectrum",),
        "source_ids": ("source", "stock", "find"),
    }
    instrument_id: RecordId | None = None
    spectrum_ids: Annotated[tuple[RecordId, ...], Field(min_length=1)]
    source_ids: tuple[RecordId, ...] = ()
    made_on: Day
    method: Line
    scale: dict[str, JsonValue]
    remarks: Prose = ""


class Relock(Body):
    """A scale with its gain set anew from a later spectrum."""

    kind: ClassVar[str] = "relock"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"scale_id": ("scale", "relock"), "spectrum_id": ("spectrum",)}
    scale_id: RecordId
    spectrum_id: RecordId
    made_on: Day
    gain_ratio: Value
    scale: dict[str, JsonValue]
    remarks: Prose = ""


class Sample(Body):
    """Something brought to be measured."""

    kind: ClassVar[str] = "sample"
    what: Line
    taken_on: Day | None = None
    taken_where: Line = ""
    mass_g: Value | None = None
    volume_ml: Positive | None = None
    remarks: Prose = ""


class Result(Body):
    """An answer of the program, with all that it takes to work it out again.

    `question` names the function that answered (as "plan of a batch"), `inputs` the records that went in, with
    their sha256, `settings` everything else that was chosen.
    """

    kind: ClassVar[str] = "result"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"inputs": (), "about_id": ()}
    question: Line
    about_id: RecordId | None = None
    inputs: tuple[InputRecord, ...] = ()
    settings: dict[str, JsonValue] = Field(default_factory=dict)
    answer: dict[str, JsonValue]

    def figure(self, name: str) -> Any:
        """One entry of the answer."""
        return self.answer[name]


class Authority(Body):
    """A question to the authority, and its reply once it is there."""

    kind: ClassVar[str] = "authority"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"about_ids": ()}
    asked_on: Day
    asked_whom: Line
    question: Prose
    about_ids: tuple[RecordId, ...] = ()
    answered_on: Day | None = None
    reply_no: Line = ""
    reply: Prose = ""


class Note(Body):
    """Words about anything."""

    kind: ClassVar[str] = "note"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"about_ids": ()}
    text: Prose
    about_ids: tuple[RecordId, ...] = ()


class Picture(Body):
    """A photograph or drawing, bytes kept as they came."""

    kind: ClassVar[str] = "picture"
    refers: ClassVar[dict[str, tuple[str, ...]]] = {"about_ids": ()}
    files: ClassVar[tuple[str, ...]] = ("file_sha256",)
    file_sha256: Sha256
    file_name: Line
    caption: Prose = ""
    about_ids: tuple[RecordId, ...] = ()


class Withdrawn(Body):
    """Supersedes a record that should not have been written; says why. What was written stays readable."""

    kind: ClassVar[str] = "withdrawn"
    why: Annotated[Prose, Field(min_length=1)]
