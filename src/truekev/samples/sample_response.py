"""The response of a described sample in front of a detector, and what surroundings scatter back; both kept on disk."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from truekev.matter.materials import compound, material
from truekev.samples.sample_file import SampleDescription
from truekev.scale.predicted import source_betas
from truekev.sources.bodies import strata_of
from truekev.sources.source import Body, Source, SourceComponent
from truekev.transport.detector import Detector
from truekev.transport.node_response import detector_geometry
from truekev.transport.response import Accuracy
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import Part, Setup, SourceBody, point_source, slab
from truekev.transport.setup_response import RouteResponse, SetupResponse, born_response, setup_response
from truekev.transport.solids import Cylinder

__all__ = [
    "NODES_KEV",
    "SCATTER_NODES_KEV",
    "beta_response",
    "relative_u_of_distance",
    "sample_response",
    "sample_setups",
    "surroundings_response",
]

Progress = Callable[[float, str], None]

# Close where responses bend: the K edges of iodine and caesium, and where lines are.
NODES_KEV: tuple[float, ...] = (
    *(20.0, 25.0, 30.0, 32.9, 33.5, 35.7, 36.3, 40.0, 46.5, 53.0, 59.5, 68.0, 77.0, 90.0, 105.0, 122.0, 140.0, 160.0),
    *(186.0, 210.0, 239.0, 270.0, 300.0, 344.0, 390.0, 440.0, 511.0, 583.0, 662.0, 780.0, 911.0, 1050.0, 1173.0),
    *(1332.0, 1461.0, 1764.0, 2100.0, 2614.5, 3000.0),
)
SCATTER_NODES_KEV: tuple[float, ...] = (
    *(30.0, 45.0, 60.0, 80.0, 105.0, 140.0, 186.0, 239.0, 300.0, 400.0, 511.0, 662.0, 911.0, 1200.0, 1461.0, 1764.0),
    *(2200.0, 2614.5, 3000.0),
)
_HEAVY_EDGES_KEV = {74: 69.525, 90: 109.651, 92: 115.606, 82: 88.005}
_GAP_MM = 0.01
_BETA_U = 0.05
_MOST_HISTORIES = 1_500_000
_SLAB_DISTANCE_MM, _SLAB_MM = 25.0, (40.0, 240.0)


def _solid(sample: SampleDescription, front_mm: float) -> SourceBody:
    """A disc, cylinder or bag, its flat face (and wall) towards the detector."""
    assert sample.matter is not None
    wall = sample.wall_mm if sample.wall is not None else 0.0
    inside = Cylinder(sample.diameter_mm, sample.height_mm, (0.0, 0.0, -front_mm - wall - sample.height_mm / 2))
    parts = [Part(f"sample ({sample.matter.name})", inside, sample.matter)]
    if sample.wall is not None:
        outside = Cylinder(
            sample.diameter_mm + 2 * wall,
            sample.height_mm + 2 * wall,
            (0.0, 0.0, -front_mm - wall - sample.height_mm / 2),
        )
        parts.insert(0, Part(f"wall ({sample.wall.name})", outside, sample.wall))
    return SourceBody((inside,), (), tuple(parts))


def sample_setups(sample: SampleDescription, detector: Detector) -> list[tuple[float, Setup]]:
    """Share of the activity and setup, as `setup_response` takes them.

    Raises
    ------
    InputError
        Sizes that are missing or cannot be.
    """
    geometry = detector_geometry(detector)
    distance = sample.distance_mm.value
    if sample.form == "source":
        assert sample.body is not None
        source = Source(sample.name, "nuclides", (), sample.body, distance)
        return [(one.share, one.setup) for one in strata_of(source, detector)]
    front = geometry.front_mm + max(distance, _GAP_MM)
    if sample.form == "point":
        return [(1.0, Setup(geometry, point_source(front)))]
    body = _solid(sample, front)
    return [(1.0, Setup(geometry, body))]


def _nodes(setup: Setup) -> tuple[float, ...]:
    heavy = {z for part in setup.source.parts for z, _ in part.material.mass_fractions} & _HEAVY_EDGES_KEV.keys()
    edges = [times * _HEAVY_EDGES_KEV[z] for z in heavy for times in (0.996, 1.004)]
    return tuple(sorted({*NODES_KEV, *edges}))


def sample_response(
    sample: SampleDescription,
    detector: Detector,
    *,
    relative_u: float = 0.02,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> SetupResponse:
    """Response per photon born in the sample, at some forty energies; seconds the first time, then from disk."""
    setups = sample_setups(sample, detector)
    # Where next to nothing comes through, nothing is gained by histories without end.
    accuracy = Accuracy(relative_u, 60_000, _MOST_HISTORIES, 0.25)
    return setup_response(setups, _nodes(setups[0][1]), accuracy=accuracy, progress=progress, store=store)


def beta_response(
    activities_bq: Mapping[str, float], sample: SampleDescription, detector: Detector
) -> tuple[float, RouteResponse] | None:
    """Betas per second of some nuclides in a sample, and what each of them makes; None without betas or matter."""
    if sample.form == "point":
        return None
    component = SourceComponent("betas", activities_bq)
    betas_per_s, birth = source_betas(Source(sample.name, "nuclides", (component,), Body("disc"), 0.0))
    if birth is None:
        return None
    return betas_per_s, born_response(sample_setups(sample, detector), birth, relative_u=_BETA_U)


def surroundings_response(
    detector: Detector, *, progress: Progress | None = None, store: ResponseStore | None = None
) -> SetupResponse:
    """A point before a thick wide slab of light matter: the shape of what surroundings scatter back.

    The slab is drawn at a quarter of its size with four times its density, so that more of what it scatters is caught.
    """
    geometry = detector_geometry(detector)
    front = geometry.front_mm + _SLAB_DISTANCE_MM
    wood = compound("C6H9O4", 4 * material("wood").density_g_cm3, "dense wood")
    thickness, width = _SLAB_MM
    behind = slab("stand", wood, -front - 0.1 - thickness, thickness, width)
    setup = Setup(geometry, point_source(front), (behind,))
    accuracy = Accuracy(0.02, 120_000, 120_000, 8.0)
    return setup_response([(1.0, setup)], SCATTER_NODES_KEV, accuracy=accuracy, progress=progress, store=store)


def relative_u_of_distance(sample: SampleDescription, detector: Detector) -> float:
    """What the distance leaves open of the efficiency, by the inverse square of the way to the crystal's middle."""
    to_middle = sample.distance_mm.value + detector.window_mm + 0.5 * detector.size_mm[2]
    reach = math.hypot(to_middle, 0.35 * sample.diameter_mm, 0.0) + 0.35 * sample.height_mm
    return 2.0 * sample.distance_mm.u / reach
