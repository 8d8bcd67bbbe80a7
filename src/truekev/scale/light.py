"""The light model: how much light a fully absorbed photon makes, and where its pulse lands.

Light is made by electrons. For a photon of energy E that is absorbed completely, the electrons of the
event make E + kappa * D(E) of light, D(E) = mean of sum E_e * (eta_e(E_e) - 1). In MeV-equivalents at
661.655 keV

    L(E) = [E + kappa * D(E)] / [1 + kappa * D(E0) / E0] / 1000,   E0 = 661.655 keV,

and the pulse coordinate is

    ch(E) = c0 + g * L * (1 - s * L) * exp(psi(E)),

with g in channels per MeV-equivalent, s in 1/MeV, and psi a small smooth correction of this crystal's
own curve (a Gaussian process in ln E, given at a few knots). kappa, s and psi trade off with one
another: only ch(E) and its band are reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline, PchipInterpolator

from truekev.errors import OutOfRangeError

__all__ = ["KNOTS_KEV", "NODES_KEV", "REFERENCE_KEV", "LightCurve", "Pulse", "psi_prior_covariance"]

Array = npt.NDArray[np.float64]

REFERENCE_KEV = 661.655
KNOTS_KEV: Array = np.array([25.0, 40.0, 65.0, 110.0, 220.0, 500.0, 1200.0, 3200.0])
_PSI_LENGTH = 0.6  # in ln E: one crystal's curve differs from another's over factors of about two in energy


def psi_prior_covariance() -> Array:
    """Prior covariance of psi at KNOTS_KEV, shape (8, 8).

    Standard deviation 0.6 % at high energy, growing to 2 % at 30 keV as the bands of published light curves grow
    (from memory); its size is set by intervals where the truth lies outside the model
    (docs/validation/scale_outside.md). Correlated over a factor of about two in energy.
    """
    log_knots = np.log(KNOTS_KEV)
    amplitude = 0.006 * (1.0 + (65.0 / KNOTS_KEV) ** 1.1)
    distance = (log_knots[:, None] - log_knots[None, :]) / _PSI_LENGTH
    correlation = np.exp(-0.5 * distance**2) + 1e-6 * np.eye(log_knots.size)
    return np.asarray(amplitude[:, None] * correlation * amplitude[None, :], dtype=np.float64)


_PSI_BASIS = CubicSpline(np.log(KNOTS_KEV), np.eye(KNOTS_KEV.size), bc_type="natural")


def psi_basis(energy_kev: npt.ArrayLike) -> Array:
    """Weights of the knots at `energy_kev`, shape (n, 8); constant beyond the outer knots."""
    clipped = np.clip(np.asarray(energy_kev, float), KNOTS_KEV[0], KNOTS_KEV[-1])
    return np.asarray(_PSI_BASIS(np.log(clipped)), dtype=np.float64)


NODES_KEV: Array = np.geomspace(2.0, 3900.0, 900)
_PSI_AT_NODES = psi_basis(NODES_KEV)


@dataclass(frozen=True)
class LightCurve:
    """D(E) [keV] of fully absorbed photons in one crystal, tabulated.

    Parameters
    ----------
    crystal : str
        Which crystal it was computed for.
    energy_kev, d_kev : tuple of float
        Nodes, strictly rising, and D there.
    """

    crystal: str
    energy_kev: tuple[float, ...]
    d_kev: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.energy_kev) != len(self.d_kev) or len(self.energy_kev) < 2:
            raise OutOfRangeError("light curve: needs at least two nodes, each with its D.")
        if np.any(np.diff(self.energy_kev) <= 0) or self.energy_kev[0] <= 0:
            raise OutOfRangeError("light curve: node energies must be positive and rise.")

    @cached_property
    def _spline(self) -> PchipInterpolator:
        return PchipInterpolator(np.log(self.energy_kev), np.asarray(self.d_kev) / np.asarray(self.energy_kev))

    def relative_d(self, energy_kev: npt.ArrayLike) -> Array:
        """D(E)/E, dimensionless; constant beyond the nodes."""
        clipped = np.clip(np.asarray(energy_kev, float), self.energy_kev[0], self.energy_kev[-1])
        return np.asarray(self._spline(np.log(clipped)), dtype=np.float64)

    def light_mev(self, energy_kev: npt.ArrayLike, kappa: float) -> Array:
        """Light L(E) of a fully absorbed photon [MeV-equivalent at 661.655 keV]."""
        energy = np.asarray(energy_kev, float)
        return np.asarray(energy * 1e-3 * (1.0 + kappa * self.relative_d(energy)) / self._reference(kappa))

    def _reference(self, kappa: float) -> float:
        return 1.0 + kappa * self._relative_d_at_reference

    @cached_property
    def _relative_d_at_reference(self) -> float:
        return float(self.relative_d(REFERENCE_KEV))

    @cached_property
    def _relative_d_at_nodes(self) -> Array:
        return self.relative_d(NODES_KEV)

    def light_mev_at_nodes(self, kappa: float) -> Array:
        """`light_mev` at NODES_KEV; quick, as the curve is kept there."""
        return np.asarray(NODES_KEV * 1e-3 * (1.0 + kappa * self._relative_d_at_nodes) / self._reference(kappa))


@dataclass(frozen=True)
class Pulse:
    """ch(E) with definite parameters.

    Parameters
    ----------
    curve : LightCurve
    c0 : float
        Pulse coordinate of no light [channels].
    gain : float
        g [channels per MeV-equivalent].
    kappa, s_per_mev : float
        Strength of the curve; quadratic loss [1/MeV].
    psi : tuple of float
        Correction at KNOTS_KEV.
    """

    curve: LightCurve
    c0: float
    gain: float
    kappa: float = 1.0
    s_per_mev: float = 0.01
    psi: tuple[float, ...] = (0.0,) * KNOTS_KEV.size

    def channel(self, energy_kev: npt.ArrayLike) -> Array:
        """Pulse coordinate ch(E) of fully absorbed photons of `energy_kev`."""
        light = self.curve.light_mev(energy_kev, self.kappa)
        correction = np.exp(psi_basis(energy_kev) @ np.asarray(self.psi))
        return np.asarray(self.c0 + self.gain * light * (1.0 - self.s_per_mev * light) * correction)

    def channel_at_nodes(self) -> Array:
        """`channel` at NODES_KEV; quick, as curve and psi are kept there."""
        light = self.curve.light_mev_at_nodes(self.kappa)
        correction = np.exp(_PSI_AT_NODES @ np.asarray(self.psi))
        return np.asarray(self.c0 + self.gain * light * (1.0 - self.s_per_mev * light) * correction)

    def jacobian(self, energy_kev: npt.ArrayLike) -> Array:
        """Derivatives of ch(E) by (c0, ln g, kappa, s, psi_1..psi_8), shape (n, 12)."""
        energy = np.atleast_1d(np.asarray(energy_kev, float))
        relative = self.curve.relative_d(energy)
        reference = float(self.curve.relative_d(REFERENCE_KEV))
        light = self.curve.light_mev(energy, self.kappa)
        basis = psi_basis(energy)
        correction = np.exp(basis @ np.asarray(self.psi))
        pulse = self.gain * light * (1.0 - self.s_per_mev * light) * correction
        dlight = light * (relative / (1.0 + self.kappa * relative) - reference / (1.0 + self.kappa * reference))
        columns = [
            np.ones_like(energy),
            pulse,
            self.gain * dlight * (1.0 - 2.0 * self.s_per_mev * light) * correction,
            -self.gain * light**2 * correction,
        ]
        return np.column_stack([*columns, pulse[:, None] * basis])

    def slope_per_kev(self, energy_kev: npt.ArrayLike) -> Array:
        """Slope of ch(E) [channels per keV], by central difference over 0.2 %."""
        energy = np.asarray(energy_kev, float)
        step = 1e-3 * energy
        return np.asarray((self.channel(energy + step) - self.channel(energy - step)) / (2.0 * step))

    def energy_kev(self, channel: npt.ArrayLike) -> Array:
        """The inverse of `channel`; NaN where the pulse coordinate lies outside 1 keV to 4 MeV.

        Raises
        ------
        OutOfRangeError
            ch(E) does not rise over the whole range, so that it has no inverse.
        """
        nodes = np.geomspace(1.0, 4000.0, 1500)
        pulses = self.channel(nodes)
        if np.any(np.diff(pulses) <= 0):
            raise OutOfRangeError("the scale does not rise everywhere between 1 keV and 4 MeV; it has no inverse.")
        wanted = np.asarray(channel, float)
        energy = np.interp(wanted, pulses, nodes, left=np.nan, right=np.nan)
        for _ in range(2):
            energy = np.clip(energy + (wanted - self.channel(energy)) / self.slope_per_kev(energy), 1.0, 4000.0)
        return np.asarray(energy, dtype=np.float64)
