"""What the comment lines of a plain file state: times, start, energy scale, words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime

from truekev.errors import FileFormatError
from truekev.spectra.claims import polynomial_of_text
from truekev.spectra.durations import seconds_of_text
from truekev.spectra.limits import check_count, shown
from truekev.spectra.spectrum import ROLES

__all__ = ["Facts", "fact_name"]

_KEY_VALUE = re.compile(r"\s*([A-Za-z][^:=]{0,70}?)\s*[:=]\s*(.*)", re.DOTALL)
_TIMES = {
    "live_time": "live",
    "livetime": "live",
    "live": "live",
    "real_time": "real",
    "realtime": "real",
    "clock_time": "real",
    "real": "real",
    "counting_time": "counting",
    "count_time": "counting",
    "measuring_time": "counting",
    "measurement_time": "counting",
    "acquisition_time": "counting",
    "duration": "counting",
}
_TIME_UNITS = ("s", "sec", "seconds", "min", "minutes", "h", "hours", "ms")
_STARTS = ("start", "started", "start_time", "start_of_count", "date", "date_time")
_WORDS = ("title", "instrument", "detector", "role", "remark", "note")
# Facts of the program's own files that the reader does not need.
_OWN = ("written_by", "record", "channel_convention")


def fact_name(text: str) -> str:
    """The name of a fact as the readers compare it: small letters, one underscore between words."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


@dataclass
class Facts:
    """Collects what the comment lines state; one object per file that is read."""

    file: str
    live_time_s: float | None = None
    real_time_s: float | None = None
    counting_time_s: float | None = None
    start: datetime | None = None
    overflow: float = 0.0
    role: str = ""
    title: str = ""
    instrument: str = ""
    detector: str = ""
    rebinned: bool = False
    corrected_columns: bool = False
    remarks: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    # name ("claimed" or "corrected") to coefficients, to points, and to the words about them
    coefficients: dict[str, tuple[float, ...]] = field(default_factory=dict)
    points: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)

    def take(self, comment: str, line: int) -> None:
        """Take in one comment line, without its mark; what states no known fact becomes a remark."""
        match = _KEY_VALUE.fullmatch(comment)
        if match is None or not self._fact(fact_name(match.group(1)), match.group(1), match.group(2).strip(), line):
            text = comment.strip()
            if text:
                self.remarks.append(text)

    def _fact(self, name: str, key: str, value: str, line: int) -> bool:
        if name in _OWN:
            return True
        if name in _WORDS or name == "sample":
            return self._words("title" if name == "sample" else name, value)
        base, unit = name, ""
        for ending in _TIME_UNITS:
            if name.endswith(f"_{ending}") and name.removesuffix(f"_{ending}") in _TIMES:
                base, unit = name.removesuffix(f"_{ending}"), ending
        if base in _TIMES:
            self._time(base, value, unit, line)
            # words such as "not said whether live" belong to the record, so the line stays a remark too
            return "(" not in value
        if name in _STARTS:
            return self._start(value)
        if name == "overflow":
            self.overflow = check_count(
                self._number(value, line, "overflow"), file=self.file, line=line, field="overflow"
            )
            return True
        if name == "counts_were_rebinned":
            self.rebinned = value.lower() == "yes"
            return True
        if name == "energy_columns":
            self.corrected_columns = value.lower().startswith("corrected")
            return True
        return self._scale(name, key, value, line)

    def _words(self, name: str, value: str) -> bool:
        if name in ("remark", "note"):
            (self.remarks if name == "remark" else self.notes).append(value)
        elif name == "role":
            if value.lower() not in ROLES:
                return False
            self.role = value.lower()
        elif getattr(self, name):
            return False
        else:
            setattr(self, name, value)
        return True

    def _number(self, value: str, line: int, name: str) -> float:
        try:
            return float(value)
        except ValueError as error:
            raise FileFormatError(f"{shown(value)} is not a number.", file=self.file, line=line, field=name) from error

    def _time(self, base: str, value: str, unit: str, line: int) -> None:
        kind = f"{_TIMES[base]}_time_s"
        seconds = seconds_of_text(value, file=self.file, line=line, field=base.replace("_", " "), unit=unit)
        if seconds is None:
            return
        known = getattr(self, kind)
        if known is not None and known != seconds:
            raise FileFormatError(
                f"a second {base.replace('_', ' ')}, {seconds:g} s, after {known:g} s; leave the right one.",
                file=self.file,
                line=line,
                field=base.replace("_", " "),
            )
        setattr(self, kind, seconds)

    def _start(self, value: str) -> bool:
        try:
            self.start = datetime.fromisoformat(value)
        except ValueError:
            return False
        return True

    def _scale(self, name: str, key: str, value: str, line: int) -> bool:
        which = "corrected" if name.startswith("corrected") else "claimed"
        if "energy_points" in name:
            pairs = [part.split(":") for part in value.split()]
            if any(len(pair) != 2 for pair in pairs):
                raise FileFormatError("energy points are written channel:keV.", file=self.file, line=line, field=key)
            self.points.setdefault(which, []).extend(
                (self._number(x, line, "energy points"), self._number(e, line, "energy points")) for x, e in pairs
            )
            return True
        if name.endswith("energy_scale_origin"):
            self.origins[which] = value
            return True
        if "energy_scale" not in name and "energy_calibration" not in name:
            return False
        coefficients = polynomial_of_text(value.removesuffix("keV"))
        if coefficients is None:
            return False
        unit = name.rsplit("_", 1)[-1]
        factor = {"mev": 1000.0, "ev": 1e-3}.get(unit, 1.0)
        if which in self.coefficients:
            raise FileFormatError(
                "a second energy scale; leave the right one.", file=self.file, line=line, field=shown(key)
            )
        self.coefficients[which] = coefficients if factor == 1.0 else tuple(factor * c for c in coefficients)
        self.origins.setdefault(which, f"comment line {line} of the file: {key.strip()}")
        return True
