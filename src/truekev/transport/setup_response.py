"""The response of a whole count (source body, detector, surroundings) at any photon energy, the routes kept apart.

Monte Carlo runs at node energies that the source's lines choose; between nodes as `node_response` does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.matter.elements import shells
from truekev.transport.node_response import STEP_KEV, NodeResponse
from truekev.transport.response import ROUTES, Accuracy, Birth, Response, line_responses, responses
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import Setup

__all__ = ["RouteResponse", "SetupResponse", "born_response", "node_energies", "setup_response"]

Array = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

_TOP_KEV = 3200.0
_MC2_KEV = 510.998950
_STRONG = 0.02  # of the strongest line
_JOIN, _STEP = 1.025, 1.45
_HEAVY_Z = 50
# Strata beyond the first bring few counts: this much less accurate, and where next to nothing comes from there, as soft
# photons from the far ends of rods, no longer than this.
_FAR_TIMES, _FAR_LEAST, _FAR_MOST = 2.5, 40_000, 1_000_000


@dataclass(frozen=True, eq=False)
class RouteResponse(NodeResponse):
    """The part of a response that came by one route: deposits per particle born, into 4 pi.

    `route` is one of `response.ROUTES`; "secondary" and "born" (particles that are no photons) do not move with energy.
    """

    route: str = "direct"

    def marks(self, energy_kev: float, other_kev: float) -> Array:
        """As of `NodeResponse`, for this route."""
        if self.route == "direct":
            return super().marks(energy_kev, other_kev)
        if self.route == "back":
            middle = [energy_kev / (1.0 + 2.0 * energy_kev / _MC2_KEV)]
        elif self.route == "forward":
            middle = [energy_kev / (1.0 + energy_kev / _MC2_KEV)]
        else:
            return np.array([0.0, _TOP_KEV])
        return np.array([0.0, *middle, energy_kev, energy_kev + 1.0, _TOP_KEV + 100.0])


@dataclass(frozen=True, eq=False)
class SetupResponse:
    """Responses of a count by route, at the same nodes.

    Parameters
    ----------
    routes : tuple of RouteResponse
        In the order of `response.ROUTES`; the full-energy peak stands with the direct one.
    n_histories : int
        Histories behind it.
    """

    routes: tuple[RouteResponse, ...]
    n_histories: int

    def of(self, route: str) -> RouteResponse:
        """The response of one route."""
        return self.routes[ROUTES.index(route)]

    @property
    def peak(self) -> RouteResponse:
        """The route that holds the full-energy peaks."""
        return self.routes[0]


def node_energies(line_kev: npt.ArrayLike, rate: npt.ArrayLike, setup: Setup) -> tuple[float, ...]:
    """Energies [keV] to run for these lines and their rates.

    Every line of at least 2 % of the strongest one lies within 2.5 % of a node (the strongest of its neighbours is the
    node); gaps with weaker lines in them are filled to a ratio of 1.45; K edges of heavy matter in
    the source get a node on both sides.
    """
    energy, weight = np.asarray(line_kev, float), np.asarray(rate, float)
    strong = sorted(np.flatnonzero(weight >= _STRONG * weight.max()), key=lambda i: -weight[i])
    nodes: list[float] = []
    for i in strong:
        if all(not 1 / _JOIN < energy[i] / node < _JOIN for node in nodes):
            nodes.append(float(energy[i]))
    for part in setup.source.parts:
        for z, _ in part.material.mass_fractions:
            edge = shells(z)[0].edge_kev
            if z >= _HEAVY_Z and np.any(np.abs(np.log(energy / edge)) < 0.25):
                nodes += [0.996 * edge, 1.004 * edge]
    nodes += [float(energy.min()), float(energy.max())]
    ends = sorted(set(nodes))
    if len(ends) == 1:
        ends = [0.98 * ends[0], ends[0]]
    full = [ends[0]]
    for node in ends[1:]:
        if not np.any((energy > 1.001 * full[-1]) & (energy < 0.999 * node)):
            full.append(node)
            continue
        n = int(np.ceil(np.log(node / full[-1]) / np.log(_STEP)))
        full += np.geomspace(full[-1], node, n + 1)[1:].tolist()
    return tuple(round(float(node), 3) for node in full)


def _binned(run: Response, route: str) -> tuple[Array, Array]:
    """Probability, and probability times mean D, in bins of 4 keV."""
    n_bins, per_bin = int(_TOP_KEV / STEP_KEV), int(STEP_KEV)
    sums = np.zeros((2, n_bins * per_bin))
    histogram = run.histogram[ROUTES.index(route)]
    kept = min(len(histogram), sums.shape[1])
    sums[:, :kept] = histogram[:kept, [0, 2]].T
    probability, weighted = sums.reshape(2, n_bins, per_bin).sum(axis=2)
    return probability, weighted


def setup_response(
    strata: Sequence[tuple[float, Setup]],
    nodes_kev: Sequence[float],
    *,
    relative_u: float = 0.01,
    accuracy: Accuracy | None = None,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> SetupResponse:
    """Run the Monte Carlo at the nodes for every stratum and add them up by share.

    Parameters
    ----------
    strata
        Share of the activity, and the setup it is born in; the first is the one that counts most.
    nodes_kev
        Photon energies, rising.
    relative_u
        Wanted in each full-energy peak of the first stratum; the others are run 2.5 times less accurately, with at
        most a million histories a node. `u_peak` of the result counts both.
    accuracy
        In place of that, for all strata: where scattering from afar matters more than the peak.
    seed, executor, progress, store
        As in `transport.response.responses`.
    """
    first = Accuracy(relative_u, 100_000, 16_000_000, 0.25)
    far = Accuracy(min(_FAR_TIMES * relative_u, 0.5), _FAR_LEAST, _FAR_MOST, first.elsewhere_share)
    runs: list[tuple[float, tuple[Response, ...]]] = []
    for i, (share, setup) in enumerate(strata):

        def tell(done: float, what: str, i: int = i) -> None:
            if progress is not None:
                progress((i + done) / len(strata), what)

        wanted = accuracy or (far if i else first)
        found = line_responses(
            setup, nodes_kev, accuracy=wanted, seed=seed, executor=executor, progress=tell, store=store
        )
        runs.append((share, found))
    return _added(runs, np.array(nodes_kev))


def _added(runs: Sequence[tuple[float, tuple[Response, ...]]], nodes: Array) -> SetupResponse:
    n, n_bins = nodes.size, int(_TOP_KEV / STEP_KEV)
    peak, variance = np.zeros((n, 4)), np.zeros(n)
    continua = np.zeros((len(ROUTES), 2, n, n_bins))
    for share, found in runs:
        for row, run in enumerate(found):
            sums = run.peak.sum(axis=0)
            peak[row] += share * sums
            variance[row] += share**2 * sums[1]
            for r, route in enumerate(ROUTES):
                continua[r, :, row] += share * np.array(_binned(run, route))
    some = np.maximum(peak[:, 0], 1e-300)
    mean_d = peak[:, 2] / some
    var_d = np.maximum(peak[:, 3] / some - mean_d**2, 0.0)
    routes = []
    for r, route in enumerate(ROUTES):
        probability, weighted = continua[r]
        d = np.divide(weighted, probability, out=np.zeros_like(weighted), where=probability > 0)
        direct = float(r == 0)
        routes.append(
            RouteResponse(
                nodes, direct * peak[:, 0], direct * np.sqrt(variance), mean_d, var_d, probability, d, route=route
            )
        )
    return SetupResponse(tuple(routes), sum(run.n_histories for _, found in runs for run in found))


def born_response(
    strata: Sequence[tuple[float, Setup]],
    birth: Birth,
    *,
    relative_u: float = 0.02,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> RouteResponse:
    """Deposits per particle of a spectrum, as betas are: bremsstrahlung and what of the particles comes through.

    Its energy is that of the spectrum; `deposits` gives the same whatever energy is asked for.
    """
    n_bins = int(_TOP_KEV / STEP_KEV)
    total = np.zeros((2, n_bins))
    for i, (share, setup) in enumerate(strata):
        accuracy = Accuracy(relative_u, 100_000, 4_000_000)
        if i:
            accuracy = Accuracy(min(_FAR_TIMES * relative_u, 0.5), 100_000, _FAR_MOST)
        run = responses(
            setup, [birth], accuracy=accuracy, seed=seed, executor=executor, progress=progress, store=store
        )[0]
        for route in ROUTES:
            total += share * np.array(_binned(run, route))
    d = np.divide(total[1], total[0], out=np.zeros(n_bins), where=total[0] > 0)
    twice = np.ones(2)
    nodes = np.array([100.0, 200.0])
    return RouteResponse(
        nodes, 0 * twice, 0 * twice, 0 * twice, 0 * twice, np.vstack([total[0]] * 2), np.vstack([d] * 2), route="born"
    )
