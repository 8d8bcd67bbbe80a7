"""Whether a lock by the whole spectrum may be given: a wrong lock is the worst thing this program can do."""

from __future__ import annotations

import numpy as np

from truekev.scale.light import Pulse
from truekev.scale.locate import Evidence
from truekev.scale.verdict import Confidence
from truekev.scale.whole.fit import FittedWhole
from truekev.scale.whole.parts import ForwardParts
from truekev.scale.whole.rivals import Rivals

__all__ = ["assess_lock"]

# In -2 ln L; set on simulated spectra of the declared source and of others (docs/validation/whole_unknown_gain.md).
_LEAST_GAINED = 60.0
_LEAST_GAINED_WITHOUT_ROOM = 200.0
_LEAST_MARGIN = 20.0
_LEAST_OTHER_SOURCE = 25.0
_LEAST_PURITY = 0.05
_LEAST_FULL_SCALE_KEV = 400.0
_LEAST_WIDTH_CHANNELS = 2.0
_ZERO_KEV = 20.0


def _purity(fitted: FittedWhole, parts: ForwardParts) -> float:
    """Share of the source's counts, lines of its own, in all that is not measured background."""
    own = float(fitted.strengths[: parts.n_source].sum())
    return own / max(float(fitted.strengths[:-1].sum()), 1e-9)


def assess_lock(
    rivals: Rivals,
    fitted: FittedWhole,
    parts: ForwardParts,
    source: str,
    n_channels: int,
    *,
    u_c0: float,
    fwhm_662: float,
    has_room: bool,
) -> Confidence:
    """Judge one spectrum of a fit.

    Parameters
    ----------
    rivals
        What else was tried on this spectrum.
    fitted, parts
        The fit and its parts.
    source
        What was declared.
    n_channels, u_c0, fwhm_662
        Channels of the spectrum, uncertainty of c0 [channels], FWHM/E at 661.655 keV.
    has_room
        Whether a background was measured.
    """
    pulse: Pulse = fitted.pulse
    end = float(pulse.energy_kev(n_channels - 0.5))
    end = end if np.isfinite(end) else 4000.0
    width = fwhm_662 * np.sqrt(661.655 * 239.0) * float(pulse.slope_per_kev(239.0))
    zero_kev = -pulse.c0 / pulse.gain * 1e3
    gained = rivals.behind(rivals.nothing)
    margin = rivals.behind(rivals.other_gain)
    rival = rivals.behind(rivals.other_source)
    purity = _purity(fitted, parts)
    other_gain = None
    if rivals.other_gain is not None:
        other_gain = float(rivals.other_gain.pulse.channel(300.0) / rivals.best.pulse.channel(300.0))
    asked = _LEAST_GAINED if has_room else _LEAST_GAINED_WITHOUT_ROOM
    refusal = advice = ""
    if gained < asked or purity < _LEAST_PURITY:
        refusal = (
            f"The lines of {source} cannot be made out: they make up {100 * purity:.0f} % of the spectrum and explain "
            f"{gained:.0f} units of likelihood ({asked:.0f} are asked for)."
        )
        advice = (
            "name what was really counted, count longer, put the source closer, or give a background with --background."
        )
    elif rivals.other_source is not None and rival < _LEAST_OTHER_SOURCE:
        looks = (
            f"more like {rivals.other_source.name} than" if rival < 0 else f"as much like {rivals.other_source.name} as"
        )
        refusal = f"The spectrum looks {looks} like {source} ({rival:+.0f} units of likelihood apart)."
        advice = "name what was really counted, count longer, or give a background with --background."
    elif margin < _LEAST_MARGIN and other_gain is not None:
        refusal = (
            f"Two gains explain the spectrum about equally well: the one found and {other_gain:.2f} times that "
            f"(they differ by {margin:.0f} units of likelihood)."
        )
        advice = "count longer, widen the range, or add a source with lines far apart."
    elif end < _LEAST_FULL_SCALE_KEV:
        refusal = f"The spectrum ends near {end:.0f} keV; below {_LEAST_FULL_SCALE_KEV:.0f} keV no lock is safe."
        advice = "lower the gain."
    elif width < _LEAST_WIDTH_CHANNELS:
        refusal = f"A peak at 239 keV is {width:.1f} channels wide; at least {_LEAST_WIDTH_CHANNELS:.0f} are needed."
        advice = "use more channels or a higher gain."
    elif abs(zero_kev) > _ZERO_KEV + 3.0 * u_c0 / pulse.gain * 1e3:
        refusal = f"Channel 0 would lie at {zero_kev:.0f} keV; more than {_ZERO_KEV:.0f} keV from zero is not believed."
        advice = "check the declared source, or set the instrument's zero."
    n_bins = rivals.best.fit.spectra[0].model.size
    found = Evidence(rivals.nothing.cost, rivals.best.cost, n_bins, n_bins, purity)
    return Confidence(found, margin, other_gain, end, float(width), refusal, advice)
