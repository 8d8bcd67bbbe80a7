"""The detector that a person describes: TOML with a commented template, checked here."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from truekev.errors import FileFormatError, InputError
from truekev.matter.materials import Material, compound, material
from truekev.matter.scintillators import Scintillator, known_scintillators, scintillator
from truekev.toml_text import line_of_key

__all__ = ["DEFAULT_DETECTOR", "Detector", "detector_template", "read_detector", "read_detector_text"]

_Side = Annotated[float, Field(ge=0.5, le=300.0, allow_inf_nan=False)]
_Thickness = Annotated[float, Field(ge=0.0, le=50.0, allow_inf_nan=False)]
_STRICT = ConfigDict(extra="forbid", frozen=True)
_OWN_BAND = 0.1


@dataclass(frozen=True)
class Detector:
    """A crystal in its housing.

    Parameters
    ----------
    name : str
    scintillator : Scintillator
        Material and electron response.
    shape : str
        "box" or "cylinder".
    size_mm : tuple of float
        Width, height, depth; or diameter, diameter, length [mm]. Depth and length lie along the axis to the
        source.
    window : Material
    window_mm : float
        What lies between the source and the crystal: material and thickness of housing and reflector.
    """

    name: str
    scintillator: Scintillator
    shape: str
    size_mm: tuple[float, float, float]
    window: Material
    window_mm: float


DEFAULT_DETECTOR = Detector(
    "CsI(Tl) cube of 10 mm", scintillator("CsI(Tl)"), "box", (10.0, 10.0, 10.0), material("Al"), 0.5
)


class _CrystalEntry(BaseModel):
    model_config = _STRICT
    scintillator: str | None = None
    formula: str | None = None
    density_g_cm3: Annotated[float, Field(gt=0.1, le=12.0, allow_inf_nan=False)] | None = None
    shape: Literal["box", "cylinder"] = "box"
    width_mm: _Side | None = None
    height_mm: _Side | None = None
    depth_mm: _Side | None = None
    diameter_mm: _Side | None = None
    length_mm: _Side | None = None


class _WindowEntry(BaseModel):
    model_config = _STRICT
    material: str = "Al"
    thickness_mm: _Thickness = 0.5


class _DetectorFile(BaseModel):
    model_config = _STRICT
    name: Annotated[str, Field(min_length=1)]
    crystal: _CrystalEntry
    window: _WindowEntry = _WindowEntry()


def detector_template() -> str:
    """The commented template of a detector file; unedited it is the default detector."""
    return f"""\
# A detector, as truekev reads it. Lines that start with # are comments.

name = "CsI(Tl) cube of 10 mm"

[crystal]
# One of: {", ".join(known_scintillators())}.
scintillator = "CsI(Tl)"
# Any other crystal is declared by composition and density; its light is learned from its own spectra:
# formula = "SrI2"
# density_g_cm3 = 4.55

# box: width_mm, height_mm and depth_mm; cylinder: diameter_mm and length_mm. Depth and length lie along the
# axis to the source.
shape = "box"
width_mm = 10.0
height_mm = 10.0
depth_mm = 10.0

# What lies between source and crystal: housing and reflector together.
[window]
material = "Al"
thickness_mm = 0.5
"""


def read_detector(path: str | Path) -> Detector:
    """Read a detector file.

    Raises
    ------
    FileFormatError
        The file is missing, is not TOML, or a key is unknown, missing or out of range; names file, line, field.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileFormatError(
            f"cannot be read ({error}); `truekev new detector` prints a template.", file=file
        ) from None
    return read_detector_text(text, file=str(file))


def read_detector_text(text: str, *, file: str) -> Detector:
    """Check the text of a detector file; `file` is what messages call it.

    Raises
    ------
    FileFormatError
        As `read_detector` says.
    """
    try:
        entries = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileFormatError(f"is not TOML: {error}.", file=file) from None
    try:
        model = _DetectorFile.model_validate(entries)
    except ValidationError as error:
        first = error.errors()[0]
        where = first["loc"]
        words = {"extra_forbidden": "this key is not known", "missing": "this key is missing"}
        problem = words.get(first["type"], f"{first['input']!r} was given: {first['msg']}")
        raise FileFormatError(
            f"{problem}; `truekev new detector` prints a template.",
            file=file,
            line=line_of_key(text, where),
            field=".".join(str(part) for part in where),
        ) from None
    try:
        return _built(model)
    except InputError as error:
        raise FileFormatError(str(error), file=file, line=line_of_key(text, ("crystal",)), field="crystal") from None


def _built(model: _DetectorFile) -> Detector:
    crystal = model.crystal
    if (crystal.scintillator is None) == (crystal.formula is None):
        raise InputError("give either scintillator, or formula with density_g_cm3.")
    if crystal.scintillator is not None:
        light = scintillator(crystal.scintillator)
    elif crystal.density_g_cm3 is None or crystal.formula is None:
        raise InputError("a formula needs density_g_cm3.")
    else:
        own = compound(crystal.formula, crystal.density_g_cm3)
        # Nothing is known of its light: proportional, with a wide band, until its own spectra tell.
        light = Scintillator(crystal.formula, own, (1.0,), (1.0,), (_OWN_BAND,))
    if crystal.shape == "box":
        sides = (crystal.width_mm, crystal.height_mm, crystal.depth_mm)
        needed = "width_mm, height_mm and depth_mm"
    else:
        sides = (crystal.diameter_mm, crystal.diameter_mm, crystal.length_mm)
        needed = "diameter_mm and length_mm"
    width, height, depth = sides
    if width is None or height is None or depth is None:
        raise InputError(f"a {crystal.shape} needs {needed}.")
    return Detector(
        model.name,
        light,
        crystal.shape,
        (width, height, depth),
        material(model.window.material),
        model.window.thickness_mm,
    )
