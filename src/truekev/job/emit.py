"""The question: what does this source emit on a date?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from truekev.job.counted import detector_of
from truekev.job.preparing import ENGINE, announce_preparation
from truekev.record import InputFile, Record
from truekev.scale.predicted import predict
from truekev.sources.described import resolve_source
from truekev.sources.emission import Emission, emission_of
from truekev.sources.short_forms import source_in_words
from truekev.sources.source import Source
from truekev.tables.loader import table_versions

__all__ = ["EmitReport", "emit"]

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class EmitReport:
    """What a source emits, and how much of the counts its betas make.

    Parameters
    ----------
    source : str
    on : date
    relative : bool
        True where no activity is known: all rates are per 1 Bq of the head.
    emission : Emission
    beta_share : float or None
        Share of betas and their bremsstrahlung in the counts of the detector; None for a sealed point.
    said : tuple of str
        What was assumed.
    record : Record
    """

    source: str
    on: date
    relative: bool
    emission: Emission
    beta_share: float | None
    said: tuple[str, ...]
    record: Record


def _source(words: str, on: date) -> Source:
    if ":" in words and not Path(words).is_file():
        return source_in_words(words, on=on)
    return resolve_source(words, on=on)


def emit(words: str, on: date, *, detector: str | None = None, progress: Progress | None = None) -> EmitReport:
    """What the source of a word, short form or file emits on the day.

    Raises
    ------
    InputError
        The source or its body cannot be, or the day lies before its history ends.
    """
    tell = progress or (lambda share, what: None)
    source = _source(words, on)
    of_detector, assumed = detector_of(detector)
    emission = emission_of(source)
    said = [*source.remarks]
    share = None
    if source.body.form != "point":
        announce_preparation(tell, ENGINE)
        predicted = predict(source, of_detector, relative_u=0.05, progress=tell)
        share = predicted.rate_of("betas") / predicted.rate_per_s
        said.append(assumed)
    else:
        said.append("A point stands for a sealed source: its capsule is taken to stop the betas.")
    inputs = [InputFile.of(words)] if Path(words).is_file() else []
    record = Record.make(inputs, {"source": words, "on": on.isoformat()}, table_versions())
    return EmitReport(source.name, on, not source.activity_known, emission, share, tuple(said), record)
