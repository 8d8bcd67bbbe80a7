"""Response of a detector to lines and spectra born in a source: deposited energy and light, by the way they came.

All figures are per particle born, into 4 pi.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from os import cpu_count
from typing import Literal

import numpy as np

from truekev.errors import InputError, OutOfRangeError, TruekevError
from truekev.quantity import Measured
from truekev.transport.compiled import Array
from truekev.transport.electron_tracks import ELECTRON, PHOTON, POSITRON
from truekev.transport.histories import ANYWHERE, AT_CRYSTAL, ELSEWHERE, run_block
from truekev.transport.response_store import ResponseStore, response_key
from truekev.transport.setup import Setup, packed

__all__ = ["ROUTES", "Accuracy", "Birth", "Response", "line_responses", "responses"]

# How the particle came to the crystal: with its own energy; Compton scattered forward or backward; made on the way, as
# X-rays, annihilation, bremsstrahlung and electrons are.
ROUTES = ("direct", "forward", "back", "secondary")
MIN_KEV, MAX_KEV = 5.0, 3200.0
BIN_KEV = 1.0
_BLOCK = 1 << 14
_BLOCKS_PER_TASK = 16
_KINDS = {"photon": PHOTON, "electron": ELECTRON, "positron": POSITRON}
_AIMS = (AT_CRYSTAL, ELSEWHERE)
Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Birth:
    """What is born: a kind of particle with one energy [keV], or a spectrum as equally probable quantiles [keV]."""

    kind: Literal["photon", "electron", "positron"]
    quantiles_kev: tuple[float, ...]

    def __post_init__(self) -> None:
        low, high = min(self.quantiles_kev, default=0.0), max(self.quantiles_kev, default=0.0)
        lowest = MIN_KEV if len(self.quantiles_kev) == 1 else 0.0
        if not (lowest <= low and high <= MAX_KEV):
            raise OutOfRangeError(
                f"{self.kind} energy {low:g} to {high:g} keV: the transport reaches from {MIN_KEV:g} to "
                f"{MAX_KEV:g} keV."
            )
        if list(self.quantiles_kev) != sorted(self.quantiles_kev):
            raise InputError(f"{self.kind}: the quantiles of its spectrum must rise.")

    @classmethod
    def line(cls, energy_kev: float) -> Birth:
        """A photon line."""
        return cls("photon", (float(energy_kev),))

    @property
    def top_kev(self) -> float:
        """Highest energy [keV]."""
        return self.quantiles_kev[-1]


@dataclass(frozen=True)
class Accuracy:
    """How long to run: to `relative_u` of the full-energy peak (of all hits for a spectrum), within these numbers of
    histories at the crystal; `elsewhere_share` of them again is spent on other directions, for scattering.
    """

    relative_u: float = 0.01
    min_histories: int = 200_000
    max_histories: int = 8_000_000
    elsewhere_share: float = 0.5

    def __post_init__(self) -> None:
        if not 1e-4 <= self.relative_u <= 0.5:
            raise OutOfRangeError(f"relative uncertainty {self.relative_u:g} must lie between 0.0001 and 0.5.")
        if not 0 < self.min_histories <= self.max_histories:
            raise OutOfRangeError(
                f"histories from {self.min_histories} to {self.max_histories}: the first must be positive and not "
                "above the second."
            )
        if not 0 <= self.elsewhere_share <= 10:
            raise OutOfRangeError(f"share of other directions {self.elsewhere_share:g} must lie between 0 and 10.")


@dataclass(frozen=True, eq=False)
class Response:
    """Deposited energy from one birth.

    Attributes
    ----------
    birth
        What was born.
    histogram : shape (routes, bins, 4)
        Without the full-energy peak, bins of 1 keV from 0: probability, its variance, probability times mean D, times
        mean D squared (D in keV, the sum of E (eta - 1) over the electrons).
    peak, hits : shape (routes, 4)
        The same for deposits within max(1 keV, 0.2 %) of the line's energy, and for all deposits.
    n_histories
        Histories run.
    """

    birth: Birth
    histogram: Array
    peak: Array
    hits: Array
    n_histories: int

    @property
    def bin_edges_kev(self) -> Array:
        """Edges of the bins of deposited energy [keV]."""
        return BIN_KEV * np.arange(self.histogram.shape[1] + 1)

    def probability(self, route: str | None = None) -> Array:
        """Probability per bin, of one route or of all, without the full-energy peak."""
        return np.asarray(self._routes(self.histogram, route)[:, 0])

    def u_probability(self, route: str | None = None) -> Array:
        """Standard uncertainty of `probability`."""
        return np.sqrt(self._routes(self.histogram, route)[:, 1])

    def mean_d_kev(self, route: str | None = None) -> Array:
        """Mean of D in each bin [keV]; 0 where nothing fell."""
        sums = self._routes(self.histogram, route)
        return np.divide(sums[:, 2], sums[:, 0], out=np.zeros(len(sums)), where=sums[:, 0] > 0)

    def variance_d_kev2(self, route: str | None = None) -> Array:
        """Variance of D in each bin [keV2]; 0 where nothing fell."""
        sums = self._routes(self.histogram, route)
        square = np.divide(sums[:, 3], sums[:, 0], out=np.zeros(len(sums)), where=sums[:, 0] > 0)
        return np.maximum(square - self.mean_d_kev(route) ** 2, 0.0)

    @staticmethod
    def _routes(array: Array, route: str | None) -> Array:
        return np.asarray(array.sum(axis=0) if route is None else array[ROUTES.index(route)])

    @property
    def peak_efficiency(self) -> Measured:
        """Full-energy peak per particle born; u counts statistics only."""
        return Measured(float(self.peak[:, 0].sum()), math.sqrt(self.peak[:, 1].sum()))

    @property
    def total_efficiency(self) -> Measured:
        """Any deposit per particle born; u counts statistics only."""
        return Measured(float(self.hits[:, 0].sum()), math.sqrt(self.hits[:, 1].sum()))

    @property
    def peak_mean_d_kev(self) -> float:
        """Mean of D in the full-energy peak [keV]; 0 without a peak."""
        p = self.peak.sum(axis=0)
        return float(p[2] / p[0]) if p[0] > 0 else 0.0

    @property
    def peak_variance_d_kev2(self) -> float:
        """Variance of D in the full-energy peak [keV2]."""
        p = self.peak.sum(axis=0)
        return max(float(p[3] / p[0]) - self.peak_mean_d_kev**2, 0.0) if p[0] > 0 else 0.0


Sums = tuple[Array, Array, Array]


def run_task(setup: Setup, birth: Birth, aim: int, seed: int, first_block: int, n_blocks: int) -> Sums:
    """Sums over some blocks of histories: what an executor is given to do (a plain function, can be pickled)."""
    p = packed(setup)
    quantiles = np.array(birth.quantiles_kev)
    n_bins = int(birth.top_kev / BIN_KEV) + 2
    tolerance = max(1.0, 0.002 * birth.top_kev) if len(quantiles) == 1 and birth.kind == "photon" else 0.0
    total: Sums | None = None
    for block in range(first_block, first_block + n_blocks):
        histogram, peak, hits, imbalance_kev = run_block(
            seed,
            block * 4 + aim,
            _BLOCK,
            _KINDS[birth.kind],
            quantiles,
            p.sources,
            aim,
            p.target,
            p.bodies,
            p.nest,
            p.materials,
            p.reach,
            p.photons,
            p.electrons,
            BIN_KEV,
            n_bins,
            tolerance,
        )
        if not imbalance_kev < 1e-6:
            raise TruekevError(
                f"the transport lost {imbalance_kev:g} keV in a history (seed {seed}, block {block}, {birth.kind} of "
                f"{birth.top_kev:g} keV): a fault of this program; please report it with the detector and source."
            )
        if total is None:
            total = (histogram, peak, hits)
        else:
            for mine, new in zip(total, (histogram, peak, hits), strict=True):
                mine += new
    assert total is not None
    return total


@dataclass
class _Run:
    """A birth under way: per aim the sums and blocks so far, and the tasks that will add to them in order."""

    birth: Birth
    sums: dict[int, list[Array]]
    n_blocks: dict[int, int]
    tasks: list[tuple[int, int, Future[Sums]]]

    def submit(self, pool: Executor, setup: Setup, seed: int, aim: int, n_blocks: int) -> None:
        start = self.n_blocks[aim]
        for first in range(start, start + n_blocks, _BLOCKS_PER_TASK):
            n = min(_BLOCKS_PER_TASK, start + n_blocks - first)
            self.tasks.append((aim, n, pool.submit(run_task, setup, self.birth, aim, seed, first, n)))
        self.n_blocks[aim] += n_blocks

    def gather(self, done: Callable[[int], None]) -> None:
        for aim, n, future in self.tasks:
            result = future.result()
            if aim not in self.sums:
                self.sums[aim] = list(result)
            else:
                for mine, new in zip(self.sums[aim], result, strict=True):
                    mine += new
            done(n)
        self.tasks.clear()

    def response(self) -> Response:
        arrays = [np.zeros_like(a) for a in next(iter(self.sums.values()))]
        for aim, sums in self.sums.items():
            n = self.n_blocks[aim] * _BLOCK
            scale = np.array([1 / n, 1 / n**2, 1 / n, 1 / n])
            for mine, new in zip(arrays, sums, strict=True):
                mine += new * scale
        histogram, peak, hits = arrays
        return Response(self.birth, histogram, peak, hits, sum(self.n_blocks.values()) * _BLOCK)


def _blocks(histories: float) -> int:
    return max(1, math.ceil(histories / _BLOCK))


def responses(
    setup: Setup,
    births: Sequence[Birth],
    *,
    accuracy: Accuracy | None = None,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> tuple[Response, ...]:
    """The response of the setup to each birth, from the store or by running the engine.

    Parameters
    ----------
    setup, births
        The count and what is born in its source.
    accuracy
        When to stop; by default 1 % of each full-energy peak.
    seed
        The same seed gives the same bits, whatever the executor and its number of workers.
    executor
        Any `concurrent.futures.Executor`; by default threads, one per core.
    progress
        Called with the fraction done and what is being done.
    store
        Where results are kept; by default the user's cache folder.

    Notes
    -----
    A first share of the histories shows how many are needed; the rest follows. On an interrupt the tasks that wait are
    cancelled, those that run end within a second, and every finished response is already in the store.
    """
    accuracy = accuracy or Accuracy()
    store = store or ResponseStore()
    keys = [response_key(setup, birth, accuracy, seed, BIN_KEV, _BLOCK) for birth in births]
    found: dict[str, Response] = {}
    runs: dict[str, _Run] = {}
    for key, birth in zip(keys, births, strict=True):
        if key in found or key in runs:
            continue
        kept = store.get(key)
        if kept is not None:
            found[key] = Response(
                birth, kept["histogram"], kept["peak"], kept["hits"], n_histories=int(kept["n_histories"][0])
            )
        else:
            runs[key] = _Run(birth, {}, {aim: 0 for aim in (*_AIMS, ANYWHERE)}, [])
    if runs:
        own = None if executor is not None else ThreadPoolExecutor(max_workers=cpu_count() or 1)
        pool = executor or own
        assert pool is not None
        try:
            _run_all(setup, runs, found, accuracy, seed, pool, progress, store)
        finally:
            for run in runs.values():
                for _, _, future in run.tasks:
                    future.cancel()
            if own is not None:
                own.shutdown(wait=True, cancel_futures=True)
    return tuple(found[key] for key in keys)


def _run_all(
    setup: Setup,
    runs: dict[str, _Run],
    found: dict[str, Response],
    accuracy: Accuracy,
    seed: int,
    pool: Executor,
    progress: Progress | None,
    store: ResponseStore,
) -> None:
    scatters = len(setup.parts()) > 1
    done = wanted = 0

    def count(n: int) -> None:
        nonlocal done
        done += n
        if progress is not None:
            progress(min(done / max(wanted, 1), 1.0), f"photon transport, {len(runs)} lines")

    if progress is not None:
        progress(0.0, f"photon transport, {len(runs)} lines (the first run ever compiles the engine)")
    for run in runs.values():
        for aim, n in _shares(run.birth, scatters, accuracy, accuracy.min_histories):
            run.submit(pool, setup, seed, aim, n)
        wanted += sum(run.n_blocks.values())
    for run in runs.values():
        run.gather(count)
        pilot = run.response()
        figure = pilot.peak_efficiency if run.birth.kind == "photon" and len(run.birth.quantiles_kev) == 1 else None
        u = (figure or pilot.total_efficiency).relative_u
        # the pilot's own uncertainty is uncertain: a tenth more
        times = min(1.1 * (u / accuracy.relative_u) ** 2, accuracy.max_histories / accuracy.min_histories)
        for aim, n in _shares(run.birth, scatters, accuracy, accuracy.min_histories * times):
            more = n - run.n_blocks[aim]
            if more > 0:
                run.submit(pool, setup, seed, aim, more)
                wanted += more
    for key, run in runs.items():
        run.gather(count)
        response = run.response()
        found[key] = response
        store.put(
            key,
            histogram=response.histogram,
            peak=response.peak,
            hits=response.hits,
            n_histories=np.array([float(response.n_histories)]),
        )


def _shares(birth: Birth, scatters: bool, accuracy: Accuracy, histories: float) -> list[tuple[int, int]]:
    """Blocks by aim."""
    if birth.kind != "photon":
        return [(ANYWHERE, _blocks(histories))]
    if not scatters or accuracy.elsewhere_share == 0:
        return [(AT_CRYSTAL, _blocks(histories))]
    return [(AT_CRYSTAL, _blocks(histories)), (ELSEWHERE, _blocks(histories * accuracy.elsewhere_share))]


def line_responses(
    setup: Setup,
    energies_kev: Sequence[float],
    *,
    accuracy: Accuracy | None = None,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> tuple[Response, ...]:
    """Responses to photon lines; see `responses`."""
    births = [Birth.line(energy) for energy in energies_kev]
    return responses(setup, births, accuracy=accuracy, seed=seed, executor=executor, progress=progress, store=store)
