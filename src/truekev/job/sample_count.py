"""Files become a counted sample: spectrum, scale, background, sample and detector, ready to be fitted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from truekev.errors import InputError, RefusedError
from truekev.job.counted import detector_of
from truekev.job.preparing import ENGINE, announce_preparation
from truekev.record import InputFile, Record
from truekev.samples.binned import binned
from truekev.samples.component_templates import PeakShape
from truekev.samples.dead_time import HIGHEST_CORRECTED
from truekev.samples.knowledge import Knowledge
from truekev.samples.sample_file import POINT_SAMPLE, SampleDescription, read_sample
from truekev.samples.sample_response import relative_u_of_distance
from truekev.samples.sample_templates import sample_grid, sample_templates
from truekev.samples.spectrum_model import SpectrumModel
from truekev.scale.energy_scale import EnergyScale, read_scale
from truekev.spectra.read import read_spectrum
from truekev.spectra.spectrum import Spectrum
from truekev.tables.loader import table_versions
from truekev.transport.detector import Detector

__all__ = ["SampleCount", "SampleFiles", "counted_sample", "model_of"]

Progress = Callable[[float, str], None]
_SAME_GAIN = 0.003


@dataclass(frozen=True)
class SampleFiles:
    """Names of the files that belong to a count of a sample.

    Parameters
    ----------
    scale
        The energy scale that holds for the spectrum.
    background, background_scale
        A spectrum of the room, and its own scale where its gain differs.
    sample, detector
        Sample file (a point 100 mm away where left out) and detector file (a CsI(Tl) cube of 10 mm).
    """

    scale: str | None
    background: str | None = None
    background_scale: str | None = None
    sample: str | None = None
    detector: str | None = None


@dataclass(frozen=True, eq=False)
class SampleCount:
    """A counted sample.

    Parameters
    ----------
    spectrum, scale, sample, detector
        What was counted, on which scale, of what, with what.
    background : Spectrum or None
    model : SpectrumModel
        Counts with the templates of all that may be in them.
    u_efficiency : float
        Relative standard uncertainty of efficiency and distance together.
    said : tuple of str
        What was assumed.
    record : Record
    """

    spectrum: Spectrum
    scale: EnergyScale
    sample: SampleDescription
    detector: Detector
    background: Spectrum | None
    model: SpectrumModel
    u_efficiency: float
    said: tuple[str, ...]
    record: Record


def _gain_of_background(
    background: Spectrum, spectrum: Spectrum, scale: EnergyScale, own: EnergyScale | None
) -> tuple[float, str]:
    """Gain of the background over the spectrum's, and a sentence."""
    if own is not None:
        ratio = own.pulse.gain / scale.pulse.gain
        moved = 100 * (ratio - 1)
        words = f"Background {background.file}: re-locked by its own scale, as its gain differs by {moved:+.1f} %."
        return ratio, words if abs(moved) > 100 * _SAME_GAIN else f"Background {background.file}: at the same gain."
    mine, its = spectrum.claimed_scale, background.claimed_scale
    if mine is not None and its is not None:
        at = 0.4 * spectrum.n_channels
        ratio = float(mine.energy_kev(at) / its.energy_kev(at))
        if abs(ratio - 1) > _SAME_GAIN and 0.5 < ratio < 2.0:
            words = (
                f"Background {background.file}: re-locked, as the scale in its file differs in gain by "
                f"{100 * (ratio - 1):+.1f} % from that of the spectrum."
            )
            return ratio, words
    words = f"Background {background.file}: taken to be at the spectrum's gain within 0.4 % (--background-scale says)."
    return 1.0, words


