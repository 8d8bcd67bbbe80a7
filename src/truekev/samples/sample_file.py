"""The sample that a person describes: TOML with a commented template, checked here."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from truekev.errors import FileFormatError, InputError
from truekev.matter.materials import Material, compound, known_materials, material, mixture
from truekev.quantity import Measured
from truekev.sources.settings import read_source_file
from truekev.sources.source import Body
from truekev.toml_text import line_of_key

__all__ = [
    "POINT_SAMPLE",
    "SampleDescription",
    "known_matter",
    "read_sample",
    "read_sample_text",
    "sample_template",
]

_STRICT = ConfigDict(extra="forbid", frozen=True)
_Length = Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)]
_Mass = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
_Density = Annotated[float, Field(gt=0, le=22.6, allow_inf_nan=False)]
_NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
_Share = Annotated[float, Field(ge=0, lt=1, allow_inf_nan=False)]

# Everyday matter of samples: composition, and the density of the matter without pores; from memory.
_MATTER: dict[str, tuple[float, dict[str, float]]] = {
    "soil": (2.65, {"SiO2": 0.65, "Al2O3": 0.15, "Fe2O3": 0.05, "CaO": 0.05, "H2O": 0.10}),
    "rock": (3.3, {"SiO2": 0.65, "Al2O3": 0.15, "Fe2O3": 0.08, "CaO": 0.08, "K2O": 0.04}),
    "ore": (7.0, {"SiO2": 0.7, "Al2O3": 0.1, "Fe2O3": 0.15, "U3O8": 0.05}),
    "glass": (2.9, {"SiO2": 0.72, "Na2O": 0.15, "CaO": 0.13}),
    "plant": (1.5, {"C6H10O5": 0.9, "H2O": 0.1}),
    "salt": (2.16, {"NaCl": 1.0}),
    "potassium chloride": (1.98, {"KCl": 1.0}),
    "fertiliser": (2.4, {"KCl": 0.3, "NH4H2PO4": 0.5, "CaSO4": 0.2}),
    "plaster": (2.32, {"CaSO4": 0.79, "H2O": 0.21}),
    "titanium residue": (4.2, {"TiO2": 0.4, "SiO2": 0.2, "Fe2O3": 0.2, "BaSO4": 0.2}),
}


class _BodyEntry(BaseModel):
    model_config = _STRICT
    form: Literal["point", "disc", "cylinder", "bag"] = "point"
    material: str = "soil"
    formula: str | None = None
    diameter_mm: _Length | None = None
    height_mm: _Length | None = None
    mass_g: _Mass | None = None
    density_g_cm3: _Density | None = None
    wall_mm: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0
    wall_material: str = "polyethylene"


class _Surroundings(BaseModel):
    model_config = _STRICT
    back: Annotated[float, Field(ge=0, le=8, allow_inf_nan=False)] = 1.0
    u_back: Annotated[float, Field(gt=0, le=8, allow_inf_nan=False)] = 1.0
    forward: Annotated[float, Field(ge=0, le=8, allow_inf_nan=False)] = 0.5
    u_forward: Annotated[float, Field(gt=0, le=8, allow_inf_nan=False)] = 0.7
    side: Annotated[float, Field(ge=0, le=8, allow_inf_nan=False)] = 0.0
    u_side: Annotated[float, Field(gt=0, le=8, allow_inf_nan=False)] = 0.5
    once: Annotated[float, Field(ge=0, le=8, allow_inf_nan=False)] = 0.0
    u_once: Annotated[float, Field(gt=0, le=8, allow_inf_nan=False)] = 0.4


def _pair(entry: _Surroundings, name: str) -> Measured:
    return Measured(float(getattr(entry, name)), float(getattr(entry, f"u_{name}")))


class _SampleFile(BaseModel):
    model_config = _STRICT
    name: Annotated[str, Field(min_length=1)]
    distance_mm: Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)]
    u_distance_mm: _NotNegative = 1.0
    extra_distance_mm: Annotated[float, Field(ge=-20, le=500, allow_inf_nan=False)] = 0.0
    u_extra_distance_mm: _NotNegative = 0.0
    u_efficiency: _Share = 0.07
    source: str | None = None
    body: _BodyEntry | None = None
    surroundings: _Surroundings = _Surroundings()


@dataclass(frozen=True)
class SampleDescription:
    """A sample after its checks.

    Parameters
    ----------
    name : str
    distance_mm : Measured
        From the housing's front to the nearest point of the sample, the extra distance of the crystal included.
    u_efficiency : float
        Relative standard uncertainty of the computed efficiency.
    form : str
        "point", "disc", "cylinder", "bag", or "source" for a body of a source file.
    matter : Material or None
        What it is made of, at the density that it stands at.
    diameter_mm, height_mm, wall_mm : float
    wall : Material or None
    mass_g : float or None
    u_density : float
        Relative, of the density: what self-absorption rests on.
    body : Body or None
        The body of a source file.
    known : bool
        False where nothing was described, so that matter about the activity has to be guessed.
    back, forward, side, once : Measured
        What surroundings scatter: back out of something thick (1: a slab right behind the source), forward, from the
        side, and back just once, as `component_templates` has them.
    """

    name: str
    distance_mm: Measured
    u_efficiency: float
    form: str
    matter: Material | None = None
    diameter_mm: float = 0.0
    height_mm: float = 0.0
    wall_mm: float = 0.0
    wall: Material | None = None
    mass_g: float | None = None
    u_density: float = 0.03
    body: Body | None = None
    known: bool = True
    back: Measured = field(default_factory=lambda: Measured(1.0, 1.0))
    forward: Measured = field(default_factory=lambda: Measured(0.5, 0.7))
    side: Measured = field(default_factory=lambda: Measured(0.0, 0.5))
    once: Measured = field(default_factory=lambda: Measured(0.0, 0.4))

    @property
    def volume_cm3(self) -> float:
        """Volume of a disc, cylinder or bag."""
        return math.pi / 4 * self.diameter_mm**2 * self.height_mm * 1e-3


POINT_SAMPLE = SampleDescription(
    "a point 100 mm away (nothing described)", Measured(100.0, 3.0, "mm"), 0.10, "point", known=False
)


def known_matter() -> tuple[str, ...]:
    """What samples may be made of, by one word: everyday matter first, then all materials."""
    return (*_MATTER, *(name for name in known_materials() if name not in _MATTER))


def sample_template() -> str:
    """The commented template of a sample file."""
    return f"""\
