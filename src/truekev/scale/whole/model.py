"""The forward model of one spectrum on its bins: counts of every part, and how their sum changes with the scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.scale.light import KNOTS_KEV, NODES_KEV, LightCurve, Pulse
from truekev.scale.templates import nominal_pulse_kev
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.continua import KAPPAS, U_EDGES
from truekev.scale.whole.parts import ForwardParts
from truekev.scale.whole.smear import WIDTHS, laid_out, sigma_u, smeared, smeared_sum

__all__ = ["N_PULSE", "N_SHAPE", "Design", "design_of", "gradient_of", "pulse_of"]

Array = npt.NDArray[np.float64]

N_PULSE = 3 + KNOTS_KEV.size  # c0 [keV], kappa, s, psi
N_SHAPE = N_PULSE + WIDTHS  # and ln R, f0, f2
_CELLS: Array = 0.5 * (U_EDGES[1:] + U_EDGES[:-1])
_STEP = float(U_EDGES[1])


def pulse_of(curve: LightCurve, shape: Array, log_gain: float) -> Pulse:
    """ch(E) from shape (c0 [keV of light], kappa, s, psi, ...) and ln g."""
    gain = float(np.exp(log_gain))
    return Pulse(
        curve,
        float(shape[0]) * gain * 1e-3,
        gain,
        float(shape[1]),
        float(shape[2]),
        tuple(np.asarray(shape[3:N_PULSE]).tolist()),
    )


@dataclass(frozen=True, eq=False)
class Design:
    """Counts of every part per unit of strength in every bin, shape (n, k + 2): parts, pile-up, measured background;
    and what is needed for derivatives. `width` is (ln R, f0, f2).
    """

    columns: Array
    pulse: Pulse
    edges_u: Array
    kappa_low: int
    kappa_share: float
    width: Array
    sigma: Array
    line_sigma: Array


def design_of(data: BinnedSpectrum, parts: ForwardParts, shape: Array, log_gain: float) -> Design:
    """Lay the parts on the bins of a spectrum.

    Parameters
    ----------
    data, parts
        Bins, and what they may hold.
    shape : ndarray, shape (14,)
        c0 [keV of light], kappa, s [1/MeV], psi at its knots, ln R, f0, f2.
    log_gain
        ln of channels per MeV of light.
    """
    pulse = pulse_of(parts.curve, shape, log_gain)
    kappa = float(np.clip(shape[1], KAPPAS[0], KAPPAS[-1]))
    position = float(np.interp(kappa, KAPPAS, np.arange(KAPPAS.size)))
    low = min(int(position), KAPPAS.size - 2)
    share = position - low
    width = np.ascontiguousarray(shape[N_PULSE:])
    columns, edges_u, sigma, line_sigma = laid_out(
        data.edges,
        pulse.channel_at_nodes(),
        parts.nominal_at_nodes,
        pulse.c0,
        _CELLS,
        _STEP,
        parts.var_d_kev2,
        width,
        kappa,
        parts.continuum[low],
        parts.continuum[low + 1],
        share,
        parts.line_u,
        parts.line_var_d_kev2,
        parts.line_area,
        parts.line_part,
        data.further,
    )
    return Design(columns, pulse, edges_u, low, share, width, sigma, line_sigma)


def gradient_of(design: Design, data: BinnedSpectrum, parts: ForwardParts, strengths: Array, room_gain: float) -> Array:
    """Derivatives of the summed model by (shape, ln g, ln of the background's gain), shape (n, 16).

    Parameters
    ----------
    design, data, parts, strengths
        The parts as laid on the bins, and their strengths.
    room_gain
        ln of the factor on the background's gain.
    """
    k = len(parts.names)
    cells_low = parts.continuum[design.kappa_low] @ strengths[:k]
    cells_high = parts.continuum[design.kappa_low + 1] @ strengths[:k]
    cells = (1.0 - design.kappa_share) * cells_low + design.kappa_share * cells_high
    area = parts.line_area * strengths[parts.line_part]
    kappa = float(
        KAPPAS[design.kappa_low] + design.kappa_share * (KAPPAS[design.kappa_low + 1] - KAPPAS[design.kappa_low])
    )
    _, cells_by_width = sigma_u(_CELLS, parts.var_d_kev2, design.width, kappa)
    _, line_by_width = sigma_u(parts.line_u, parts.line_var_d_kev2, design.width, kappa)
    density, by_width = smeared_sum(
        design.edges_u,
        _CELLS,
        _STEP,
        design.sigma,
        cells_by_width,
        cells,
        parts.line_u,
        design.line_sigma,
        line_by_width,
        area,
    )
    pulse = design.pulse
    energy = np.interp(design.edges_u**2, parts.nominal_at_nodes, NODES_KEV)
    # A pulse's place moves with the parameters; seen from a fixed channel edge, u moves the other way.
    step = 1e-3 * energy
    u_per_kev = (
        np.sqrt(nominal_pulse_kev(pulse.curve, energy + step)) - np.sqrt(nominal_pulse_kev(pulse.curve, energy - step))
    ) / (2.0 * step)
    per_channel = density * u_per_kev / pulse.slope_per_kev(energy)
    jacobian = pulse.jacobian(energy)  # c0 [channels], ln g, kappa, s, psi
    to_channels = pulse.gain * 1e-3
    moves = np.empty((data.edges.size, N_PULSE + 1))
    moves[:, 0] = jacobian[:, 0] * to_channels
    moves[:, 1:N_PULSE] = jacobian[:, 2:]
    moves[:, N_PULSE] = jacobian[:, 1] + pulse.c0
    by_pulse = -np.diff(per_channel[:, None] * moves, axis=0)
    kappa_step = float(KAPPAS[design.kappa_low + 1] - KAPPAS[design.kappa_low])
    difference = _smeared_cells(design, (cells_high - cells_low) / kappa_step)
    by_pulse[:, 1] += difference
    n = data.counts.size
    out = np.empty((n, N_SHAPE + 2))
    out[:, :N_PULSE] = by_pulse[:, :N_PULSE]
    out[:, N_PULSE:N_SHAPE] = np.diff(by_width, axis=1).T
    out[:, N_SHAPE] = by_pulse[:, N_PULSE]
    out[:, N_SHAPE + 1] = strengths[-1] * data.room.slope_at(room_gain) if data.room else 0.0
    return out


_NO_LINES: Array = np.zeros(0)
_NO_PARTS: npt.NDArray[np.int64] = np.zeros(0, dtype=np.int64)


def _smeared_cells(design: Design, cells: Array) -> Array:
    below = smeared(
        design.edges_u,
        _CELLS,
        _STEP,
        design.sigma,
        np.ascontiguousarray(cells[:, None]),
        _NO_LINES,
        _NO_LINES,
        _NO_LINES,
        _NO_PARTS,
    )
    return np.asarray(np.diff(below[:, 0]), dtype=np.float64)
