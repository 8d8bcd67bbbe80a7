"""The question: what is in this?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from truekev.errors import InputError
from truekev.job.sample_count import SampleCount, SampleFiles, counted_sample
from truekev.quantity import Measured
from truekev.record import Record
from truekev.samples.candidates import ROOM, candidate, candidates
from truekev.samples.identify import Identified, Recognised, UnknownPeak, identify_spectrum
from truekev.samples.line_evidence import LineEvidence
from truekev.samples.reach import NotRecognised, not_recognised

__all__ = ["Answer", "WhatIsIt", "what_is_it", "what_is_in_folder"]

Progress = Callable[[float, str], None]
_RADIUM = ("Ra-226 part", "radon progeny", "Pb-210")
_RADIUM_CAUTION = (
    "Radium or its progeny: a painted or flaking thing sheds dust that is far more harmful inside the body than out. "
    "Do not open it, put it into a bag, wash your hands; ask your authority where it may go."
)
_FILES = (".csv", ".n42", ".xml", ".txt", ".tsv", ".dat")


@dataclass(frozen=True)
class Answer:
    """Something recognised, or one of several.

    Parameters
    ----------
    words : str
        "recognised" or "one of: A, B".
    name, what : str
    activity : Measured
        For the sample as described, everything that is not known of it in the uncertainty.
    deviations : float
        Strength over its standard uncertainty, efficiency left out.
    supported_by, contradicted_by : tuple of LineEvidence
        Line groups found where they were expected; and expected ones that are missing.
    """

    words: str
    name: str
    what: str
    activity: Measured
    deviations: float
    supported_by: tuple[LineEvidence, ...]
    contradicted_by: tuple[LineEvidence, ...]


@dataclass(frozen=True)
class WhatIsIt:
    """What a spectrum holds.

    Parameters
    ----------
    file : str
    answers : tuple of Answer
    unknown : tuple of UnknownPeak
    not_recognised : tuple of NotRecognised
        All other candidates with their limits.
    said, cautions : tuple of str
    n_candidates : int
    record : Record
    """

    file: str
    answers: tuple[Answer, ...]
    unknown: tuple[UnknownPeak, ...]
    not_recognised: tuple[NotRecognised, ...]
    said: tuple[str, ...]
    cautions: tuple[str, ...]
    n_candidates: int
    record: Record


def _what(name: str) -> tuple[str, str]:
    if name in ROOM:
        return f"{name.removeprefix('room: ')}, of the room or of the sample (no background was given)", "Bq"
    one = candidate(name)
    return one.what, one.unit


def _answer(found: Recognised, u_efficiency: float) -> Answer:
    what, unit = _what(found.name)
    u = float((found.u_strength**2 + (u_efficiency * found.strength) ** 2) ** 0.5)
    words = f"one of: {', '.join((found.name, *found.instead))}" if found.instead else "recognised"
    return Answer(
        words,
        found.name,
        what,
        Measured(found.strength, u, unit),
        found.deviations,
        tuple(line for line in found.lines if line.supports),
        tuple(line for line in found.lines if line.contradicts),
    )


def _limits(count: SampleCount, found: Identified) -> tuple[NotRecognised, ...]:
    there = {name for one in found.recognised for name in (one.name, *one.instead)}
    others = [one for one in candidates() if one.name not in there]
    names = count.model.templates.names
    columns = count.model.columns([names.index(one.name) for one in others], found.fit.shared)
    return tuple(
        not_recognised(one.name, one.unit, found.fit, column, count.u_efficiency)
        for one, column in zip(others, columns, strict=True)
    )


def _answered(count: SampleCount) -> WhatIsIt:
    allowed = [one.name for one in candidates()]
    found = identify_spectrum(count.model, allowed)
    answers = tuple(_answer(one, count.u_efficiency) for one in found.recognised)
    names = {name for one in found.recognised for name in (one.name, *one.instead)}
    cautions = (_RADIUM_CAUTION,) if names & set(_RADIUM) else ()
    return WhatIsIt(
        count.spectrum.file,
        answers,
        found.unknown,
        _limits(count, found),
        count.said,
        cautions,
        len(allowed),
        count.record,
    )


def what_is_it(file: str | Path, files: SampleFiles, *, progress: Progress | None = None) -> WhatIsIt:
    """Recognise what a spectrum holds; errors as `sample_count.counted_sample`."""
    return _answered(counted_sample(file, files, settings={"method": "identify"}, progress=progress))


def what_is_in_folder(
    folder: str | Path, files: SampleFiles, *, progress: Progress | None = None
) -> tuple[WhatIsIt | InputError, ...]:
    """Every spectrum of a folder on one scale, in the order of names; a file that cannot be used is its error.

    Raises
    ------
    InputError
        No spectrum in the folder, or no scale.
    """
    spectra = sorted(f for f in Path(folder).iterdir() if f.suffix.lower() in _FILES)
    if not spectra:
        raise InputError(f"{folder}: there is no spectrum in this folder ({', '.join(_FILES)}).")
    tell = progress or (lambda share, what: None)
    results: list[WhatIsIt | InputError] = []
    for number, file in enumerate(spectra, 1):
        tell(number / (len(spectra) + 1), f"{file.name}, {number} of {len(spectra)}")
        try:
            results.append(what_is_it(file, files))
        except InputError as error:
            results.append(error)
    if all(isinstance(one, InputError) for one in results):
        first = results[0]
        assert isinstance(first, InputError)
        raise first
    return tuple(results)
