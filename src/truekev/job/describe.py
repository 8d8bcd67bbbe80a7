"""Descriptions of sources and detectors from a few answers, for who does not write TOML."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date

from truekev.book.body import Value
from truekev.book.things import Stock
from truekev.errors import InputError
from truekev.nuclides.names import nuclide_name
from truekev.sources.settings import read_source_text, word_heads
from truekev.sources.words import source_words
from truekev.transport.detector import read_detector_text

__all__ = ["SourceAnswers", "description_of_detector", "description_of_source"]


@dataclass(frozen=True)
class SourceAnswers:
    """What a person says of a source.

    Parameters
    ----------
    word : str
        A word for such things, or a nuclide.
    activity_bq : Value or None
        Activity of its first nuclide [Bq], if known.
    reference_date : date or None
        The day on which that holds.
    stock : Stock or None
        Rods that it is a bundle of.
    n_rods : int or None
        How many of them.
    distance_mm : float or None
        From the detector's housing.
    """

    word: str = ""
    activity_bq: Value | None = None
    reference_date: date | None = None
    stock: Stock | None = None
    n_rods: int | None = None
    distance_mm: float | None = None


def description_of_source(name: str, answers: SourceAnswers) -> str:
    """The text of a source file; empty where nothing was answered.

    Raises
    ------
    InputError
        The answers do not go together, or a word is not known.
    """
    if answers.stock is not None:
        lines = _rods(answers)
    elif answers.word:
        lines = _word(answers)
    elif answers.activity_bq is not None:
        raise InputError("an activity is given, but not of what: choose a word, or name a nuclide.")
    else:
        return ""
    if answers.distance_mm is not None:
        lines.insert(1, f"distance_mm = {answers.distance_mm!r}")
    text = "\n".join([f"name = {json.dumps(name, ensure_ascii=False)}", *lines]) + "\n"
    read_source_text(text, file="what it is")
    return text


def _rods(answers: SourceAnswers) -> list[str]:
    stock = answers.stock
    if stock is None or stock.what != "rods":
        raise InputError("a bundle is made of rods; choose rods that were written down as bought.")
    if answers.activity_bq is not None:
        raise InputError("the rods' class gives their activity; leave the activity empty.")
    n = stock.count if answers.n_rods is None else answers.n_rods
    if not 1 <= n <= stock.count:
        raise InputError(f"a bundle of {n}: {stock.name} holds {stock.count}.")
    content = f"electrode_class = {json.dumps(stock.electrode_class)}"
    if stock.thoria_percent is not None:
        u = (stock.u_thoria_percent or 0.0) / 100
        content = f"thoria_fraction = {stock.thoria_percent / 100!r}\nu_thoria_fraction = {u!r}"
    lines = ['kind = "thoriated-rods"']
    if answers.reference_date is not None:
        lines += [f"reference_date = {answers.reference_date.isoformat()}", "aged = true"]
    measures = [f"n_rods = {n}", f"diameter_mm = {stock.diameter_mm!r}", f"length_mm = {stock.length_mm!r}"]
    return [*lines, "", "[body]", 'form = "rods"', *measures, content]


def _word(answers: SourceAnswers) -> list[str]:
    if answers.word in source_words():
        kind, heads = answers.word, word_heads(answers.word)
    else:
        kind, heads = "nuclides", {nuclide_name(answers.word): 1.0}
    lines = [f"kind = {json.dumps(kind)}"]
    if answers.activity_bq is None:
        if kind == "nuclides":
            raise InputError(f"{answers.word}: give its activity; without one a word or nuclide is named at the count.")
        return lines
    if answers.reference_date is None:
        raise InputError("give the day on which the activity holds.")
    lines += [f"reference_date = {answers.reference_date.isoformat()}", "", "[activities_bq]"]
    first = next(iter(heads.values()))
    for nuclide, relative in heads.items():
        share = relative / first
        lines.append(f"{nuclide} = [{answers.activity_bq.value * share!r}, {answers.activity_bq.u * share!r}]")
    return lines


def description_of_detector(name: str, scintillator: str, shape: str, sizes_mm: tuple[float, ...]) -> str:
    """The text of a detector file: a box of width, height and depth, or a cylinder of diameter and length [mm].

    Raises
    ------
    InputError
        A size is missing or out of range, or the crystal is not known.
    """
    names = ("diameter_mm", "length_mm") if shape == "cylinder" else ("width_mm", "height_mm", "depth_mm")
    if len(sizes_mm) != len(names):
        raise InputError(f"a {shape} needs {', '.join(names).replace('_mm', '')} in mm, and nothing else.")
    lines = [f"name = {json.dumps(name, ensure_ascii=False)}", "", "[crystal]"]
    lines += [f"scintillator = {json.dumps(scintillator)}", f"shape = {json.dumps(shape)}"]
    lines += [f"{of} = {size!r}" for of, size in zip(names, sizes_mm, strict=True)]
    text = "\n".join(lines) + "\n"
    read_detector_text(text, file="crystal")
    return text
