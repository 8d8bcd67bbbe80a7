"""What a small count stands in: matter behind the source and the crystal that scatters photons into it.

Nobody describes stand, table and walls. A fit can still follow them: the shape of what they scatter is nearly that
of a few slabs of light matter, and only the strengths are unknown. Slabs are drawn at a quarter of their size with
four times their density: what they scatter is the same, and a crystal that looks larger catches more of it.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from truekev.matter.materials import compound, material
from truekev.transport.detector import Detector
from truekev.transport.node_response import detector_geometry
from truekev.transport.response import Accuracy
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import Part, Setup, point_source, slab
from truekev.transport.setup_response import RouteResponse, setup_response
from truekev.transport.solids import Box

__all__ = ["SCATTER_NODES_KEV", "Scatter", "scatter_from_bytes", "scatter_responses", "scatter_to_bytes"]

Progress = Callable[[float, str], None]

_SHRUNK = 4.0
_NEAR_MM = 25.0
_FAR_MM = 100.0
SCATTER_NODES_KEV: tuple[float, ...] = (
    *(30.0, 45.0, 60.0, 80.0, 105.0, 122.0, 150.0, 186.0, 239.0, 295.0, 350.0, 420.0, 511.0, 583.0, 662.0, 780.0),
    *(911.0, 1100.0, 1250.0, 1410.0, 1600.0, 1764.0, 2100.0, 2614.5, 2950.0),
)


@dataclass(frozen=True, eq=False)
class Scatter:
    """Photons that came scattered, by where: a response of that part alone.

    Parameters
    ----------
    name : str
    response : RouteResponse
        Per photon born.
    direct_peak_662 : float
        Full-energy peak at 661.655 keV of the same count, per photon born: what a strength is measured against.
    """

    name: str
    response: RouteResponse
    direct_peak_662: float


def _places(detector: Detector) -> Mapping[str, tuple[float, tuple[Part, ...]]]:
    """Slabs by place, with the distance of the source [mm]."""
    acrylic = compound("C5H8O2", _SHRUNK * 1.19, "dense acrylic")
    wood = compound("C6H9O4", _SHRUNK * 0.6, "dense wood")
    depth = detector.size_mm[2]
    side = max(detector.size_mm[:2])
    source_z = -detector.window_mm - _NEAR_MM
    table = Part("table", Box((150.0, 10.0, 150.0), (0.0, -0.5 * side - 10.0, -15.0)), wood)
    return {
        "behind the source": (_NEAR_MM, (slab("stand", acrylic, source_z - 7.6, 7.5, 75.0),)),
        "under both": (_NEAR_MM, (table,)),
        "behind the crystal": (_FAR_MM, (slab("cell", material("lithium cell"), depth + 2.0, 10.0, 60.0),)),
    }


def scatter_responses(
    detector: Detector,
    *,
    histories: int = 600_000,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> tuple[Scatter, ...]:
    """Run the Monte Carlo at the nodes for every place (or take it from the user's cache).

    Parameters
    ----------
    detector
        Crystal and window.
    histories
        For each node and place; they are aimed mostly at what scatters.
    seed, executor, progress, store
        As in `transport.response.responses`.
    """
    geometry = detector_geometry(detector)
    places = _places(detector)
    found = []
    for number, (place, (distance_mm, parts)) in enumerate(places.items()):

        def tell(done: float, what: str, number: int = number) -> None:
            if progress is not None:
                progress((number + done) / len(places), what)

        setup = Setup(geometry, point_source(detector.window_mm + distance_mm), parts)
        accuracy = Accuracy(0.01, histories, histories, 8.0)
        response = setup_response(
            [(1.0, setup)],
            SCATTER_NODES_KEV,
            accuracy=accuracy,
            seed=seed,
            executor=executor,
            progress=tell,
            store=store,
        )
        peak = float(response.peak.full_energy(661.655))
        found.append(Scatter(f"scattered back, {place}", response.of("back"), peak))
        if place != "behind the source":
            found.append(Scatter(f"scattered forward, {place}", response.of("forward"), peak))
    return tuple(found)


def scatter_to_bytes(scatter: tuple[Scatter, ...]) -> bytes:
    """The responses as a compressed numpy archive."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        names=np.array([one.name for one in scatter]),
        routes=np.array([one.response.route for one in scatter]),
        direct_peak_662=np.array([one.direct_peak_662 for one in scatter]),
        nodes_kev=scatter[0].response.nodes_kev,
        continuum=np.array([one.response.continuum for one in scatter], dtype=np.float32),
        continuum_d_kev=np.array([one.response.continuum_d_kev for one in scatter], dtype=np.float32),
    )
    return buffer.getvalue()


def scatter_from_bytes(data: bytes) -> tuple[Scatter, ...]:
    """The responses from what `scatter_to_bytes` made."""
    with np.load(io.BytesIO(data), allow_pickle=False) as archive:
        nodes = np.asarray(archive["nodes_kev"], dtype=np.float64)
        nothing = np.zeros(nodes.size)
        rows = zip(
            archive["names"],
            archive["routes"],
            archive["direct_peak_662"],
            archive["continuum"].astype(np.float64),
            archive["continuum_d_kev"].astype(np.float64),
            strict=True,
        )
        return tuple(
            Scatter(
                str(name),
                RouteResponse(nodes, nothing, nothing, nothing, nothing, continuum, with_d, route=str(route)),
                float(peak),
            )
            for name, route, peak, continuum, with_d in rows
        )
