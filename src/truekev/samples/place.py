"""The place of a sample from a source of known activity: how much deeper the crystal sits, and what scatters."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from truekev.errors import RefusedError
from truekev.quantity import Measured
from truekev.samples.candidates import candidate, lines_of
from truekev.samples.knowledge import BACK, FORWARD, ONCE, SIDE
from truekev.samples.sample_file import SampleDescription
from truekev.samples.sample_response import sample_response
from truekev.samples.spectrum_fit import SpectrumFit
from truekev.samples.spectrum_model import SpectrumModel
from truekev.transport.detector import Detector

__all__ = ["Place", "place_of_known"]

_STEPS_MM = (-10.0, 0.0, 15.0, 40.0, 90.0)
_U_SCATTER = 0.25  # of surroundings from one source to the next of the same type


@dataclass(frozen=True)
class Place:
    """What a known source says of its place.

    Parameters
    ----------
    ratio : Measured
        Activity as counted over the known one, with the distance as described.
    extra_distance_mm : Measured
        To be added to what the sample file has already.
    scattering : mapping
        By surroundings: back, forward, side and once, as a sample file takes them.
    """

    ratio: Measured
    extra_distance_mm: Measured
    scattering: dict[str, Measured]


def place_of_known(
    model: SpectrumModel,
    fit: SpectrumFit,
    name: str,
    known: Measured,
    sample: SampleDescription,
    detector: Detector,
    progress: Callable[[float, str], None] | None = None,
) -> Place:
    """The extra distance that makes a known activity come out right.

    Parameters
    ----------
    model, fit, name
        A count that holds the known source.
    known
        Its activity on the day of the count.
    sample, detector
        As they were described.
    progress
        Called with (share done, what).

    Raises
    ------
    RefusedError
        No distance from 10 mm nearer to 90 mm further makes the two agree.
    """
    lines = lines_of(candidate(name))
    areas = model.peak_areas(lines, fit.shared)
    at_kev = float(lines.energy_kev[int(areas.argmax())])
    tell = progress or (lambda share, what: None)
    steps = [step for step in _STEPS_MM if sample.distance_mm.value + step >= 0]
    efficiency = []
    for number, step in enumerate(steps):
        moved = replace(sample, distance_mm=replace(sample.distance_mm, value=sample.distance_mm.value + step))
        tell(number / len(steps), "efficiency further away")
        efficiency.append(float(sample_response(moved, detector).peak.full_energy(at_kev)))
    ratio = fit.of(name) / known.value
    relative_u = math.hypot(fit.u(name) / max(fit.of(name), 1e-300), known.relative_u)
    log_share = np.log(np.array(efficiency) / efficiency[steps.index(0.0)])
    wanted = math.log(max(ratio, 1e-9))
    if not log_share[-1] <= wanted <= log_share[0]:
        raise RefusedError(
            f"{name} came out at {100 * ratio:.0f} % of the known activity; no extra distance from {steps[0]:.0f} to "
            f"{steps[-1]:.0f} mm explains that.",
            "the right activity and date, distance and crystal size.",
        )
    extra = float(np.interp(-wanted, -log_share, steps))
    slope = float(np.interp(extra, steps, np.gradient(log_share, steps)))
    return Place(
        Measured(ratio, ratio * relative_u),
        Measured(extra, relative_u / abs(slope), "mm"),
        {
            name: Measured(float(fit.shared[place]), _U_SCATTER)
            for name, place in (("back", BACK), ("forward", FORWARD), ("side", SIDE), ("once", ONCE))
        },
    )
