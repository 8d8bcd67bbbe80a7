"""How long to count: the Fisher information of a predicted spectrum about the energy scale, everything free.

The counts of bins about FWHM/6 wide are Poisson; beside them the model is wrong as the fit takes it to be (a Gaussian
process, 3 % and more below 60 keV, correlated over two FWHM: scale/whole). Free are: the strength of every part, of
the room, of six smooth parts, the peak width, and ch(E) with the fit's priors. A prior is information like any other,
so that the result is a bound of the kind of van Trees.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from truekev.scale.groups import form_groups
from truekev.scale.light import KNOTS_KEV, Pulse
from truekev.scale.predicted import PredictedSpectrum, energy_of_u
from truekev.scale.room import Room
from truekev.scale.templates import NOMINAL_S
from truekev.scale.whole.fit import DELTA
from truekev.scale.whole.model import N_PULSE
from truekev.scale.whole.prior import shape_prior
from truekev.scale.whole.weights import model_error as error_of_model

__all__ = ["JUDGED_KEV", "LONGEST_S", "Forecast", "GroupArea", "ReachTime", "forecast", "scale_u"]

Array = npt.NDArray[np.float64]

JUDGED_KEV = {"low": 60.0, "middle": 661.655, "high": 2614.511}
SHORTEST_S, LONGEST_S = 10.0, 60 * 86400.0
_FWHM = 2.3548200450309493
_ROOM_U = 0.05
_WIDTH_U = 0.15
_SMOOTH_KEV = (35.0, 80.0, 180.0, 400.0, 900.0, 3000.0)
_SMOOTH_U = 0.10  # of all counts, in each smooth part
_TOP_U, _BOTTOM_U = 53.5, 4.9
_PEAK_RANGES_KEV = (30.0, 160.0, 1000.0, 3000.0)
_TELLING_AREA_PER_S = 1e-5


@dataclass(frozen=True)
class GroupArea:
    """A line group: net full-energy counts per second, what lies under it, and how well an hour knows its area."""

    name: str
    energy_kev: float
    net_per_s: float
    under_per_s: float
    relative_u_in_an_hour: float


@dataclass(frozen=True)
class ReachTime:
    """Counting time [s] until the scale's standard uncertainty at an energy is small enough.

    `time_s` is None where no count of up to 60 days does it; `u_percent_in_an_hour` is what an hour gives, and
    `best_percent` what the longest count gives.
    """

    energy_kev: float
    time_s: float | None
    u_percent_in_an_hour: float
    best_percent: float


@dataclass(frozen=True)
class Forecast:
    """What a count of a source will give.

    Parameters
    ----------
    rate_per_s, room_per_s : float
        Counts per second of the source above 25 keV, and of the room.
    shares : mapping
        Share of each route in the source's counts: direct, forward, back, secondary, betas.
    groups : tuple of GroupArea
        By rising energy, those that an hour knows best.
    reach : mapping
        For "low" (60 keV), "middle" (662 keV), "high" (2615 keV).
    whole_s : float or None
        Time to the wanted accuracy at all three: the least that a fit of the whole shape needs.
    peaks_s : float or None
        Time until three line groups, one below 160, one from 160 to 1000 and one above 1000 keV, are each placed to
        the wanted accuracy by their own counts, as reading peak by peak needs; None where a range has no group or it
        takes more than 60 days.
    """

    rate_per_s: float
    room_per_s: float
    shares: dict[str, float]
    groups: tuple[GroupArea, ...]
    reach: dict[str, ReachTime]
    whole_s: float | None
    peaks_s: float | None


@dataclass(frozen=True, eq=False)
class _Model:
    """Rates per bin, derivatives of the rates by the free parameters, and the prior's precision."""

    rate: Array
    room: Array
    room_time_s: float | None
    design: Array
    precision: Array
    kernel: Array
    edges: Array
    pulse: Pulse


def _bins(predicted: PredictedSpectrum) -> tuple[Array, float]:
    fwhm_u = 0.5 * predicted.fwhm_662 * np.sqrt(661.655)
    return np.arange(_BOTTOM_U, _TOP_U, fwhm_u / 6.0), fwhm_u


