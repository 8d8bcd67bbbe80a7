"""What the columns of a plain file are: separator, decimal mark, and names."""

from __future__ import annotations

import re
from dataclasses import dataclass

from truekev.errors import FileFormatError
from truekev.spectra.limits import shown

__all__ = ["Layout", "NumberReader", "is_number_like", "layout_of_header", "layout_of_numbers", "split_fields"]

_NUMBER_LIKE = re.compile(
    r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+|nan|inf(?:inity)?)(?:[eE][+-]?[0-9]{1,9})?", re.IGNORECASE
)
_NAMES = {
    "channel": "channel channels chan ch channel_number channel_no bin bin_number",
    "energy": "energy energies e energy_label",
    "energy_low": "energy_low energy_lower energy_from e_low energy_low_edge",
    "energy_high": "energy_high energy_upper energy_to e_high energy_high_edge",
    "counts": "counts count n n_counts events counts_per_channel",
    "variance": "variance",
}
_BASE = {word: name for name, words in _NAMES.items() for word in words.split()}
_ENERGY_UNITS_KEV = {"kev": 1.0, "mev": 1000.0, "ev": 1e-3}
_RATES = {"cps", "rate", "count_rate", "counts_s", "counts_per_second", "counts_per_s", "counts_sec", "cpm"}
_ALLOWED = (
    ("counts",),
    ("channel", "counts"),
    ("energy", "counts"),
    ("channel", "energy", "counts"),
    ("energy_low", "energy_high", "counts"),
    ("channel", "energy_low", "energy_high", "counts"),
)


@dataclass(frozen=True)
class Layout:
    """Names of the columns in their order, the separator (empty: blanks), and what an energy is multiplied
    by to give keV. `header` tells whether a line of names was there, `unit_said` whether it named the unit.
    """

    names: tuple[str, ...]
    separator: str
    energy_factor: float = 1.0
    header: bool = False
    unit_said: bool = False


def split_fields(line: str, separator: str) -> list[str]:
    """Fields of a line without blanks and quotation marks; one separator at the end of the line is dropped."""
    if not separator:
        return [part.strip("\"'") for part in line.split()]
    fields = [part.strip().strip("\"'").strip() for part in line.split(separator)]
    if len(fields) > 1 and not fields[-1]:
        fields.pop()
    return fields


def is_number_like(text: str) -> bool:
    """True for a number with point or comma, and for nan and inf, which are refused later by name."""
    return _NUMBER_LIKE.fullmatch(text) is not None


def _separator_of_numbers(line: str) -> str:
    for separator in (";", "\t"):
        if separator in line:
            return separator
    has_blank = len(line.split()) > 1
    if "," in line and (not has_blank or re.search(r",\s|\s,", line)):
        return ","
    return ""


def layout_of_numbers(line: str, *, file: str, number: int) -> Layout:
    """The layout of a file without column names, from its first line of numbers.

    Two columns are (axis, counts); whether the axis is channels or keV is told by its steps, later.
    """
    separator = _separator_of_numbers(line)
    n = len(split_fields(line, separator))
    if n == 1:
        return Layout(("counts",), separator)
    if n == 2:
        return Layout(("axis", "counts"), separator)
    raise FileFormatError(
        f"{n} columns without names; put a line of names above them, as channel,energy_kev,counts.",
        file=file,
        line=number,
    )


def _column(text: str) -> tuple[str, str]:
    """Base name and unit (empty if none) of a column's name; ("", "") if unknown."""
    word = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    if word in _BASE:
        return _BASE[word], ""
    base, _, unit = word.rpartition("_")
    if unit in _ENERGY_UNITS_KEV and (base or "energy") in _BASE and _BASE[base or "energy"].startswith("energy"):
        return _BASE[base or "energy"], unit
    if word in _RATES:
        return "rate", ""
    if _BASE.get(base, "").startswith("energy"):
        return _BASE[base], unit
    return "", ""


def layout_of_header(line: str, *, file: str, number: int, strict: bool) -> Layout | None:
    """The layout that a line of column names states.

    None where the line holds no such names. With `strict` (the line is no comment) names that are known
    in part are an error.

    Raises
    ------
    FileFormatError
        An energy in a unit other than eV, keV, MeV; a rate instead of counts; columns that do not belong together.
    """
    joined = re.sub(r"\s+([\[(])", r"_\1", line)
    separator = next((mark for mark in (";", "\t", ",") if mark in joined), "")
    fields = split_fields(joined if not separator else line, separator)
    columns = [_column(field) for field in fields]
    names = tuple(base for base, _ in columns)
    if not strict and not all(names):
        return None
    if strict and not any(names):
        return None
    for field, (base, unit) in zip(fields, columns, strict=True):
        if not base:
            raise FileFormatError(
                "a column of unknown name; known are channel, energy_kev, energy_low_kev, energy_high_kev, counts and "
                "variance.",
                file=file,
                line=number,
                field=shown(field),
            )
        if base == "rate":
            raise FileFormatError(
                "counts are needed, not a rate: without them the statistics are lost.",
                file=file,
                line=number,
                field=shown(field),
            )
        if unit and unit not in _ENERGY_UNITS_KEV:
            raise FileFormatError(
                f"{shown(unit)} is not a unit of energy known here; use eV, keV or MeV.",
                file=file,
                line=number,
                field=shown(field),
            )
    without_variance = tuple(name for name in names if name != "variance")
    if len(set(names)) != len(names) or tuple(sorted(without_variance)) not in {tuple(sorted(a)) for a in _ALLOWED}:
        if not strict:
            return None
        raise FileFormatError(
            f"columns {', '.join(names)} do not make a spectrum; allowed are "
            + "; ".join(",".join(a) for a in _ALLOWED)
            + ".",
            file=file,
            line=number,
        )
    units = {unit for base, unit in columns if base.startswith("energy") and unit}
    if len(units) > 1:
        raise FileFormatError(f"two units of energy: {' and '.join(sorted(units))}.", file=file, line=number)
    unit = units.pop() if units else ""
    return Layout(names, separator, _ENERGY_UNITS_KEV.get(unit, 1.0), header=True, unit_said=bool(unit))


class NumberReader:
    """Reads numbers of one file; the first decimal mark met, point or comma, binds the rest."""

    def __init__(self, file: str, separator: str) -> None:
        self._file = file
        # between commas a comma cannot be a decimal mark
        self._mark = "." if separator == "," else ""
        self.n_decimals = 0

    def __call__(self, text: str, line: int, field: str) -> float:
        """The number that `text` states."""
        if not text.isdigit() or not text.isascii():
            if not is_number_like(text):
                problem = "the field is empty" if not text else f"{shown(text)} is not a number"
                raise FileFormatError(
                    f"{problem}; correct or remove the line.", file=self._file, line=line, field=field
                )
            mark = "," if "," in text else "." if "." in text else ""
            if mark:
                if self._mark and mark != self._mark:
                    raise FileFormatError(
                        f"{shown(text)}: this file uses {self._mark!r} as decimal mark elsewhere; use one throughout.",
                        file=self._file,
                        line=line,
                        field=field,
                    )
                self._mark = mark
                if field.startswith(("energy", "axis")):
                    decimals = re.split(r"[eE]", text)[0].partition(mark)[2]
                    self.n_decimals = max(self.n_decimals, len(decimals))
                text = text.replace(",", ".")
        elif len(text) > 400:
            raise FileFormatError(
                f"{shown(text)} has {len(text)} digits; no such number is real.",
                file=self._file,
                line=line,
                field=field,
            )
        return float(text)
