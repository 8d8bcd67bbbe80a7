"""The spectrum that a source will make in a detector: counts per second by part, before anything is counted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError
from truekev.nuclides.betas import beta_spectrum_per_kev
from truekev.scale.crystal import crystal_of
from truekev.scale.light import LightCurve
from truekev.scale.templates import LineSet, build_templates, nominal_pulse_kev
from truekev.sources.bodies import strata_of
from truekev.sources.source import Source
from truekev.transport.detector import DEFAULT_DETECTOR, Detector
from truekev.transport.response import Accuracy, Birth
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import Part
from truekev.transport.setup_response import RouteResponse, SetupResponse, born_response, node_energies, setup_response

__all__ = ["PredictedPart", "PredictedSpectrum", "energy_of_u", "line_sets", "predict", "source_betas"]

Array = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

SPLITS_KEV = (110.0, 300.0)  # as scale.sample splits a component
LOWEST_KEV, HIGHEST_KEV = 20.0, 2950.0
_LEAST_SHARE = 0.002
_BETA_QUANTILES = 400
_OTHER_ROUTES = {"secondary": "made on the way", "forward": "scattered forward", "back": "scattered back"}
_WIDTH_STEPS = (0.97, 1.0, 1.03)


@dataclass(frozen=True, eq=False)
class PredictedPart:
    """One part of a spectrum.

    Parameters
    ----------
    name : str
    route : str
        "direct" (full energy and what only the crystal changed), "forward", "back", "secondary" (X-rays, annihilation
        and bremsstrahlung made on the way by photons) or "betas" (betas and their bremsstrahlung).
    cumulative : ndarray, shape (3, m)
        Counts per second below u, for peak widths of 0.97, 1 and 1.03 of the nominal one.
    """

    name: str
    route: str
    cumulative: Array

    @property
    def rate_per_s(self) -> float:
        """Counts per second."""
        return float(self.cumulative[1, -1])


@dataclass(frozen=True, eq=False)
class PredictedSpectrum:
    """What one source makes in one detector, room left out.

    Parameters
    ----------
    u : ndarray, shape (m,)
        Square root of nominal pulse height [keV-equivalent]; see scale/templates.py.
    parts : tuple of PredictedPart
    curve : LightCurve
    fwhm_662 : float
        FWHM/E at 661.655 keV.
    lines : tuple of LineSet
        Lines behind the direct parts: photons per second born in the source.
    response : SetupResponse
    photons_per_s, betas_per_s : float
        Born in the source, all lines taken.
    """

    name: str
    u: Array
    parts: tuple[PredictedPart, ...]
    curve: LightCurve
    fwhm_662: float
    lines: tuple[LineSet, ...]
    response: SetupResponse
    photons_per_s: float
    betas_per_s: float

    @property
    def rate_per_s(self) -> float:
        """Counts per second, all pulse heights."""
        return sum(part.rate_per_s for part in self.parts)

    def rate_of(self, route: str) -> float:
        """Counts per second of one route."""
        return sum(part.rate_per_s for part in self.parts if part.route == route)

    def peak_areas_per_s(self) -> tuple[Array, Array, tuple[str, ...]]:
        """Energies [keV] of all lines, their full-energy counts per second, and their nuclides."""
        energy = np.concatenate([lines.energy_kev for lines in self.lines])
        rate = np.concatenate([lines.rate for lines in self.lines])
        makers = tuple(maker for lines in self.lines for maker in lines.makers)
        return energy, rate * self.response.peak.full_energy(energy), makers


def line_sets(source: Source) -> list[LineSet]:
    """Photons per second by component that a fit can scale; X-rays that the body makes are the transport's affair.

    Raises
    ------
    InputError
        No photon line between 20 and 2950 keV.
    """
    gathered: dict[str, list[tuple[float, float, str]]] = {}
    for component in source.components:
        if component.extra_lines:
            continue
        for line in component.lines():
            if LOWEST_KEV <= line.energy_kev <= HIGHEST_KEV:
                row = (line.energy_kev, line.photons_per_s, line.nuclide)
                gathered.setdefault(component.tied_to or component.name, []).append(row)
    sets = []
    for name, rows in gathered.items():
        strongest = max(rate for _, rate, _ in rows)
        kept = sorted(row for row in rows if row[1] >= _LEAST_SHARE * strongest)
        sets.append(
            LineSet(name, np.array([r[0] for r in kept]), np.array([r[1] for r in kept]), tuple(r[2] for r in kept))
        )
    if not sets:
        raise InputError(
            f"source {source.name!r} has no photon line between {LOWEST_KEV:.0f} and {HIGHEST_KEV:.0f} keV; "
            "name a source that has."
        )
    return sets


def source_betas(source: Source) -> tuple[float, Birth | None]:
    """Betas per second of the whole source, and their spectrum; None where there are none or the body has no matter.

    A point without matter is a sealed source: its capsule is taken to stop the betas, their bremsstrahlung is left out.
    """
    grid = np.arange(1.0, 3300.0, 2.0)
    spectrum = np.zeros_like(grid)
    for name, activity in source.activities_bq.items():
        spectrum += activity * beta_spectrum_per_kev(name, grid)
    total = float(spectrum.sum() * 2.0)
    if total <= 0 or source.body.form == "point":
        return total, None
    cumulative = np.concatenate(([0.0], np.cumsum(spectrum))) / spectrum.sum()
    edges = np.concatenate((grid - 1.0, [grid[-1] + 1.0]))
    rising = np.concatenate(([True], np.diff(cumulative) > 0))
    quantiles = np.interp(np.linspace(0.0, 1.0, _BETA_QUANTILES + 1), cumulative[rising], edges[rising])
    return total, Birth("electron", tuple(np.round(np.minimum(quantiles, 3199.0), 3).tolist()))


def _parts_of(lines: Sequence[LineSet]) -> list[LineSet]:
    low, middle = SPLITS_KEV
    parts = []
    for whole in lines:
        for start, stop, words in ((0.0, low, f"below {low:.0f} keV"), (low, middle, ""), (middle, np.inf, "")):
            words = words or (f"{low:.0f} to {middle:.0f} keV" if stop == middle else f"above {middle:.0f} keV")
            part = whole.part(f"{whole.name}, {words}", start, stop)
            if part.energy_kev.size:
                parts.append(part)
    return parts


def _cumulative(
    lines: Sequence[LineSet], response: RouteResponse, curve: LightCurve, widths: Sequence[float]
) -> tuple[Array, Array]:
    built = build_templates(lines, [], response, curve, widths)
    n = len(lines)
    # Each template ends at 1 at its own width; the last width sets `totals`, and widths change no total.
    return built.u, built.cumulative[:, :n] * built.totals[None, :n, None]


def _curve(detector: Detector, response: SetupResponse) -> LightCurve:
    """The crystal's curve; of another crystal than the default one that of these runs."""
    if detector == DEFAULT_DETECTOR:
        return crystal_of(detector).curve
    peak = response.peak
    known = peak.peak > 0
    return LightCurve(detector.name, tuple(peak.nodes_kev[known].tolist()), tuple(peak.peak_d_kev[known].tolist()))


