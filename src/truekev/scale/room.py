"""The room behind a forecast: a measured background on its own scale, or an assumed one that says so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError
from truekev.scale.light import LightCurve
from truekev.scale.predicted import energy_of_u
from truekev.spectra.spectrum import Spectrum
from truekev.transport.detector import Detector

__all__ = ["Room", "assumed_room", "measured_room"]

Array = npt.NDArray[np.float64]

# Counts per second and keV of an office in a 10 mm CsI cube, read off the open background spectrum of SURO (Prague,
# CC BY-SA 4.0) in broad bands of energy; its lines are smoothed away.
_AT_KEV = (25.0, 45.0, 80.0, 125.0, 185.0, 260.0, 370.0, 545.0, 765.0, 1040.0, 1400.0, 1800.0, 2250.0, 2650.0, 3200.0)
_PER_S_KEV = (
    *(0.0225, 0.0225, 0.0443, 0.0326, 0.0153, 5.78e-3, 1.83e-3, 7.08e-4, 3.01e-4, 1.99e-4, 1.03e-4, 3.06e-5),
    *(1.57e-5, 1.54e-5, 4e-6),
)
_SURFACE_MM2 = 600.0


@dataclass(frozen=True, eq=False)
class Room:
    """Counts per second of the room.

    Parameters
    ----------
    u, cumulative : ndarray, shape (m,)
        Square root of nominal pulse height, and counts per second below it.
    time_s : float or None
        How long it was counted; None: it will be counted as long as the source.
    words : str
        Where it comes from.
    """

    u: Array
    cumulative: Array
    time_s: float | None
    words: str

    @property
    def rate_per_s(self) -> float:
        """Counts per second."""
        return float(self.cumulative[-1])


def assumed_room(detector: Detector, curve: LightCurve, u: Array) -> Room:
    """A common indoor background for a crystal of any size: as its surface goes, one shape for all."""
    a, b, c = detector.size_mm
    surface = 2 * (a * b + b * c + c * a) if detector.shape == "box" else np.pi * (a * a / 2 + a * c)
    edges = np.clip(energy_of_u(curve, u), 0.0, None)
    fine = np.linspace(0.0, 3300.0, 6601)
    density = np.exp(np.interp(np.log(np.maximum(fine, 1.0)), np.log(_AT_KEV), np.log(_PER_S_KEV)))
    below = np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(fine))))
    cumulative = np.interp(edges, fine, below) * float(surface) / _SURFACE_MM2
    words = (
        f"Room: none given, so an ordinary office of {cumulative[-1]:.1f} counts per second is assumed, to be counted "
        "as long as the source (--background FILE puts yours)."
    )
    return Room(u, cumulative, None, words)


def measured_room(spectrum: Spectrum, curve: LightCurve, u: Array) -> Room:
    """A background spectrum on the scale that its file holds.

    Raises
    ------
    InputError
        It has no energy scale, no counting time, or no counts.
    """
    scale = spectrum.corrected_scale or spectrum.claimed_scale
    time_s = spectrum.best_live_time_s
    if scale is None:
        raise InputError(
            f"{spectrum.file}: the background has no energy scale, so it cannot be laid under a forecast; write one "
            "into it with `truekev calibrate`, or leave it out."
        )
    if not time_s or spectrum.counts.sum() <= 0:
        raise InputError(f"{spectrum.file}: the background needs a counting time and counts.")
    edges = np.maximum.accumulate(np.asarray(scale.energy_kev(np.arange(spectrum.n_channels + 1) - 0.5), float))
    below = np.concatenate(([0.0], np.cumsum(spectrum.counts))) / time_s
    cumulative = np.interp(energy_of_u(curve, u), edges, below)
    words = f"Room: {spectrum.file}, {below[-1]:.1f} counts per second over {time_s:.0f} s."
    return Room(u, cumulative, float(time_s), words)