def _check_times(spectrum: Spectrum, what: str) -> list[str]:
    live, real = spectrum.live_time_s, spectrum.real_time_s
    if live is not None and real is not None:
        if live > real * (1 + 1e-6):
            raise InputError(
                f"{what} {spectrum.file}: a live time of {live:g} s in {real:g} s of real time cannot be; correct it."
            )
        dead = 1.0 - live / real if real > 0 else 0.0
        if dead > HIGHEST_CORRECTED:
            raise RefusedError(
                f"{what} {spectrum.file}: the instrument was dead for {100 * dead:.0f} % of the time; the spectrum has "
                "lost its shape.",
                "a count from further away.",
            )
        return [f"Dead time {100 * dead:.2g} % of the time, allowed for by the live time."] if dead > 1e-3 else []
    if live is None:
        rate = spectrum.counts.sum() / max(spectrum.best_live_time_s or 1.0, 1e-9)
        return [
            f"{what.capitalize()} {spectrum.file}: its time is taken as live time; at {rate:.3g} counts a second a "
            f"dead time of 50 µs would make {5e-3 * rate:.2g} % of it."
        ]
    return []


def model_of(
    spectrum: Spectrum,
    scale: EnergyScale,
    background: Spectrum | None,
    background_gain: float,
    sample: SampleDescription,
    detector: Detector,
    more: Sequence[str] = (),
    progress: Progress | None = None,
) -> SpectrumModel:
    """The counts with the templates of all that may be in them."""
    data = binned(spectrum, scale, background, background_gain=background_gain)
    scatter = {name: getattr(sample, name) for name in ("back", "forward", "side", "once")}
    knowledge = Knowledge(
        **{name: of.value for name, of in scatter.items()}, **{f"u_{name}": of.u for name, of in scatter.items()}
    )
    grid = sample_grid(detector, sample, PeakShape(scale.fwhm_662, scale.fwhm_slope), progress)
    return SpectrumModel(data, scale, sample_templates(grid, sample, detector, more), knowledge)


def counted_sample(
    file: str | Path,
    files: SampleFiles,
    *,
    more: Sequence[str] = (),
    settings: dict[str, object] | None = None,
    progress: Progress | None = None,
) -> SampleCount:
    """Read everything that belongs to a count of a sample.

    Parameters
    ----------
    file, files
        The spectrum, and the files that go with it.
    more
        Nuclides to be looked for beside the usual candidates.
    settings
        For the record.
    progress
        Called with (share done, what).

    Raises
    ------
    InputError
        A file is missing or cannot be used; no scale; times that cannot be.
    RefusedError
        So much dead time that the spectrum has lost its shape.
    """
    if files.scale is None:
        raise InputError(
            "--scale is missing: without an energy scale nothing can be told apart. `truekev calibrate` makes one from "
            "a spectrum of a known source, `truekev relock` brings it up to date."
        )
    tell = progress or (lambda share, what: None)
    scale = read_scale(files.scale)
    used, assumed = detector_of(files.detector)
    if used.name != scale.detector:
        raise InputError(
            f"{files.scale} was made with the detector {scale.detector!r}, this is {used.name!r}; give the file of the "
            "scale's detector with --detector."
        )
    described = POINT_SAMPLE if files.sample is None else read_sample(files.sample)
    spectrum = read_spectrum(file)
    said = [assumed, f"Sample: {described.name}."]
    said += _check_times(spectrum, "spectrum")
    room = None
    ratio = 1.0
    inputs = [InputFile(spectrum.file, spectrum.sha256), InputFile.of(files.scale)]
    if files.background is not None or spectrum.background is not None:
        room = read_spectrum(files.background) if files.background is not None else spectrum.background
        assert room is not None
        own = None if files.background_scale is None else read_scale(files.background_scale)
        ratio, words = _gain_of_background(room, spectrum, scale, own)
        said.append(words)
        inputs.append(InputFile(room.file, room.sha256))
    else:
        said.append("No background is given: natural lines may be the room's, and whatever is smooth says nothing.")
    announce_preparation(tell, ENGINE)
    model = model_of(spectrum, scale, room, ratio, described, used, more, lambda done, what: tell(0.9 * done, what))
    if files.sample is not None:
        inputs.append(InputFile.of(files.sample))
    u_distance = relative_u_of_distance(described, used)
    record = Record.make(inputs, {"detector": used.name, **(settings or {})}, table_versions())
    u_efficiency = float((described.u_efficiency**2 + u_distance**2) ** 0.5)
    return SampleCount(spectrum, scale, described, used, room, model, u_efficiency, tuple(said), record)
