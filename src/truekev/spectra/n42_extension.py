"""What the program adds to an N42.42 file in the places that the standard leaves for extensions.

One JSON object in each SpectrumExtension holds what the standard has no place for, above all the scale that the
instrument claimed, so that a file that was corrected once is never corrected again.
"""

from __future__ import annotations

from typing import Self

from pydantic import BaseModel, ConfigDict, ValidationError

from truekev.errors import FileFormatError
from truekev.spectra.spectrum import ClaimedScale, Spectrum

__all__ = ["EXTENSION_NAMESPACE", "RECORD_MARK", "ScaleEntry", "SpectrumEntry", "entry_of_json"]

EXTENSION_NAMESPACE = "urn:truekev:spectrum:1"
RECORD_MARK = "truekev record: "


class ScaleEntry(BaseModel):
    """A ClaimedScale in the extension."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    coefficients_kev: tuple[float, ...]
    origin: str = ""
    points: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, scale: ClaimedScale | None) -> Self | None:
        """The entry of a scale."""
        if scale is None:
            return None
        return cls(coefficients_kev=scale.coefficients_kev, origin=_clean(scale.origin), points=scale.points)

    def scale(self) -> ClaimedScale:
        """The scale of the entry."""
        return ClaimedScale(self.coefficients_kev, self.origin, self.points)


class SpectrumEntry(BaseModel):
    """What a Spectrum holds beyond the elements of the standard.

    The parts follow it in the file: slices, then background.
    """

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    title: str = ""
    remarks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    instrument: str = ""
    detector: str = ""
    overflow: float = 0.0
    counting_time_s: float | None = None
    time_in_real_time_element: str = "real_time_s"
    rebinned: bool = False
    variance: tuple[float, ...] | None = None
    claimed_scale: ScaleEntry | None = None
    corrected_scale: ScaleEntry | None = None
    n_slices: int = 0
    has_background: bool = False

    @classmethod
    def of(cls, spectrum: Spectrum, *, with_parts: bool) -> Self:
        """The entry of a spectrum."""
        return cls(
            title=_clean(spectrum.title),
            remarks=tuple(_clean(text) for text in spectrum.remarks),
            notes=tuple(_clean(text) for text in spectrum.notes),
            instrument=_clean(spectrum.instrument),
            detector=_clean(spectrum.detector),
            overflow=spectrum.overflow,
            counting_time_s=spectrum.counting_time_s,
            time_in_real_time_element="real_time_s" if spectrum.real_time_s is not None else "counting_time_s",
            rebinned=spectrum.rebinned,
            variance=None if spectrum.variance is None else tuple(spectrum.variance.tolist()),
            claimed_scale=ScaleEntry.of(spectrum.claimed_scale),
            corrected_scale=ScaleEntry.of(spectrum.corrected_scale),
            n_slices=len(spectrum.slices) if with_parts else 0,
            has_background=with_parts and spectrum.background is not None,
        )


def _clean(text: str) -> str:
    """`text` without lone surrogates, which no encoding carries."""
    return text.encode("utf-8", "replace").decode("utf-8")


def entry_of_json(text: str, *, file: str, line: int | None) -> SpectrumEntry:
    """The entry that the JSON `text` of a file holds.

    Raises
    ------
    FileFormatError
        Damaged, or changed by hand into something else.
    """
    try:
        return SpectrumEntry.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "JSON"
        raise FileFormatError(
            f"truekev's own extension is damaged at {where} ({first['msg']}); remove it to read the rest.",
            file=file,
            line=line,
            field="SpectrumExtension",
        ) from error