def _model(predicted: PredictedSpectrum, room: Room) -> _Model:
    edges, fwhm_u = _bins(predicted)

    def counts(cumulative: Array) -> Array:
        return np.diff(np.interp(edges, predicted.u, cumulative))

    parts = [counts(part.cumulative[1]) for part in predicted.parts]
    of_room = counts(room.cumulative)
    rate = np.maximum(np.sum(parts, axis=0) + of_room, 1e-12)
    smooth = [np.diff(1.0 - np.exp(-(edges**2) / scale)) * rate.sum() for scale in _SMOOTH_KEV]
    wide = np.sum([counts(part.cumulative[2] - part.cumulative[0]) for part in predicted.parts], axis=0) / 0.06
    pulse = Pulse(predicted.curve, 0.0, 1000.0, 1.0, NOMINAL_S)
    # Moving ch(E) moves counts over the edges of bins: density at the edge times the shift there. The room tells
    # nothing of the scale: it has a gain of its own.
    total = np.sum([part.cumulative[1] for part in predicted.parts], axis=0)
    step = fwhm_u / 12.0
    density = (np.interp(edges + step, predicted.u, total) - np.interp(edges - step, predicted.u, total)) / (2.0 * step)
    per_pulse = density / (2.0 * edges)
    shifts = pulse.jacobian(energy_of_u(predicted.curve, edges))
    moved = -np.diff(per_pulse[:, None] * shifts, axis=0)
    design = np.column_stack([moved, *parts, of_room, *smooth, wide])
    n_parts = len(parts)
    precision = np.zeros((design.shape[1],) * 2)
    shape = np.array([0, 2, 3, *range(4, 4 + KNOTS_KEV.size)])
    precision[np.ix_(shape, shape)] = shape_prior().precision[:N_PULSE, :N_PULSE]
    rest = np.concatenate(
        (
            np.full(n_parts, 1e-4),
            [1.0 / _ROOM_U**2],
            np.full(len(smooth), 1.0 / _SMOOTH_U**2),
            [1.0 / _WIDTH_U**2],
        )
    )
    precision[range(12, 12 + rest.size), range(12, 12 + rest.size)] = rest
    precision[1, 1] = 1e-6
    middle = 0.5 * (edges[1:] + edges[:-1])
    relative, length = error_of_model(middle, np.array([np.log(predicted.fwhm_662)]), DELTA)
    kernel = np.outer(relative, relative) * np.exp(-np.abs(middle[:, None] - middle[None, :]) / length)
    return _Model(rate, of_room, room.time_s, design, precision, kernel, edges, pulse)


def _covariance(model: _Model, time_s: float, model_error: bool) -> Array:
    """Covariance of (c0, ln g, kappa, s, psi) after a count, shape (12, 12)."""
    expected = time_s * model.rate
    # A subtracted background brings its own noise; one not counted yet is counted as long as the source.
    noise = expected + model.room * time_s * (time_s / (model.room_time_s or time_s))
    spread = np.diag(np.maximum(noise, 1e-9))
    if model_error:
        own = expected - time_s * model.room
        spread += own[:, None] * model.kernel * own[None, :]
    design = time_s * model.design
    information = design.T @ cho_solve(cho_factor(spread), design) + model.precision
    return np.asarray(np.linalg.inv(information)[:12, :12])


def _u(model: _Model, time_s: float, energy_kev: Array, model_error: bool = True) -> Array:
    jacobian = model.pulse.jacobian(energy_kev)
    covariance = _covariance(model, time_s, model_error)
    variance = np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian)
    slope = model.pulse.slope_per_kev(energy_kev)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)) / slope)


def scale_u(
    predicted: PredictedSpectrum, room: Room, time_s: float, energy_kev: npt.ArrayLike, *, model_error: bool = True
) -> Array:
    """Standard uncertainty of the energy scale [keV] that a count of `time_s` seconds will give.

    With `model_error` False only counting statistics and the priors enter.
    """
    return _u(_model(predicted, room), time_s, np.atleast_1d(np.asarray(energy_kev, float)), model_error)