# A sample, as truekev reads it. Lines that start with # are comments.
# The values below are an example (invented): a jar of soil in a college teaching lab.

name = "Soil, jar 2"

# From the front of the detector's housing to the nearest point of the sample, and its standard uncertainty.
distance_mm = 0.0
u_distance_mm = 1.0

# How much deeper the crystal sits than the housing's front says. Count one source of known activity and of the same
# type at this place: `truekev assay SPECTRUM … --known Cs-137:700kBq` prints what makes the two agree.
extra_distance_mm = 0.0
u_extra_distance_mm = 0.0

# Relative standard uncertainty of the computed efficiency, beside the distance.
u_efficiency = 0.07

# Instead of [body]: the body of a source file (rods, vial, resin), `truekev new source`.
# source = "rods.toml"

[body]
# point, disc (flat), cylinder (a jar, its bottom towards the detector), bag (sizes as it lies).
form = "cylinder"
# What it is made of: {", ".join(_MATTER)}; any material as
# water, quartz, iron; or formula = "CaCO3" with density_g_cm3.
material = "soil"
diameter_mm = 60.0
height_mm = 50.0
# Mass or density; the density follows from mass and volume.
mass_g = 180.0
# density_g_cm3 = 1.27
# The wall between sample and detector.
wall_mm = 1.0
wall_material = "polyethylene"

