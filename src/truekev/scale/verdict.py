"""Whether a fitted scale may be given at all: a wrong lock is the worst thing this program can do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.light import Pulse
from truekev.scale.locate import Evidence, evidence
from truekev.scale.sample import Sample

__all__ = ["Confidence", "assess"]

# Set on simulated spectra of an independent code (docs/validation): the declared source, and others.
_LEAST_RATIO = 1.2
_LEAST_GAIN = 60.0
_LEAST_PURITY = 0.05
_LEAST_MARGIN = 15.0
_SHORT_RANGE_KEV = 1500.0
_SHORT_PURITY = 0.33
_SHORT_RATIO = 2.0
_SHORT_MARGIN = 60.0
_LEAST_FULL_SCALE_KEV = 400.0
_LEAST_WIDTH_CHANNELS = 2.0
_ZERO_KEV = 20.0


@dataclass(frozen=True)
class Confidence:
    """How sure the program is of a lock.

    Parameters
    ----------
    evidence : Evidence
        What the source explains.
    margin : float
        Chi-square by which the next different gain is worse; infinite if there is none.
    other_gain : float or None
        That gain over the one found.
    full_scale_kev : float
        Energy at the upper end of the spectrum.
    width_239_channels : float
        FWHM at 239 keV [channels].
    refusal, advice : str
        Why the scale is refused and what would help; empty where it is given.
    """

    evidence: Evidence
    margin: float
    other_gain: float | None
    full_scale_kev: float
    width_239_channels: float
    refusal: str
    advice: str


def _end_kev(pulse: Pulse, n_channels: int) -> float:
    energy = float(pulse.energy_kev(n_channels - 0.5))
    return energy if np.isfinite(energy) else 4000.0


def assess(fitted: FittedSpectrum, pulse: Pulse, u_c0: float, sample: Sample, n_channels: int) -> Confidence:
    """Judge one spectrum of a fit.

    Parameters
    ----------
    fitted
        What the fit found in the spectrum.
    pulse, u_c0
        The fitted ch(E) and the uncertainty of its c0 [channels].
    sample
        What the spectrum was said to hold.
    n_channels
        Channels of the spectrum.
    """
    found = evidence(fitted.located, sample)
    candidates = fitted.located.candidates
    margin = fitted.located.margin
    other = candidates[1].gain / candidates[0].gain if len(candidates) > 1 else None
    end = _end_kev(pulse, n_channels)
    width = 2.3548 * float(fitted.width.sigma_channels(pulse, np.array([239.0]))[0])
    zero_kev = -pulse.c0 / pulse.gain * 1e3
    u_zero_kev = u_c0 / pulse.gain * 1e3
    refusal, advice = "", ""
    if found.ratio < _LEAST_RATIO or found.gained < _LEAST_GAIN or found.purity < _LEAST_PURITY:
        refusal = (
            f"The lines of {sample.name} cannot be made out: they explain {found.gained:.0f} of "
            f"{found.chi2_without:.0f} units of structure in this spectrum."
        )
        advice = (
            "name what was really counted, count longer, put the source closer, or give a background with --background."
        )
    elif end < _SHORT_RANGE_KEV and (found.purity < _SHORT_PURITY or found.ratio < _SHORT_RATIO):
        refusal = (
            f"The spectrum ends near {end:.0f} keV and the lines of {sample.name} make up only "
            f"{100 * found.purity:.0f} % of it; in so short a range another source can look the same."
        )
        advice = "lower the gain so that the range reaches 1500 keV or more, or give a background with --background."
    elif margin < (_SHORT_MARGIN if end < _SHORT_RANGE_KEV else _LEAST_MARGIN) and other is not None:
        refusal = (
            f"Two gains explain the spectrum about equally well: the one found and {other:.2f} times that "
            f"(they differ by {margin:.0f} units)."
        )
        advice = "count longer, widen the range, or add a source with lines far apart."
    elif end < _LEAST_FULL_SCALE_KEV:
        refusal = f"The spectrum ends near {end:.0f} keV; below {_LEAST_FULL_SCALE_KEV:.0f} keV no lock is safe."
        advice = "lower the gain."
    elif width < _LEAST_WIDTH_CHANNELS:
        refusal = f"A peak at 239 keV is {width:.1f} channels wide; at least {_LEAST_WIDTH_CHANNELS:.0f} are needed."
        advice = "use more channels or a higher gain."
    elif abs(zero_kev) > _ZERO_KEV + 3.0 * u_zero_kev:
        refusal = f"Channel 0 would lie at {zero_kev:.0f} keV; more than {_ZERO_KEV:.0f} keV from zero is not believed."
        advice = "check the declared source, or set the instrument's zero."
    return Confidence(found, float(margin), other, end, width, refusal, advice)
