"""What is no full-energy peak, on the axis u = sqrt(nominal pulse height): deposits of part of a photon, and sums.

Its light is made by other electrons than those of the full-energy peak of the same pulse height, so that it moves on
this axis with kappa, a little: it is made for several.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.fft import irfft, next_fast_len, rfft

from truekev.scale.light import REFERENCE_KEV, LightCurve
from truekev.scale.sample import Pairs
from truekev.scale.templates import LineSet, deposits_of, nominal_pulse_kev
from truekev.transport.node_response import NodeResponse

__all__ = ["KAPPAS", "U_EDGES", "continuum_on_u", "sums_on_u"]

Array = npt.NDArray[np.float64]

KAPPAS: Array = np.array([0.1, 0.55, 1.0, 1.45, 1.9])
U_STEP = 0.1  # a fourth of the narrowest peak's standard deviation
U_EDGES: Array = np.arange(0.0, 60.0 + U_STEP / 2, U_STEP)
_GRID_KEV: Array = np.geomspace(2.0, 4000.0, 1200)


def continuum_on_u(lines: LineSet, response: NodeResponse, curve: LightCurve) -> Array:
    """Deposits that are no full-energy peak, in cells of u, shape (q, m), for each of `KAPPAS`."""
    cumulative, relative_d = deposits_of(lines, response)
    return np.array(
        [_on_u(_light_kev(response, relative_d, curve, kappa), cumulative, curve, kappa) for kappa in KAPPAS]
    )


def sums_on_u(pairs: Pairs, response: NodeResponse, curve: LightCurve) -> Array:
    """Pulses of two photons of one decay, in cells of u, shape (q, m), for each of `KAPPAS`.

    The light of two photons adds up, whatever each leaves behind: the spectrum of their sums is the convolution, in
    light, of the two spectra. What the peaks of either lose to their sums is a few per cent of them and not taken off.

    References
    ----------
    Two photons: N = N0 e1 e2 (Kafala 1995, J. Radioanal. Nucl. Chem. 191, 105), directions taken as independent.
    """
    energies, places = np.unique(np.concatenate([pairs.first_kev, pairs.second_kev]), return_inverse=True)
    together = np.zeros((energies.size, energies.size))
    np.add.at(together, tuple(places.reshape(2, -1)), pairs.rate)
    deposits = [deposits_of(LineSet("", np.array([e]), np.ones(1)), response) for e in energies]
    full_energy = response.full_energy(energies)
    edges = response.bin_edges_kev
    step = float(edges[1])
    n_cells = edges.size + edges.size // 4  # electrons make up to a quarter more light than at 662 keV
    size = next_fast_len(2 * n_cells, real=True)
    rows = []
    for kappa in KAPPAS:
        of_line = np.empty((energies.size, n_cells))
        peak = 1e3 * curve.light_mev(energies, float(kappa)) / step - 0.5
        for i, (cumulative, relative_d) in enumerate(deposits):
            light = _light_kev(response, relative_d, curve, float(kappa))
            of_line[i] = np.diff(np.interp(step * np.arange(n_cells + 1), light, cumulative))
            low = int(peak[i])
            of_line[i, low : low + 2] += full_energy[i] * np.array([low + 1 - peak[i], peak[i] - low])
        transformed = rfft(of_line, size, axis=1)
        both = irfft(np.einsum("ij,ik,jk->k", together, transformed, transformed, optimize=True), size)
        # Cells i and j, from their middles, make cell i + j, whose edges lie half a step higher.
        cumulative = np.concatenate(([0.0], np.cumsum(np.maximum(both, 0.0))))
        middles = step * np.arange(0.5, size + 1.0)
        rows.append(_on_u(middles, cumulative, curve, float(kappa)))
    return np.array(rows)


def _light_kev(response: NodeResponse, relative_d: Array, curve: LightCurve, kappa: float) -> Array:
    """Light [keV-equivalent] of deposits at the edges of the response's bins."""
    reference = 1.0 + kappa * float(curve.relative_d(REFERENCE_KEV))
    return np.asarray(np.maximum.accumulate(response.bin_edges_kev * (1.0 + kappa * relative_d) / reference))


def _on_u(light_kev: Array, cumulative: Array, curve: LightCurve, kappa: float) -> Array:
    """Counts in cells of u from counts below each of some amounts of light."""
    lights = np.concatenate(([0.0], 1e3 * curve.light_mev(_GRID_KEV, kappa)))
    same_light = np.interp(light_kev, lights, np.concatenate(([0.0], _GRID_KEV)))
    pulse = nominal_pulse_kev(curve, np.maximum(same_light, 0.1))
    pulse[light_kev <= 0.0] = 0.0
    return np.diff(np.interp(U_EDGES, np.sqrt(np.maximum(pulse, 0.0)), cumulative))
