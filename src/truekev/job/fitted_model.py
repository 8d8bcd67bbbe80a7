"""The model behind a scale, kept in the book so that its picture can be drawn at any time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.work import Result
from truekev.scale.calibrate_peaks import FittedSpectrum

__all__ = ["MODEL", "FittedModel", "keep_model", "model_answer", "model_of"]

MODEL = "model of a spectrum"
Array = npt.NDArray[np.float64]
_RANGE = re.compile(r" (below \d+ keV|\d+ to \d+ keV)$")
_LEAST_SHARE = 0.002  # of all counts: weaker components would only crowd the picture


@dataclass(frozen=True)
class FittedModel:
    """Counts per channel that the fit expects, and the components they are the sum of, strongest first."""

    model: Array
    components: tuple[tuple[str, Array], ...]


def keep_model(
    book: Book, scale_id: int, spectrum_id: int, sources: Sequence[str], fitted: FittedSpectrum
) -> BookRecord[Result]:
    """Keep the fitted model of a scale or re-lock as a result of the book; `sources` are the words that were given."""
    body = Result(
        name=f"Model behind record {scale_id}",
        question=MODEL,
        about_id=scale_id,
        inputs=(book.input_of(spectrum_id),),
        settings={"sources": list(sources)},
        answer=model_answer(fitted),
    )
    return book.add(body)


def model_answer(fitted: FittedSpectrum) -> dict[str, Any]:
    """The model as a result keeps it, rounded to five digits."""
    found = _joined(fitted)
    return {
        "model": _rounded(found.model),
        "components": [{"name": name, "counts": _rounded(row)} for name, row in found.components],
    }


def model_of(book: Book, scale_id: int) -> FittedModel | None:
    """The model that was kept with a scale or re-lock; None where none was."""
    for result in reversed(book.about(scale_id, Result)):
        if result.body.question == MODEL and result.body.about_id == scale_id:
            answer = result.body.answer
            rows = answer["components"]
            assert isinstance(rows, list)
            return FittedModel(
                np.asarray(answer["model"], dtype=np.float64),
                tuple(
                    (str(row["name"]), np.asarray(row["counts"], np.float64)) for row in rows if isinstance(row, dict)
                ),
            )
    return None


def _joined(fitted: FittedSpectrum) -> FittedModel:
    """Ranges of a component, ways of one scatter and all smooth rests together; what adds next to nothing left out."""
    sums: dict[str, Array] = {}
    for name, row in fitted.groups.parts:
        plain = "smooth rest" if name.startswith("smooth ") else _RANGE.sub("", name)
        if plain.startswith("scattered "):
            plain = plain.partition(",")[0]
        sums[plain] = sums.get(plain, 0.0) + row
    total = float(fitted.groups.model.sum())
    kept = [(name, row) for name, row in sums.items() if float(row.sum()) > _LEAST_SHARE * total]
    return FittedModel(fitted.groups.model, tuple(sorted(kept, key=lambda item: -float(item[1].sum()))))


def _rounded(row: Array) -> list[float]:
    return [float(f"{value:.5g}") for value in row]
