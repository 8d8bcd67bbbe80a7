"""The question while a count runs: is it long enough yet to tell the gain?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from truekev.errors import FileFormatError, InputError, TruekevError
from truekev.job.relock_spectrum import RelockReport
from truekev.job.relock_tonight import relock_tonight, settings_of
from truekev.job.tonight_settings import SETTINGS_FILE
from truekev.quantity import Measured
from truekev.scale.energy_scale import read_scale
from truekev.spectra.read import read_spectrum

__all__ = ["FolderWatch", "Sighting", "countdown"]

_ENDINGS = {".n42", ".csv", ".tsv", ".txt", ".xml", ".dat"}
_DEFAULT_PERCENT = 0.5
_FEW = 200


@dataclass(frozen=True)
class Sighting:
    """What was seen of one file.

    Parameters
    ----------
    file : str
    words : str
        One line to print.
    counts : float or None
    moved_percent : Measured or None
    enough : bool
        Whether the gain is known as well as wanted.
    more_s : float or None
        Counting time still needed [s]; None where it cannot be told.
    """

    file: str
    words: str
    counts: float | None = None
    moved_percent: Measured | None = None
    enough: bool = False
    more_s: float | None = None


def _minutes(seconds: float) -> str:
    if seconds < 90.0:
        return f"{max(seconds, 1.0):.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def countdown(report: RelockReport, wanted_percent: float) -> Sighting:
    """How far a re-lock is from the wanted standard uncertainty, and how much longer it takes.

    Counting noise falls with the square root of the time; what the old scale does not know of its own shape stays.
    """
    counts = float(report.spectrum.counts.sum())
    moved = report.moved_percent
    seen = f"{counts:,.0f} counts, gain {moved.value:+.1f} ± {moved.u:.1f} %"
    if moved.u <= wanted_percent:
        there = "beyond" if abs(moved.value) > wanted_percent else "within"
        words = f"{seen}: known to {wanted_percent:g} %, {there} it"
        if there == "beyond":
            words += f"; `truekev relock {report.file}` writes the new scale"
        return Sighting(report.file, words, counts, moved, True, 0.0)
    stays = max(moved.u**2 - report.u_counting_percent**2, 0.0)
    if stays >= wanted_percent**2:
        words = f"{seen}; the scale's own uncertainty ({stays**0.5:.1f} %) keeps it above {wanted_percent:g} %"
        return Sighting(report.file, words, counts, moved)
    times = report.u_counting_percent**2 / (wanted_percent**2 - stays)
    live = report.spectrum.best_live_time_s
    if not live:
        words = f"{seen}; about {counts * (times - 1.0):,.0f} counts more for {wanted_percent:g} %"
        return Sighting(report.file, words, counts, moved)
    more = live * (times - 1.0)
    words = f"{seen}; about {_minutes(more)} more for {wanted_percent:g} %"
    return Sighting(report.file, words, counts, moved, False, more)


@dataclass
class FolderWatch:
    """Looks at a folder again and again; remembers what it has seen and said.

    Parameters
    ----------
    folder : Path
    scale, sources, detector, background
        Over what `truekev.toml` says.
    limit_percent : float or None
        Wanted standard uncertainty; by default the settings' limit, else 0.5 %.
    """

    folder: Path
    scale: str | None = None
    sources: Sequence[str] = ()
    detector: str | None = None
    background: str | None = None
    limit_percent: float | None = None
    _seen: dict[Path, tuple[int, int]] = field(default_factory=dict)
    _said: dict[Path, str] = field(default_factory=dict)
    _unread: set[Path] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.folder = Path(self.folder)
        if not self.folder.is_dir():
            raise InputError(f"{self.folder}: there is no such folder.")
        found, settings = settings_of(
            self.folder,
            scale=self.scale,
            sources=self.sources,
            detector=self.detector,
            background=self.background,
        )
        self._wanted = self.limit_percent or (found.limit_percent if found is not None else _DEFAULT_PERCENT)
        named = [settings.scale, settings.background, settings.detector, *settings.sources]
        self._not_spectra = {Path(one).resolve() for one in named if one is not None}
        read_scale(settings.scale)  # a wrong one is told before the first spectrum comes

    def look(self) -> list[Sighting]:
        """Files that are new or have grown since the last look, each re-locked; nothing is written."""
        found = []
        for file in sorted(self.folder.iterdir()):
            if file.suffix.lower() not in _ENDINGS or file.name == SETTINGS_FILE:
                continue
            try:
                if not file.is_file() or file.resolve() in self._not_spectra:
                    continue
                facts = file.stat()
            except OSError:
                continue
            state = (facts.st_size, facts.st_mtime_ns)
            if self._seen.get(file) == state:
                continue
            one = self._looked_at(file)
            again = one.moved_percent is None and self._said.get(file) == one.words
            self._said[file] = one.words
            # A file that could not be read is tried again even if it has not changed: its writer may hold it.
            if file not in self._unread:
                self._seen[file] = state
            if not again:
                found.append(one)
        return found

    def _looked_at(self, file: Path) -> Sighting:
        self._unread.discard(file)
        try:
            total = float(read_spectrum(file).counts.sum())
        except (FileFormatError, OSError) as error:
            self._unread.add(file)
            return Sighting(str(file), f"not whole yet, or no spectrum; it is tried again ({error})")
        if total < _FEW:
            return Sighting(str(file), f"fewer than {_FEW} counts yet", total)
        try:
            report = relock_tonight(
                file,
                scale=self.scale,
                sources=self.sources,
                detector=self.detector,
                background=self.background,
                write=False,
            ).report
        except TruekevError as error:
            return Sighting(str(file), f"{total:,.0f} counts: {error}", total)
        return countdown(report, self._wanted)