def _times(model: _Model, reach: float) -> dict[str, ReachTime]:
    energies = np.array(list(JUDGED_KEV.values()))
    grid = np.geomspace(SHORTEST_S, LONGEST_S, 34)
    u = np.array([_u(model, time_s, energies) / energies for time_s in grid])
    hour = _u(model, 3600.0, energies) / energies
    found = {}
    for i, (name, energy) in enumerate(JUDGED_KEV.items()):
        enough = np.flatnonzero(u[:, i] <= reach)
        time_s = None
        if enough.size:
            k = int(enough[0])
            time_s = SHORTEST_S
            if k > 0:
                share = np.log(u[k - 1, i] / reach) / np.log(u[k - 1, i] / u[k, i])
                time_s = float(grid[k - 1] * (grid[k] / grid[k - 1]) ** share)
        found[name] = ReachTime(energy, time_s, 100 * float(hour[i]), 100 * float(u[-1, i]))
    return found


def _groups(predicted: PredictedSpectrum, model: _Model) -> list[GroupArea]:
    energy, area, makers = predicted.peak_areas_per_s()
    kept = area > _TELLING_AREA_PER_S * max(float(area.max()), 1e-300)
    energy, area = energy[kept], area[kept]
    names = [maker for maker, one in zip(makers, kept, strict=True) if one]
    light = predicted.curve.light_mev(energy, 1.0) * 1e3
    fwhm_kev = predicted.fwhm_662 * np.sqrt(661.655 * light)
    groups = []
    cumulative = np.concatenate(([0.0], np.cumsum(model.rate)))
    for group in form_groups(energy, area, names, fwhm_kev):
        centre = float(np.sqrt(model.pulse.channel(group.centroid_kev)))
        half = 1.2 * 0.5 * predicted.fwhm_662 * np.sqrt(661.655)
        window = np.interp([centre - half, centre + half], model.edges, cumulative)
        under = max(float(window[1] - window[0]) - group.area, 0.0)
        u = np.sqrt((group.area + 2.0 * under) * 3600.0) / (group.area * 3600.0)
        groups.append(GroupArea(group.name, group.centroid_kev, group.area, under, float(u)))
    return groups


def _best(groups: list[GroupArea], most: int = 12) -> tuple[GroupArea, ...]:
    best = sorted(groups, key=lambda one: one.relative_u_in_an_hour)[:most]
    return tuple(sorted(best, key=lambda one: one.energy_kev))


def _peaks_s(groups: list[GroupArea], fwhm_662: float, reach: float) -> float | None:
    slowest = 0.0
    for low, high in pairwise(_PEAK_RANGES_KEV):
        times = [
            (fwhm_662 * np.sqrt(661.655 / one.energy_kev) / _FWHM / reach) ** 2
            * (1.0 + 2.0 * one.under_per_s / one.net_per_s)
            / one.net_per_s
            for one in groups
            if low <= one.energy_kev < high
        ]
        slowest = max(slowest, min(times, default=np.inf))
    return float(max(slowest, SHORTEST_S)) if slowest <= LONGEST_S else None


def forecast(predicted: PredictedSpectrum, room: Room, reach: float = 0.005) -> Forecast:
    """Rate, net areas and counting times of a predicted spectrum.

    Parameters
    ----------
    predicted, room
        What the source makes, and the room.
    reach
        Wanted standard uncertainty of the scale over the energy.
    """
    model = _model(predicted, room)
    times = _times(model, reach)
    all_of = [one.time_s for one in times.values()]
    total = predicted.rate_per_s
    shares = {route: predicted.rate_of(route) / total for route in ("direct", "forward", "back", "secondary", "betas")}
    own = float((model.rate - model.room).sum())
    whole = None if None in all_of else max(time_s for time_s in all_of if time_s is not None)
    groups = _groups(predicted, model)
    by_peaks = _peaks_s(groups, predicted.fwhm_662, reach)
    return Forecast(own, float(model.room.sum()), shares, _best(groups), times, whole, by_peaks)