# What stand, table and walls scatter: back out of something thick (1: a slab right behind the source), forward, from
# the side, and back just once; with standard uncertainties. The same count of a known source prints them.
[surroundings]
back = 1.0
u_back = 1.0
forward = 0.5
u_forward = 0.7
side = 0.0
u_side = 0.5
once = 0.0
u_once = 0.4
"""


class _Reader:
    def __init__(self, file: Path, text: str) -> None:
        self.file, self.text = file, text

    def complaint(self, problem: str, *path: str | int) -> FileFormatError:
        field = ".".join(str(part) for part in path) or None
        return FileFormatError(problem, file=self.file, line=line_of_key(self.text, path), field=field)

    def read(self) -> SampleDescription:
        try:
            entry = _SampleFile.model_validate(tomllib.loads(self.text))
        except tomllib.TOMLDecodeError as error:
            raise FileFormatError(f"is not TOML: {error}.", file=self.file) from None
        except ValidationError as error:
            first = error.errors()[0]
            words = {"extra_forbidden": "this key is not known", "missing": "this key is missing"}
            problem = words.get(first["type"], f"{first['input']!r} was given: {first['msg']}")
            raise self.complaint(f"{problem}; `truekev new sample` prints a template.", *first["loc"]) from None
        common: dict[str, Any] = {
            "name": entry.name,
            "distance_mm": Measured(
                entry.distance_mm + entry.extra_distance_mm,
                math.hypot(entry.u_distance_mm, entry.u_extra_distance_mm),
                "mm",
            ),
            "u_efficiency": entry.u_efficiency,
            **{name: _pair(entry.surroundings, name) for name in ("back", "forward", "side", "once")},
        }
        if entry.distance_mm + entry.extra_distance_mm < 0:
            raise self.complaint("with the extra distance the sample would lie in the detector.", "extra_distance_mm")
        if entry.source is not None:
            if entry.body is not None:
                raise self.complaint("give source or [body], not both.", "source")
            of = read_source_file(self.file.parent / entry.source)
            mass = of.body.oxide_mass_g or of.body.salt_mass_g
            return SampleDescription(form="source", body=of.body, mass_g=mass, **common)
        if entry.body is None or entry.body.form == "point":
            mass = None if entry.body is None else entry.body.mass_g
            return SampleDescription(form="point", mass_g=mass, **common)
        return self.solid(entry.body, common)

    def solid(self, body: _BodyEntry, common: dict[str, Any]) -> SampleDescription:
        if body.diameter_mm is None or body.height_mm is None:
            missing = "diameter_mm" if body.diameter_mm is None else "height_mm"
            raise self.complaint(f"a {body.form} needs {missing}.", "body", "form")
        whole = self.matter(body)
        volume_cm3 = math.pi / 4 * body.diameter_mm**2 * body.height_mm * 1e-3
        density, mass = body.density_g_cm3, body.mass_g
        if mass is not None:
            own = mass / volume_cm3
            if density is not None and abs(own / density - 1.0) > 0.05:
                raise self.complaint(
                    f"mass and sizes give {own:.3g} g/cm3, density_g_cm3 says {density:g}; keep one of them.",
                    *("body", "density_g_cm3"),
                )
            if own > 1.02 * whole.density_g_cm3:
                raise self.complaint(
                    f"{mass:g} g in {volume_cm3:.4g} cm3 would be {own:.3g} g/cm3, more than solid {whole.name} has "
                    f"({whole.density_g_cm3:.3g}); check mass, sizes and material.",
                    *("body", "mass_g"),
                )
            density = min(own, whole.density_g_cm3)
        elif density is None:
            density = whole.density_g_cm3
        elif density > whole.density_g_cm3:
            raise self.complaint(
                f"{density:g} g/cm3 is more than solid {whole.name} has ({whole.density_g_cm3:.3g}).",
                *("body", "density_g_cm3"),
            )
        try:
            wall = material(body.wall_material) if body.wall_mm > 0 else None
        except InputError as error:
            raise self.complaint(str(error), "body", "wall_material") from None
        return SampleDescription(
            form=body.form,
            matter=whole.with_density(density),
            diameter_mm=body.diameter_mm,
            height_mm=body.height_mm,
            wall_mm=body.wall_mm,
            wall=wall,
            mass_g=mass if mass is not None else density * volume_cm3,
            u_density=0.03 if mass is not None else 0.10,
            **common,
        )

    def matter(self, body: _BodyEntry) -> Material:
        """The matter without pores."""
        if body.formula is not None:
            if body.density_g_cm3 is None:
                raise self.complaint("a formula needs density_g_cm3 beside it.", "body", "formula")
            try:
                return compound(body.formula, body.density_g_cm3)
            except InputError as error:
                raise self.complaint(str(error), "body", "formula") from None
        if body.material in _MATTER:
            density, parts = _MATTER[body.material]
            return mixture(body.material, density, parts)
        if body.material in known_materials():
            return material(body.material)
        known = ", ".join(_MATTER)
        raise self.complaint(
            f"material {body.material!r} is not known; use one of {known}, a material as water or iron, or a formula.",
            *("body", "material"),
        )


def read_sample(path: str | Path) -> SampleDescription:
    """Read a sample file.

    Raises
    ------
    FileFormatError
        The file is missing, is not TOML, or a value cannot be; names file, line, field.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileFormatError(f"cannot be read ({error}); `truekev new sample` prints a template.", file=file) from None
    return _Reader(file, text).read()


def read_sample_text(text: str, *, file: str) -> SampleDescription:
    """Check the text of a sample file; `file` is what messages call it.

    Raises
    ------
    FileFormatError
        As `read_sample` says.
    """
    return _Reader(Path(file), text).read()
