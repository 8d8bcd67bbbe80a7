"""Local shifts: how far the full-energy lines of a group lie from where the fit puts them, all else fixed.

What the whole-spectrum fit is judged by: a scale that is confidently wrong shows here, on lines of sources that it was
not made from, and not in the fit's own deviance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from truekev.scale.groups import LineGroup, form_groups
from truekev.scale.whole.bins import BinnedSpectrum
from truekev.scale.whole.fit import FittedWhole
from truekev.scale.whole.model import N_PULSE
from truekev.scale.whole.parts import ForwardParts
from truekev.scale.whole.smear import sigma_u

__all__ = ["LocalShift", "local_shifts"]

Array = npt.NDArray[np.float64]

_WINDOW = 1.8  # standard deviations on both sides
_APART = 0.7  # FWHM between groups
_FWHM = 2.3548200450309493


@dataclass(frozen=True)
class LocalShift:
    """Shift of one group.

    Parameters
    ----------
    group : LineGroup
    channel, u_channel : float
        Where the group lies, and its uncertainty from counting and from the model error allowed for.
    expected_channel : float
        Where the fit puts it.
    percent : float
        Energy that the fit reads there over the group's, less one.
    u_counting_percent, u_percent : float
        Its uncertainty from counting alone, and with the model error under the group.
    net_counts, u_net_counts : float
        Full-energy counts of the group, and their counting uncertainty.
    share : float
        Of all counts in the window that are full-energy counts of the group.
    fwhm_channels : float
    """

    group: LineGroup
    channel: float
    u_channel: float
    expected_channel: float
    percent: float
    u_counting_percent: float
    u_percent: float
    net_counts: float
    u_net_counts: float
    share: float
    fwhm_channels: float

    @property
    def significance(self) -> float:
        """Net counts over the noise under them."""
        return self.net_counts / max(self.u_net_counts, 1e-9)


def local_shifts(
    fitted: FittedWhole, data: BinnedSpectrum, parts: ForwardParts, shape: Array, *, least_counts: float = 10.0
) -> list[LocalShift]:
    """Shift of every group of the source that the fit expects.

    Parameters
    ----------
    fitted, data, parts, shape
        As `fit_whole` had and gave them.
    least_counts
        Groups expected to be smaller than this are left out.
    """
    own = parts.line_part < parts.n_source
    energy, place = parts.line_energy_kev[own], parts.line_u[own]
    area = (parts.line_area * fitted.strengths[parts.line_part])[own]
    makers = [maker for maker, kept in zip(parts.line_makers, own, strict=True) if kept]
    sigma, _ = sigma_u(place, parts.line_var_d_kev2[own], shape[N_PULSE:], float(shape[1]))
    fwhm_kev = _FWHM * 2.0 * sigma / place * energy
    edges_u = fitted.design.edges_u
    middle = 0.5 * (edges_u[1:] + edges_u[:-1])
    covariance = fitted.weights.covariance
    order = np.argsort(energy)
    found = []
    for group in form_groups(energy, area, makers, fwhm_kev, apart=_APART):
        if group.area < least_counts:
            continue
        at = np.interp(group.energy_kev, energy[order], place[order])
        wide = np.interp(group.energy_kev, energy[order], sigma[order])
        z = (edges_u[:, None] - at) / wide
        peak = group.area * np.diff(ndtr(z), axis=0) @ group.weight
        by_shift = -group.area * np.diff(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi) / wide, axis=0) @ group.weight
        centre, spread = float(at @ group.weight), float(wide @ group.weight)
        inside = np.abs(middle - centre) < _WINDOW * spread
        if inside.sum() < 3 or peak[inside].sum() <= 0 or centre + spread > edges_u[-1]:
            continue
        counted = np.maximum(fitted.model[inside], 1.0)
        weight = by_shift[inside] / counted
        slope = float(weight @ by_shift[inside])
        if slope <= 0:
            continue
        shift_u = float(weight @ (data.counts - fitted.model)[inside]) / slope
        u_shift = float(np.sqrt(weight @ covariance[np.ix_(inside, inside)] @ weight)) / slope
        u_counting = slope**-0.5
        centroid = group.centroid_kev
        expected = float(fitted.pulse.channel(centroid))
        per_u = 2.0 / centre  # p = u^2 and p is nearly proportional to the energy
        kev_per_channel = 1.0 / float(fitted.pulse.slope_per_kev(centroid))
        to_channels = per_u * centroid / kev_per_channel
        found.append(
            LocalShift(
                group,
                expected + shift_u * to_channels,
                u_shift * to_channels,
                expected,
                100.0 * shift_u * per_u,
                100.0 * u_counting * per_u,
                100.0 * u_shift * per_u,
                float(peak.sum()),
                float(np.sqrt(counted.sum())),
                float(peak[inside].sum() / fitted.model[inside].sum()),
                _FWHM * spread * to_channels,
            )
        )
    return found
