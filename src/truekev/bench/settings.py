"""A batch as a person writes it in TOML, checked by pydantic; the commented template comes from the program itself."""

from __future__ import annotations

from datetime import datetime, time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from truekev.bench.batch_problems import entries_of, format_error
from truekev.errors import FileFormatError, InputError
from truekev.tables.loader import table_bytes

__all__ = [
    "AnodeSettings",
    "BatchSettings",
    "CellSettings",
    "HydroxideSettings",
    "RodLot",
    "RoomSettings",
    "SupplySettings",
    "batch_from_mapping",
    "batch_template",
    "read_batch",
]

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Material = Literal[
    "titanium", "nickel", "tungsten", "copper", "graphite", "platinum", "stainless steel", "aluminium", "other"
]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class RodLot(_Strict):
    """Rods of one kind. `mass_g` is the weighed mass of all of them; without it the geometry gives it."""

    count: Annotated[int, Field(ge=1, le=10_000)]
    diameter_mm: Annotated[float, Field(ge=0.1, le=20, allow_inf_nan=False)]
    length_mm: Annotated[float, Field(ge=1, le=2000, allow_inf_nan=False)]
    mass_g: Positive | None = None
    u_mass_g: NotNegative = 0.05
    class_: str | None = Field(default=None, alias="class")
    thoria_percent: Annotated[float, Field(gt=0, le=20, allow_inf_nan=False)] | None = None
    u_thoria_percent: NotNegative | None = None
    role: Literal["anode", "cathode"] = "anode"

    @model_validator(mode="after")
    def _content_known(self) -> RodLot:
        if (self.class_ is None) == (self.thoria_percent is None):
            raise ValueError("give either class (such as WT20) or thoria_percent, not both and not neither")
        if self.thoria_percent is not None and self.u_thoria_percent is None:
            raise ValueError("thoria_percent needs u_thoria_percent beside it (standard uncertainty)")
        return self


class AnodeSettings(_Strict):
    """How the rods hang in the bath."""

    holder: Literal["basket", "dipped"] = "basket"
    basket_material: Material = "titanium"
    dipped_mm: Positive | None = None
    current_efficiency: Annotated[float, Field(gt=0.05, le=1)] = 0.98
    u_current_efficiency: Annotated[float, Field(ge=0, le=0.5)] = 0.02
    fines_percent: Annotated[float, Field(ge=0, le=50)] = 2.0

    @model_validator(mode="after")
    def _depth_known(self) -> AnodeSettings:
        if self.holder == "dipped" and self.dipped_mm is None:
            raise ValueError("dipped rods need dipped_mm, the length in the liquid")
        return self


class CellSettings(_Strict):
    """The vessel, the cathode and the gap."""

    volume_ml: Annotated[float, Field(ge=10, le=100_000, allow_inf_nan=False)]
    vessel_diameter_mm: Annotated[float, Field(ge=20, le=1000, allow_inf_nan=False)]
    vessel_height_mm: Annotated[float, Field(ge=20, le=2000, allow_inf_nan=False)] = 150.0
    vessel_material: Literal["polypropylene", "polyethylene", "PTFE", "glass", "stainless steel", "aluminium"] = (
        "polypropylene"
    )
    cover: Literal["none", "vented splash cover", "lid"] = "none"
    divided: bool = False
    cathode_material: Material = "tungsten"
    cathode_area_cm2: Annotated[float, Field(ge=0.1, le=100_000, allow_inf_nan=False)] = 10.0
    gap_mm: Annotated[float, Field(ge=1, le=500, allow_inf_nan=False)] = 30.0
    stirring: Literal["none", "gentle", "strong"] = "strong"


class HydroxideSettings(_Strict):
    """The sodium hydroxide as weighed in, and what of it is NaOH."""

    mass_g: Annotated[float, Field(gt=0, le=1_000_000, allow_inf_nan=False)]
    assay_percent: Annotated[float, Field(gt=10, le=100)] = 97.0
    u_assay_percent: Annotated[float, Field(ge=0, le=20)] = 1.0


