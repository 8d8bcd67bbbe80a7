"""How much of all directions a crystal fills as seen from a source: what geometry alone is worth."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from truekev.sources.bodies import Stratum
from truekev.sources.escape import birthplaces
from truekev.sources.source import Body

__all__ = ["crystal_share", "share_of_second"]

Array = npt.NDArray[np.float64]


def crystal_share(strata: Sequence[Stratum], *, n: int = 20_000, seed: int = 1) -> float:
    """Mean share of 4 pi that the crystal fills, births spread evenly in the source's body.

    Nothing absorbs. A cylinder counts as the box of its length and the same face area, good to 2 %.
    """
    total = weight = 0.0
    for stratum in strata:
        size = stratum.setup.detector.size_mm
        if len(size) == 2:
            side = size[0] * math.sqrt(math.pi / 4)
            size = (side, side, size[1])
        places = birthplaces(stratum.setup.source, n, np.random.default_rng(seed))
        total += stratum.share * float(_solid_angle(places, size).mean())
        weight += stratum.share
    return total / weight / (4 * math.pi)


def share_of_second(body: Body, distance_mm: float, size_mm: tuple[float, float, float]) -> float:
    """Share of 4 pi that the crystal fills for a second photon, where a first one from the same place went into it.

    Places of the body weigh by their own share: it is the mean square over the mean. Discs count as squares of their
    area, rods side by side as a plate; a body without measures is a point. 0 for the surroundings.
    """
    if body.form == "surroundings":
        return 0.0
    if body.form == "rods":
        each, n = body.diameter_mm or 2.4, body.n_rods or 1
        bundled = body.arrangement == "bundled"
        width = each * (math.sqrt(n) if bundled else n)
        sides = (width, body.counted_length_mm or body.length_mm or 175.0, width if bundled else each)
    else:
        across = body.inner_diameter_mm if body.form == "vial" else body.diameter_mm
        depth = body.fill_height_mm if body.form == "vial" else body.length_mm
        side = (across or 0.0) * math.sqrt(math.pi) / 2
        sides = (side, side, depth or 0.0)
    x, y, z = ((np.arange(n) + 0.5) / n - 0.5 for n in (40, 40, 6))
    places = np.stack(np.meshgrid(x * sides[0], y * sides[1], -distance_mm - (z + 0.5) * sides[2]), axis=-1)
    share = _solid_angle(places.reshape(-1, 3), size_mm) / (4 * math.pi)
    return float((share**2).mean() / share.mean())


def _solid_angle(places: Array, size_mm: tuple[float, ...]) -> Array:
    """Solid angle of a box whose front face is centred at the origin, from places outside it: its faces in view."""
    low = np.array([-size_mm[0] / 2, -size_mm[1] / 2, 0.0])
    high = np.array([size_mm[0] / 2, size_mm[1] / 2, size_mm[2]])
    found = np.zeros(len(places))
    for axis in range(3):
        a, b = (i for i in range(3) if i != axis)
        # in view: the lower face from below it, the upper one from above it
        gap = np.maximum(low[axis] - places[:, axis], places[:, axis] - high[axis])
        seen = gap > 0
        depth = np.where(seen, gap, 1.0)
        corners = np.zeros(len(places))
        for x, one in ((high[a], 1.0), (low[a], -1.0)):
            for y, other in ((high[b], 1.0), (low[b], -1.0)):
                along, across = x - places[:, a], y - places[:, b]
                corners += one * other * np.arctan(along * across / (depth * np.sqrt(along**2 + across**2 + depth**2)))
        found += np.where(seen, corners, 0.0)
    return found
