"""The response of one detector at any photon energy, from Monte Carlo runs at chosen energies.

Full-energy peaks are interpolated in log-log; the continuum between two nodes is stretched so that its
marks (double and single escape, Compton edge, X-ray escape, full energy) fall where they belong.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from truekev.transport.detector import Detector
from truekev.transport.response import Accuracy, line_responses
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import DetectorGeometry, Layer, Setup, point_source

__all__ = ["NODES_KEV", "STEP_KEV", "NodeResponse", "detector_geometry", "from_bytes", "node_response", "to_bytes"]

Array = npt.NDArray[np.float64]

STEP_KEV = 4.0
_TOP_KEV = 3200.0
_MC2_KEV = 510.998950
_SOURCE_MM = 15.0
# Close where the response bends: around the K edges of iodine and caesium, and where lines are.
NODES_KEV: tuple[float, ...] = (
    *(16.0, 20.0, 25.0, 30.0, 32.9, 33.5, 35.7, 36.3, 40.0, 45.0, 50.0, 59.5, 68.0, 77.0, 90.0, 105.0, 122.0, 140.0),
    *(160.0, 186.0, 210.0, 239.0, 270.0, 300.0, 340.0, 380.0, 430.0, 480.0, 511.0, 550.0, 583.0, 620.0, 662.0),
    *(720.0, 780.0, 850.0, 911.0, 969.0, 1050.0, 1173.0, 1275.0, 1332.0, 1408.0, 1461.0, 1600.0, 1764.0, 1900.0),
    *(2100.0, 2300.0, 2500.0, 2614.5, 2800.0, 3000.0),
)


@dataclass(frozen=True, eq=False)
class NodeResponse:
    """Response at the nodes, per photon towards the crystal's front from a point 15 mm away.

    Parameters
    ----------
    nodes_kev : ndarray, shape (n,)
    peak, u_peak : ndarray, shape (n,)
        Full-energy peak per photon born, and its statistical uncertainty.
    peak_d_kev, peak_var_d_kev2 : ndarray, shape (n,)
        Mean and variance of D of fully absorbed photons.
    continuum : ndarray, shape (n, m)
        Probability per photon in bins of 4 keV of deposited energy, the full-energy peak left out.
    continuum_d_kev : ndarray, shape (n, m)
        Mean of D in each bin.
    """

    nodes_kev: Array
    peak: Array
    u_peak: Array
    peak_d_kev: Array
    peak_var_d_kev2: Array
    continuum: Array
    continuum_d_kev: Array

    @property
    def bin_edges_kev(self) -> Array:
        """Edges of the bins of deposited energy."""
        return STEP_KEV * np.arange(self.continuum.shape[1] + 1, dtype=np.float64)

    def full_energy(self, energy_kev: npt.ArrayLike) -> Array:
        """Full-energy peak probability."""
        log_energy = np.log(np.asarray(energy_kev, float))
        return np.asarray(np.exp(np.interp(log_energy, np.log(self.nodes_kev), np.log(np.maximum(self.peak, 1e-12)))))

    def variance_d_kev2(self, energy_kev: npt.ArrayLike) -> Array:
        """Variance of D of fully absorbed photons [keV2]."""
        return np.asarray(np.interp(np.asarray(energy_kev, float), self.nodes_kev, self.peak_var_d_kev2))

    @cached_property
    def _cumulative(self) -> tuple[Array, Array]:
        probability = np.concatenate((np.zeros((self.nodes_kev.size, 1)), np.cumsum(self.continuum, axis=1)), axis=1)
        weighted = np.cumsum(self.continuum * self.continuum_d_kev, axis=1)
        return probability, np.concatenate((np.zeros((self.nodes_kev.size, 1)), weighted), axis=1)

    def marks(self, energy_kev: float, other_kev: float) -> Array:
        """Deposited energies of one photon energy that mean the same at another; both calls return as many."""
        return _marks(energy_kev, other_kev)

    def deposits(self, energy_kev: float) -> tuple[Array, Array]:
        """Continuum of one energy: probability per bin, and probability times mean D per bin."""
        clipped = float(np.clip(energy_kev, self.nodes_kev[0], self.nodes_kev[-1]))
        low = int(np.clip(np.searchsorted(self.nodes_kev, clipped) - 1, 0, self.nodes_kev.size - 2))
        first, second = float(self.nodes_kev[low]), float(self.nodes_kev[low + 1])
        share = (np.log(clipped) - np.log(first)) / (np.log(second) - np.log(first))
        edges = self.bin_edges_kev
        probability, weighted = np.zeros(edges.size - 1), np.zeros(edges.size - 1)
        for node, part in ((low, 1.0 - share), (low + 1, share)):
            here = float(self.nodes_kev[node])
            # X-ray escape exists on one side of an edge only, so it is marked where both have it.
            at = np.interp(edges, self.marks(clipped, here), self.marks(here, clipped))
            cumulative, cumulative_d = self._cumulative
            probability += part * np.diff(np.interp(at, edges, cumulative[node]))
            weighted += part * np.diff(np.interp(at, edges, cumulative_d[node])) * clipped / here
        return probability, weighted


def _marks(energy_kev: float, other_kev: float) -> Array:
    """Deposited energies that mean the same at two photon energies; both calls return as many."""
    both = min(energy_kev, other_kev)
    alpha = energy_kev / _MC2_KEV
    edge = energy_kev * 2.0 * alpha / (1.0 + 2.0 * alpha)
    marks = [0.0]
    if both > 2.0 * _MC2_KEV + 60.0:
        marks += [energy_kev - 2.0 * _MC2_KEV, energy_kev - _MC2_KEV]
    if both < 150.0:
        if both > 40.0:
            marks.append(energy_kev - 38.0)
    else:
        marks.append(edge)
    marks += [energy_kev, energy_kev + 1.0, _TOP_KEV + 100.0]
    return np.array(marks)


def detector_geometry(detector: Detector) -> DetectorGeometry:
    """The described detector as the transport sees it."""
    layers = (Layer(detector.window, detector.window_mm),) if detector.window_mm > 0 else ()
    size = detector.size_mm if detector.shape == "box" else (detector.size_mm[0], detector.size_mm[2])
    return DetectorGeometry(detector.scintillator, size, layers)


def node_response(
    detector: Detector,
    *,
    relative_u: float = 0.02,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Callable[[float, str], None] | None = None,
    store: ResponseStore | None = None,
) -> NodeResponse:
    """Run the Monte Carlo at all nodes (or take it from the user's cache).

    Parameters
    ----------
    detector
        Crystal and window.
    relative_u
        Statistical uncertainty wanted in each full-energy peak.
    seed, executor, progress, store
        As in `transport.response.responses`.
    """
    setup = Setup(detector_geometry(detector), point_source(max(_SOURCE_MM, detector.window_mm + 1.0)))
    accuracy = Accuracy(relative_u=relative_u, min_histories=200_000, max_histories=8_000_000, elsewhere_share=0.0)
    runs = line_responses(
        setup, NODES_KEV, accuracy=accuracy, seed=seed, executor=executor, progress=progress, store=store
    )
    n_bins = int(_TOP_KEV / STEP_KEV)
    per_bin = int(STEP_KEV)
    continuum = np.zeros((len(runs), n_bins))
    mean_d = np.zeros((len(runs), n_bins))
    for row, run in enumerate(runs):
        fine, fine_d = run.probability(), run.mean_d_kev()
        padded, padded_d = np.zeros(n_bins * per_bin), np.zeros(n_bins * per_bin)
        kept = min(fine.size, padded.size)
        padded[:kept], padded_d[:kept] = fine[:kept], (fine * fine_d)[:kept]
        continuum[row] = padded.reshape(n_bins, per_bin).sum(axis=1)
        weighted = padded_d.reshape(n_bins, per_bin).sum(axis=1)
        mean_d[row] = np.divide(weighted, continuum[row], out=np.zeros(n_bins), where=continuum[row] > 0)
    peaks = [run.peak_efficiency for run in runs]
    return NodeResponse(
        np.array(NODES_KEV),
        np.array([peak.value for peak in peaks]),
        np.array([peak.u for peak in peaks]),
        np.array([run.peak_mean_d_kev for run in runs]),
        np.array([run.peak_variance_d_kev2 for run in runs]),
        continuum,
        mean_d,
    )


def to_bytes(response: NodeResponse) -> bytes:
    """The response as a compressed numpy archive."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        nodes_kev=response.nodes_kev,
        peak=response.peak,
        u_peak=response.u_peak,
        peak_d_kev=response.peak_d_kev,
        peak_var_d_kev2=response.peak_var_d_kev2,
        continuum=response.continuum.astype(np.float32),
        continuum_d_kev=response.continuum_d_kev.astype(np.float32),
    )
    return buffer.getvalue()


def from_bytes(data: bytes) -> NodeResponse:
    """The response from what `to_bytes` made."""
    with np.load(io.BytesIO(data), allow_pickle=False) as archive:
        arrays = {name: np.asarray(archive[name], dtype=np.float64) for name in archive.files}
    return NodeResponse(**arrays)
