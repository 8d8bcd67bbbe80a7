"""Gain, resolution and strength of a control source from one count of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC

import numpy as np

from truekev.errors import RefusedError
from truekev.quantity import Measured
from truekev.samples.binned import binned
from truekev.samples.component_templates import ComponentTemplates
from truekev.samples.control import Reading
from truekev.samples.knowledge import N_SCALE, SCALE, WIDTH, Knowledge
from truekev.samples.spectrum_fit import SpectrumFit, fit_spectrum
from truekev.samples.spectrum_model import SpectrumModel
from truekev.scale.energy_scale import EnergyScale
from truekev.spectra.spectrum import Spectrum

__all__ = ["control_reading"]

_GAINS = np.exp(np.linspace(-0.12, 0.12, 7))
_U_GAIN, _U_WIDTH = 0.02, 0.10
_LEAST_DEVIATIONS = 8.0
_GAIN_PLACE = SCALE.start + 1


def _gain_only(scale: EnergyScale, ratio: float) -> EnergyScale:
    """The scale's shape held, its gain times `ratio`: what a chart follows is the gain of one shape."""
    return scale.with_gain(ratio, 1e-10 * np.eye(N_SCALE))


def control_reading(
    spectrum: Spectrum,
    background: Spectrum | None,
    scale: EnergyScale,
    templates: ComponentTemplates,
    names: Sequence[str],
    strength_of: str,
    unit: str,
) -> Reading:
    """One reading of the charts; its uncertainties are those of counting, as what the model leaves open stays the same.

    Parameters
    ----------
    spectrum, background
        A count of the control source that says when it was made, and the room.
    scale, templates
        The scale that the charts refer to, and the templates of the source in its place.
    names, strength_of, unit
        Components of the source, and the one whose strength is charted.

    Raises
    ------
    RefusedError
        The count has no date, or does not show the source.
    """
    if spectrum.start is None:
        raise RefusedError(
            f"{spectrum.file} does not say when it was counted, so its strength cannot be carried to one date.",
            "a file with the start of the count.",
        )
    known = Knowledge(u_gain=_U_GAIN, u_width=_U_WIDTH, u_tilt=1e-4)
    best: tuple[float, SpectrumFit, float] | None = None
    for ratio in _GAINS:
        moved = _gain_only(scale, float(ratio))
        fit = fit_spectrum(SpectrumModel(binned(spectrum, moved, background), moved, templates, known), names)
        # Bins move with the gain; what is compared is per bin.
        worse = fit.chi2 / fit.mean.size
        if best is None or worse < best[0]:
            best = worse, fit, float(ratio)
    assert best is not None
    _, fit, ratio = best
    if fit.deviations(strength_of) < _LEAST_DEVIATIONS:
        raise RefusedError(
            f"{spectrum.file}: the control source is not seen well enough ({fit.deviations(strength_of):.1f} standard "
            "deviations) for a chart.",
            "a longer count, the source in its place, and the scale of this instrument.",
        )
    shared, u = fit.shared, fit.u_counting[len(fit.names) :]
    gain = scale.pulse.gain * ratio * float(np.exp(shared[_GAIN_PLACE]))
    width = scale.fwhm_662 * (1.0 + float(shared[WIDTH]))
    strength = fit.of(strength_of)
    # Times with an offset all become universal time, so that they can be put in order.
    start = spectrum.start
    return Reading(
        start if start.tzinfo is None else start.astimezone(UTC).replace(tzinfo=None),
        Measured(gain, gain * float(u[_GAIN_PLACE]), "channels/MeV"),
        Measured(width, scale.fwhm_662 * float(u[WIDTH]), ""),
        Measured(strength, float(fit.u_counting[fit.names.index(strength_of)]), unit),
    )
