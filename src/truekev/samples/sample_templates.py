"""Templates of everything a sample may hold, for one detector, one sample and one peak width; kept for the next one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

from truekev.samples.candidates import RADON_PROGENY, candidate, candidates, lines_of, room_parts
from truekev.samples.component_templates import (
    DEPTHS_G_CM2,
    ComponentTemplates,
    PeakShape,
    ResponseGrid,
    beta_row,
    component_templates,
    response_grid,
)
from truekev.samples.sample_file import SampleDescription
from truekev.samples.sample_response import beta_response, sample_response, surroundings_response
from truekev.scale.crystal import crystal_of
from truekev.transport.detector import Detector

__all__ = ["sample_grid", "sample_templates"]

Progress = Callable[[float, str], None]
_GRIDS: dict[tuple[Detector, SampleDescription, PeakShape], ResponseGrid] = {}
_MOST_KEPT = 16


def sample_grid(
    detector: Detector, sample: SampleDescription, shape: PeakShape, progress: Progress | None = None
) -> ResponseGrid:
    """Response of a count laid out on the grid of energies; by Monte Carlo the first time, then from disk."""
    key = (detector, sample, shape)
    tell = progress or (lambda share, what: None)
    if key not in _GRIDS:
        around = surroundings_response(detector, progress=lambda done, what: tell(0.5 * done, what))
        response = sample_response(sample, detector, progress=lambda done, what: tell(0.5 + 0.5 * done, what))
        if len(_GRIDS) >= _MOST_KEPT:
            _GRIDS.clear()
        _GRIDS[key] = response_grid(response, around, crystal_of(detector).curve, shape)
    return _GRIDS[key]


# Components whose betas are hard and many enough to be seen through a body; in a thorium source only those that may
# be in it.
_OF_THORIUM = ("Ra-228 part", "Th-228 part", "Ra-226 part")
_WITH_BETAS = (*_OF_THORIUM, RADON_PROGENY, "U-238 part", "K-40", "Lu-176")


@lru_cache(maxsize=8)
def _templates(
    grid: ResponseGrid, names: tuple[str, ...], sample: SampleDescription, detector: Detector
) -> ComponentTemplates:
    # Where the sample is not described, matter about the activity is one more unknown.
    depths = (0.0,) if sample.known else DEPTHS_G_CM2
    found = component_templates([lines_of(candidate(name)) for name in names], grid, depths)
    hard = _OF_THORIUM if sample.form == "source" else _WITH_BETAS
    betas = {name: beta_response(candidate(name).activities_bq, sample, detector) for name in hard}
    found = found.with_betas({name: beta_row(*of, grid) for name, of in betas.items() if of is not None})
    return found.joined(component_templates(list(room_parts()), grid))


def sample_templates(
    grid: ResponseGrid, sample: SampleDescription, detector: Detector, more: Sequence[str] = ()
) -> ComponentTemplates:
    """Templates of all candidates, of `more` by name, and of the room's parts."""
    names = [one.name for one in candidates()]
    names += [name for name in dict.fromkeys(candidate(name).name for name in more) if name not in names]
    return _templates(grid, tuple(names), sample, detector)