class SupplySettings(_Strict):
    """The constant-current supply."""

    current_a: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
    voltage_cap_v: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)] = 6.0
    rating_a: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]


class RoomSettings(_Strict):
    """The place where the bath stands."""

    temperature_degc: Annotated[float, Field(ge=-5, le=45)] = 20.0
    relative_humidity_percent: Percent = 50.0
    air: Literal["still", "hood", "fan"] = "hood"


class AttendanceSettings(_Strict):
    """When somebody is there: outside these hours nobody tops up or switches off."""

    from_time: time = time(8, 0)
    to_time: time = time(21, 0)
    top_up_every_h: Annotated[float, Field(ge=0.25, le=48)] = 4.0

    @model_validator(mode="after")
    def _order(self) -> AttendanceSettings:
        if self.from_time >= self.to_time:
            raise ValueError("from_time must be earlier in the day than to_time")
        return self


class CleanupSettings(_Strict):
    """What stands in the beaker when the peroxide comes."""

    heel_ml: Annotated[float, Field(gt=0, le=10_000)] = 20.0
    tungsten_left_g: NotNegative | None = None
    hydroxide_mol_l: Annotated[float, Field(ge=0, le=15)] = 0.5
    temperature_degc: Annotated[float, Field(ge=0, le=60)] = 20.0
    basket_out: bool = False
    copper_out: bool = False


class RecoverySettings(_Strict):
    """Washing, weighing, date."""

    separated_on: datetime | None = None
    beaker_ml: Annotated[float, Field(gt=0, le=10_000)] = 250.0
    heel_ml: Annotated[float, Field(gt=0, le=10_000)] = 20.0
    settling_height_mm: Annotated[float, Field(gt=1, le=1000)] = 50.0
    residual_salt_mg: Positive = 5.0
    flocculant: Literal["none", "alum", "aluminium sulfate", "organic"] = "none"
    flocculant_mg: NotNegative = 0.0
    wash_ph: Annotated[float, Field(ge=0, le=14)] | None = None
    oxide_dry_g: Positive | None = None
    u_oxide_dry_g: NotNegative = 0.005
    closure: Literal["vial", "resin"] = "vial"


class BatchSettings(_Strict):
    """One batch: everything that the plan needs to know."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    start: datetime
    rods: Annotated[tuple[RodLot, ...], Field(min_length=1, max_length=100)]
    anode: AnodeSettings = AnodeSettings()
    cell: CellSettings
    hydroxide: HydroxideSettings
    supply: SupplySettings
    room: RoomSettings = RoomSettings()
    attendance: AttendanceSettings = AttendanceSettings()
    cleanup: CleanupSettings = CleanupSettings()
    recovery: RecoverySettings = RecoverySettings()


def batch_template() -> str:
    """The commented template of a batch; its numbers are an invented example (a college teaching lab)."""
    return table_bytes("batch_template.toml").decode()


def batch_from_mapping(entries: dict[str, Any], *, file: str | None = None, text: str | None = None) -> BatchSettings:
    """A checked batch from nested dictionaries; `text` is the TOML that they came from, for line numbers.

    Raises
    ------
    FileFormatError
        A field is missing, unknown or out of range; every such field is named.
    """
    try:
        return BatchSettings.model_validate(entries)
    except ValidationError as error:
        raise format_error(error, BatchSettings, file=file, text=text) from None


def read_batch(path: str | Path) -> BatchSettings:
    """Read and check a batch file.

    Raises
    ------
    InputError
        There is no such file, it is not TOML, or a field is wrong.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{file}: cannot be read ({error.strerror}); 'truekev new batch' writes a template.") from None
    except UnicodeDecodeError:
        raise FileFormatError("is not text in UTF-8; save it as UTF-8.", file=file) from None
    return batch_from_mapping(entries_of(text, str(file)), file=str(file), text=text)
