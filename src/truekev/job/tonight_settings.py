"""What stands on the bench tonight: `truekev.toml` names instrument, source, background, last scale and limit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from truekev.errors import FileFormatError
from truekev.quantity import Measured
from truekev.toml_text import line_of_key

__all__ = ["SETTINGS_FILE", "BenchSettings", "bench_settings_template", "find_settings", "read_settings"]

SETTINGS_FILE = "truekev.toml"

_TEMPLATE = """\
# truekev.toml: what stands on the bench, so that `truekev relock` and `truekev watch` need no option.
# Put it into the folder of the spectra, or above it. Paths count from this file. Lines that start with # are comments.
# The values are an invented example (a college teaching lab).

# The detector's file (`truekev new detector`); without it a CsI(Tl) cube of 10 mm is assumed.
# instrument = "detector.toml"

# What is counted to re-lock: words as in `truekev calibrate --help`, nuclides, or source files.
sources = ["thoriated-rods"]

# The room without the source.
# background = "room.csv"

# The last scale, as `truekev calibrate --out scale.json` wrote it. A re-lock beyond the limit writes the new scale here
# and keeps the old one beside it.
scale = "scale.json"

# Gain changes up to this many per cent are left alone.
limit_percent = 0.5

# How the gain goes with temperature, where it is known (`truekev align --temperatures` finds it).
# [temperature]
# coefficient_percent_per_degc = [-0.42, 0.03]   # value, standard uncertainty
# scale_degc = 21.0                              # when the last scale was made
# u_degc = 0.5                                   # of each reading of the thermometer
"""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class _Temperature(_Strict):
    coefficient_percent_per_degc: tuple[float, Annotated[float, Field(ge=0)]]
    scale_degc: Annotated[float, Field(ge=-60, le=90)]
    u_degc: Annotated[float, Field(ge=0, le=20)] = 0.5


class _SettingsFile(_Strict):
    instrument: Annotated[str, Field(min_length=1)] | None = None
    sources: tuple[Annotated[str, Field(min_length=1)], ...] = ()
    source: Annotated[str, Field(min_length=1)] | None = None
    background: Annotated[str, Field(min_length=1)] | None = None
    scale: Annotated[str, Field(min_length=1)]
    limit_percent: Annotated[float, Field(gt=0, le=20)] = 0.5
    temperature: _Temperature | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> _SettingsFile:
        if (self.source is None) == (not self.sources):
            raise ValueError('give sources = ["..."] (or a single source = "...")')
        return self


@dataclass(frozen=True)
class BenchSettings:
    """Instrument, source, background, last scale, limit.

    Parameters
    ----------
    file : str
        Where they stand.
    detector, background : str or None
        Files.
    sources : tuple of str
    scale : Path
    limit_percent : float
    coefficient : Measured or None
        Change of the gain with temperature [%/°C].
    scale_degc : float or None
        Temperature when the scale was made.
    u_degc : float
        Standard uncertainty of a thermometer's reading.
    """

    file: str
    detector: str | None
    sources: tuple[str, ...]
    background: str | None
    scale: Path
    limit_percent: float
    coefficient: Measured | None = None
    scale_degc: float | None = None
    u_degc: float = 0.5


def bench_settings_template() -> str:
    """A commented `truekev.toml`; it reads back without complaint."""
    return _TEMPLATE


def find_settings(spectrum: str | Path, working: Path | None = None) -> Path | None:
    """The settings nearest to a spectrum: in its folder, above it up to the working folder, or in that.

    `spectrum` may be a folder itself.
    """
    here = (working or Path.cwd()).resolve()
    target = Path(spectrum).resolve()
    folder = target if target.is_dir() else target.parent
    folders = [folder]
    if folder.is_relative_to(here):
        folders += [one for one in folder.parents if one.is_relative_to(here)]
    for one in dict.fromkeys([*folders, here]):
        file = one / SETTINGS_FILE
        if file.is_file():
            return file
    return None


def read_settings(path: str | Path) -> BenchSettings:
    """Read and check a settings file; paths in it count from its folder.

    Raises
    ------
    FileFormatError
        It cannot be read, is not TOML, a key is unknown, missing or out of range, or a file that it names is not there.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileFormatError(
            f"cannot be read ({error}); `truekev new bench-settings` prints a template.", file=file
        ) from None
    try:
        model = _SettingsFile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise FileFormatError(f"is not TOML: {error}.", file=file) from None
    except ValidationError as error:
        first = error.errors()[0]
        where = first["loc"]
        words = {"extra_forbidden": "this key is not known", "missing": "this key is missing"}
        problem = words.get(first["type"])
        if problem is None:
            problem = first["msg"] if not where else f"{first['input']!r} was given: {first['msg']}"
        raise FileFormatError(
            f"{problem}; `truekev new bench-settings` prints a template.",
            file=file,
            line=line_of_key(text, where) if where else None,
            field=".".join(str(part) for part in where) or "sources",
        ) from None

    def beside(name: str | None, field: str) -> str | None:
        if name is None:
            return None
        found = file.parent / name
        if not found.is_file():
            raise FileFormatError(
                f"there is no file {found}.", file=file, line=line_of_key(text, (field,)), field=field
            )
        return str(found)

    words_given = model.sources or (() if model.source is None else (model.source,))
    sources = tuple(str(file.parent / w) if w.endswith(".toml") else w for w in words_given)
    scale = beside(model.scale, "scale")
    temperature = model.temperature
    return BenchSettings(
        str(file),
        beside(model.instrument, "instrument"),
        sources,
        beside(model.background, "background"),
        Path(scale or model.scale),
        model.limit_percent,
        None if temperature is None else Measured(*temperature.coefficient_percent_per_degc, "%/°C"),
        None if temperature is None else temperature.scale_degc,
        0.5 if temperature is None else temperature.u_degc,
    )
