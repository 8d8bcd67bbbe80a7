"""Light of electrons in scintillators: the published shape of the electron response, a prior and no calibration."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator

from truekev.errors import OutOfRangeError, UnknownNameError
from truekev.matter.materials import Material, material
from truekev.tables import loader

__all__ = ["Scintillator", "known_scintillators", "scintillator"]

Array = npt.NDArray[np.float64]

MIN_KEV = 0.1
MAX_KEV = 3000.0
# For the crystals without a published electron curve here: proportional, with a prior that excludes little.
_WIDE_BAND = 0.10
# Light per energy of a fully absorbed 662 keV photon, in the units of the table (electrons of 450 keV): its energy is
# shared by several electrons. From transport in a 10 mm CsI cube and a 50.8 mm NaI cylinder (response of the peak).
_PHOTON_662_LIGHT = {"CsI(Tl)": 1.012, "NaI(Tl)": 1.029}
_OTHER_NAMES = {"CsI": "CsI(Tl)", "NaI": "NaI(Tl)"}
_PROPORTIONAL = ("BGO", "LaBr3", "CeBr3", "LYSO", "GAGG")


@dataclass(frozen=True)
class Scintillator:
    """A crystal: its material and electron response; the nodes are energies [keV], relative light, band half-width."""

    name: str
    material: Material
    nodes_kev: tuple[float, ...]
    nodes_light: tuple[float, ...]
    nodes_band: tuple[float, ...]

    def _ln(self, energy_kev: npt.ArrayLike) -> Array:
        kev = np.asarray(energy_kev, dtype=float)
        if not np.all(kev >= 0):
            raise OutOfRangeError(f"electron energy {kev.min():g} keV must not be negative.")
        return np.asarray(np.log(np.clip(kev, self.nodes_kev[0], self.nodes_kev[-1])))

    def electron_response(self, energy_kev: npt.ArrayLike) -> Array:
        """Light per energy of an electron stopped in the crystal, 1 for a 662 keV photon; constant beyond the nodes."""
        if len(self.nodes_kev) == 1:
            return np.full(np.shape(energy_kev), self.nodes_light[0])
        curve = PchipInterpolator(np.log(self.nodes_kev), self.nodes_light)
        return np.asarray(curve(self._ln(energy_kev)))

    def band_half_width(self, energy_kev: npt.ArrayLike) -> Array:
        """Half-width of the plausible band around `electron_response`."""
        if len(self.nodes_kev) == 1:
            return np.full(np.shape(energy_kev), self.nodes_band[0])
        return np.interp(self._ln(energy_kev), np.log(self.nodes_kev), self.nodes_band)

    def excess_light_kev(self, energy_kev: npt.ArrayLike) -> Array:
        """E (eta(E) - 1) [keV]: the electron's part of D, so that light = E + kappa D."""
        return np.asarray(energy_kev, dtype=float) * (self.electron_response(energy_kev) - 1)


def known_scintillators() -> tuple[str, ...]:
    """Names that `scintillator` knows, sorted."""
    return tuple(sorted({*_PHOTON_662_LIGHT, *_OTHER_NAMES, *_PROPORTIONAL}))


@cache
def scintillator(name: str) -> Scintillator:
    """The scintillator of that name: CsI(Tl), NaI(Tl) with their curve, the others proportional with a wide band.

    Raises
    ------
    UnknownNameError
        The name is not known.
    """
    own_name = _OTHER_NAMES.get(name, name)
    if own_name in _PROPORTIONAL:
        return Scintillator(own_name, material(own_name), (MIN_KEV,), (1.0,), (_WIDE_BAND,))
    if own_name not in _PHOTON_662_LIGHT:
        raise UnknownNameError("scintillator", name, known_scintillators())
    rows = [r for r in loader.table_rows("electron_response.csv") if r["scintillator"] == own_name]
    norm = _PHOTON_662_LIGHT[own_name]
    return Scintillator(
        own_name,
        material(own_name),
        tuple(float(r["energy_kev"]) for r in rows),
        tuple(float(r["relative_light"]) / norm for r in rows),
        tuple(float(r["band_half_width"]) / norm for r in rows),
    )
