"""From what a person gives (a word, a nuclide) to a source."""

from __future__ import annotations

from datetime import date

from truekev.errors import UnknownNameError
from truekev.nuclides.names import known_nuclides
from truekev.sources.source import Body, EmittedLine, Source, SourceComponent
from truekev.sources.words import source_of_nuclide, source_of_word, source_words

__all__ = ["Body", "EmittedLine", "Source", "SourceComponent", "resolve_source", "source_words"]


def resolve_source(word_or_path: str, *, on: date | None = None) -> Source:
    """The source that a word or a nuclide names.

    Parameters
    ----------
    word_or_path : str
        One of `source_words` (its natural set-up at contact) or a nuclide (a point 10 cm away).
    on : date, optional
        The date to compute activities for.

    Raises
    ------
    UnknownNameError
        Neither a word nor a nuclide.
    """
    word = word_or_path.strip()
    if word.lower() in source_words():
        return source_of_word(word.lower())
    try:
        return source_of_nuclide(word)
    except UnknownNameError:
        raise UnknownNameError("source", word, [*source_words(), *known_nuclides()]) from None