def predict(
    source: Source,
    detector: Detector,
    *,
    fwhm_662: float = 0.08,
    surroundings: tuple[Part, ...] = (),
    relative_u: float = 0.02,
    accuracy: Accuracy | None = None,
    seed: int = 1,
    executor: Executor | None = None,
    progress: Progress | None = None,
    store: ResponseStore | None = None,
) -> PredictedSpectrum:
    """Predict the spectrum of a source of known activity.

    Parameters
    ----------
    source, detector, surroundings
        What is counted with what, and what stands around.
    fwhm_662
        Peak width at 661.655 keV over the energy.
    relative_u
        Statistical uncertainty of each full-energy peak from the Monte Carlo.
    accuracy
        In place of that; see `transport.setup_response.setup_response`.
    seed, executor, progress, store
        As in `transport.response.responses`.

    Raises
    ------
    InputError
        See `sources.bodies.strata_of`; or the source has no line in the range.
    """
    lines = line_sets(source)
    energy = np.concatenate([s.energy_kev for s in lines])
    rate = np.concatenate([s.rate for s in lines])
    makers = tuple(maker for s in lines for maker in s.makers)
    strata = [(one.share, one.setup) for one in strata_of(source, detector, surroundings)]
    nodes = node_energies(energy, rate, strata[0][1])

    def tell(done: float, what: str) -> None:
        if progress is not None:
            progress(0.95 * done, f"{source.name}: {what}")

    response = setup_response(
        strata,
        nodes,
        relative_u=relative_u,
        accuracy=accuracy,
        seed=seed,
        executor=executor,
        progress=tell,
        store=store,
    )
    curve = _curve(detector, response)
    widths = [step * fwhm_662 for step in _WIDTH_STEPS]
    direct = _parts_of(lines)
    u, stack = _cumulative(direct, response.of("direct"), curve, widths)
    parts = [PredictedPart(one.name, "direct", stack[:, i]) for i, one in enumerate(direct)]
    together = [LineSet(source.name, energy, rate, makers)]
    for route, words in (
        ("secondary", "made on the way"),
        ("forward", "scattered forward"),
        ("back", "scattered back"),
    ):
        _, one = _cumulative(together, response.of(route), curve, widths)
        parts.append(PredictedPart(words, route, one[:, 0]))
    betas_per_s, birth = source_betas(source)
    if birth is not None:
        born = born_response(strata, birth, relative_u=max(relative_u, 0.02), seed=seed, executor=executor, store=store)
        _, one = _cumulative([LineSet("betas", np.array([100.0]), np.array([betas_per_s]))], born, curve, widths)
        parts.append(PredictedPart("betas and their bremsstrahlung", "betas", one[:, 0]))
    return PredictedSpectrum(
        source.name, u, tuple(parts), curve, fwhm_662, tuple(lines), response, float(rate.sum()), betas_per_s
    )


def energy_of_u(curve: LightCurve, u: Array) -> Array:
    """Energy [keV] of a fully absorbed photon whose pulse lies at u; straight on below 5 and above 3500 keV."""
    energy = np.concatenate(([0.0], np.geomspace(5.0, 3500.0, 800)))
    pulse = np.concatenate(([0.0], nominal_pulse_kev(curve, energy[1:])))
    wanted = np.asarray(u, float) ** 2
    inside = np.interp(wanted, pulse, energy)
    slope = (energy[-1] - energy[-20]) / (pulse[-1] - pulse[-20])
    return np.asarray(np.where(wanted > pulse[-1], energy[-1] + (wanted - pulse[-1]) * slope, inside), np.float64)
