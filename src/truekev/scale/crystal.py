"""A crystal as the scale sees it: light curve of fully absorbed photons, and quick response."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truekev.errors import OutOfRangeError
from truekev.matter.electrons import csda_range_g_cm2
from truekev.matter.materials import Material
from truekev.matter.photons import partial_cross_sections
from truekev.matter.scintillators import Scintillator
from truekev.scale.light import LightCurve
from truekev.transport.chord_response import STEP_KEV, ChordResponse, chord_response

__all__ = ["Crystal", "crystal_of"]

_N_GRID = 800  # to 3196 keV
_K_SHELL_Z = {53, 55}  # iodine, caesium


@dataclass(frozen=True)
class Crystal:
    """Light curve and response of one crystal."""

    name: str
    curve: LightCurve
    response: ChordResponse


def crystal_of(scintillator: Scintillator, *, size_mm: tuple[float, float, float], shape: str = "box") -> Crystal:
    """Compute light curve and quick response.

    Parameters
    ----------
    scintillator : Scintillator
        Material and electron response.
    size_mm : tuple of float
        Width, height and depth of a box; or diameter, diameter and length of a cylinder [mm].
    shape : str
        "box" or "cylinder".

    Raises
    ------
    OutOfRangeError
        A size that is not positive, or larger than 300 mm.
    """
    if any(not 0.5 <= side <= 300.0 for side in size_mm):
        raise OutOfRangeError(f"crystal size {size_mm} mm: each side must lie between 0.5 and 300 mm.")
    a, b, c = (side / 10.0 for side in size_mm)
    if shape == "box":
        volume, surface = a * b * c, 2.0 * (a * b + b * c + c * a)
    else:
        volume, surface = np.pi / 4 * a * a * c, np.pi * (a * a / 2 + a * c)
    mean_chord = 4.0 * volume / surface
    material = scintillator.material
    grid = np.maximum(STEP_KEV * np.arange(_N_GRID), 1.0)
    partial = partial_cross_sections(material, np.minimum(grid, 3000.0))
    excess = scintillator.electron_response(grid) - 1.0
    # Electrons of a filled K vacancy: an L photoelectron of the K X-ray (or a KLL Auger electron) of about
    # 23 keV, and two vacancies of 5 keV.
    x_ray_light = sum(e * float(scintillator.electron_response(e) - 1.0) for e in (23.5, 5.0, 5.0))
    at_x_ray = partial_cross_sections(material, np.array([30.0]))
    response = chord_response(
        photoelectric_per_cm=partial.photoelectric * material.density_g_cm3,
        incoherent_per_cm=partial.incoherent * material.density_g_cm3,
        pair_per_cm=partial.pair * material.density_g_cm3,
        x_ray_attenuation_per_cm=float(at_x_ray.photoelectric[0]) * material.density_g_cm3,
        electron_range_cm=_range_cm(material, grid),
        electron_light=excess,
        x_ray_light=x_ray_light,
        # From close by, most photons cross obliquely and see less than the full depth.
        first_chord_cm=0.8 * c if shape == "box" else 0.85 * c,
        mean_chord_cm=mean_chord,
        k_shell=any(z in _K_SHELL_Z for z, _ in material.mass_fractions),
    )
    nodes = np.geomspace(12.0, 3100.0, 64)
    relative = np.interp(nodes, response.energy_kev, response.relative_d)
    label = f"{scintillator.name} {shape} {size_mm[0]:g} x {size_mm[1]:g} x {size_mm[2]:g} mm"
    curve = LightCurve(label, tuple(nodes.tolist()), tuple((relative * nodes).tolist()))
    return Crystal(label, curve, response)


def _range_cm(material: Material, energy_kev: np.ndarray) -> np.ndarray:
    return np.asarray(csda_range_g_cm2(material, np.clip(energy_kev, 10.0, 3000.0)) / material.density_g_cm3)
