"""The question: where is the gain tonight?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from truekev.errors import InputError
from truekev.job.calibrate_spectra import Reading, readings_of
from truekev.job.counted import checked_method, count_of, crystal_in, detector_of, read_background, scatter_in
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.energy_scale import EnergyScale, read_scale
from truekev.scale.polynomials import InstrumentPolynomial, instrument_polynomial
from truekev.scale.relock import relock
from truekev.scale.whole.relock_whole import relock_whole
from truekev.spectra.spectrum import Spectrum
from truekev.tables.loader import table_versions

__all__ = ["RelockReport", "relock_file"]

_ROOM_FROM_KEV = 400.0


@dataclass(frozen=True)
class RelockReport:
    """A re-lock: by how much the gain moved, the new scale, and what to type into the instrument.

    `moved_percent` is the change of the gain with its standard uncertainty, `u_counting_percent` what of that counting
    brings (all of it by the method of peaks), `verdict` how well the model describes the
    spectrum (empty for the method by peaks).
    """

    assumed: str
    file: str
    source: str
    moved_percent: Measured
    scale: EnergyScale
    old_scale: EnergyScale
    readings: tuple[Reading, ...]
    to_type_in: tuple[InstrumentPolynomial, ...]
    verdict: str
    spectrum: Spectrum
    fitted: FittedSpectrum
    u_counting_percent: float


def relock_file(
    file: str | Path,
    scale_file: str | Path,
    *,
    sources: Sequence[str] = (),
    detector: str | None = None,
    background: str | None = None,
    method: str = "whole",
    progress: Callable[[float, str], None] | None = None,
) -> RelockReport:
    """Find the gain of a new spectrum; shape and zero are those of the scale.

    Parameters
    ----------
    file
        The new spectrum.
    scale_file
        A scale that this program wrote.
    sources
        What was counted; the scale's own source where left out.
    detector, background, method, progress
        As in calibration.

    Raises
    ------
    InputError
        A file or word cannot be used.
    RefusedError
        The spectrum does not fit the scale and source.
    """
    checked_method(method)
    old = read_scale(scale_file)
    stated = old.record.settings.get("sources", [])
    words = list(sources) or ([str(word) for word in stated] if isinstance(stated, list) else [])
    if not words:
        raise InputError("--source is missing: the scale does not say what was counted.")
    used_detector, assumed = detector_of(detector)
    if used_detector.name != old.detector:
        raise InputError(
            f"{scale_file} was made with the detector {old.detector!r}, this is {used_detector.name!r}; give the file "
            "of the scale's detector with --detector."
        )
    room = read_background(background)
    one = count_of(file, words, used_detector, room)
    tell = progress or (lambda share, what: None)
    crystal = crystal_in(used_detector, tell)
    scatter = scatter_in(used_detector, tell) if method == "whole" else ()
    tell(0.3, "looking for the gain")
    if method == "whole":
        # No template describes the diffuse part of a room's own radiation; its lines above are used.
        lowest = _ROOM_FROM_KEV if words == ["room-background"] else 0.0
        whole = relock_whole(one.counted, old, crystal, scatter, lowest_kev=lowest)
        found, verdict = whole.relock, whole.verdict.words
        u_counting = 100.0 * whole.u_log_gain
    else:
        found, verdict = relock(one.counted, old, crystal), ""
        u_counting = 100.0 * found.gain_ratio.u
    inputs = [
        InputFile(str(scale_file), InputFile.of(scale_file).sha256),
        InputFile(one.spectrum.file, one.spectrum.sha256),
    ]
    if room is not None:
        inputs.append(InputFile(room.spectrum.file, room.spectrum.sha256))
    settings = {"sources": words, "detector": used_detector.name, "method": f"re-lock, {method}"}
    moved = Measured(100.0 * (found.gain_ratio.value - 1.0), 100.0 * found.gain_ratio.u, "%")
    claimed = one.spectrum.claimed_scale
    scale = replace(
        found.scale,
        claimed_coefficients_kev=() if claimed is None else claimed.coefficients_kev,
        spectrum_start="" if one.spectrum.start is None else one.spectrum.start.isoformat(),
        history=(*old.history, f"gain moved {moved} by {one.spectrum.file} ({one.counted.sample.name})"),
        record=Record.make(inputs, settings, table_versions()),
    )
    return RelockReport(
        assumed,
        one.spectrum.file,
        one.counted.sample.name,
        moved,
        scale,
        old,
        readings_of(scale, one.spectrum),
        tuple(instrument_polynomial(scale, degree) for degree in (1, 2, 3)),
        verdict,
        one.spectrum,
        found.fitted,
        u_counting,
    )
