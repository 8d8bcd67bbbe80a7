"""The fitted model per channel of the instrument, part by part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.whole.bins import BinnedSpectrum, pile_up_of
from truekev.scale.whole.fit import FittedWhole
from truekev.scale.whole.model import design_of
from truekev.scale.whole.parts import ForwardParts

__all__ = ["PILE_UP", "model_by_channel"]

Array = npt.NDArray[np.float64]

PILE_UP = "pile-up"


def model_by_channel(
    counted: CountedSpectrum, fitted: FittedWhole, parts: ForwardParts, shape: Array
) -> tuple[tuple[str, ...], Array]:
    """Names of the parts, and their counts in every channel, shape (k, n)."""
    n = counted.counts.size
    edges = np.arange(n + 1, dtype=np.float64) - 0.5
    room = counted.background
    if room is not None:
        room = room.at_gain(fitted.room_gain, fitted.pulse.c0)
    first, last = float(fitted.edges[0]), float(fitted.edges[-1])
    pile_up = pile_up_of(counted.counts, fitted.pulse, n - 1)
    inside = (edges[:-1] > first - 0.5) & (edges[1:] < last + 0.5)
    pile_up = pile_up / max(float(pile_up[inside].sum()), 1e-300)
    design = design_of(replace(BinnedSpectrum.bare(edges), pile_up=pile_up), parts, shape, fitted.log_gain)
    columns = np.column_stack([design.columns[:, :-1], room.counts if room else np.zeros(n)])
    names = (*parts.names, PILE_UP, "measured background")
    return names, np.asarray((columns * fitted.strengths).T, dtype=np.float64)
