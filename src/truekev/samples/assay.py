"""How much of a nuclide is in a sample: activity, budget, decision threshold, limits, best estimate (ISO 11929).

The estimate is that of the unconstrained fit of the whole spectrum, beside everything that was recognised; it may be
negative. What the standard calls the uncertainty at a true value comes from the same fit with the strength changed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from truekev.errors import InputError, RefusedError
from truekev.matter.photons import partial_cross_sections
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.samples.candidates import candidate, lines_of
from truekev.samples.knowledge import LEVEL
from truekev.samples.limits import CharacteristicLimits, characteristic_limits, detection_limit
from truekev.samples.sample_file import SampleDescription
from truekev.samples.sample_response import relative_u_of_distance
from truekev.samples.spectrum_fit import SpectrumFit, covariance_at, fit_spectrum
from truekev.samples.spectrum_model import SpectrumModel
from truekev.samples.summing import summing_loss
from truekev.transport.detector import Detector

__all__ = ["Assayed", "BudgetLine", "assay_spectrum", "time_for_limit"]

Array = npt.NDArray[np.float64]

_TEMPLATE_U = 0.02  # statistics of the Monte Carlo
_LONGEST_S = 3e7


@dataclass(frozen=True)
class BudgetLine:
    """One part of the uncertainty: where it comes from, and its relative standard uncertainty of the estimate."""

    name: str
    relative_u: float


@dataclass(frozen=True)
class Assayed:
    """A nuclide's activity in a sample.

    Parameters
    ----------
    name, what : str
    limits : CharacteristicLimits
        Estimate, decision threshold, detection limit, best estimate and coverage limits [Bq].
    per_mass : Measured or None
        Best estimate over the mass [Bq/g].
    budget : tuple of BudgetLine
        Relative to the estimate.
    summing_loss : float
        Share of full-energy counts that true coincidences may take; it is in the budget, not corrected.
    """

    name: str
    what: str
    limits: CharacteristicLimits
    per_mass: Measured | None
    budget: tuple[BudgetLine, ...]
    summing_loss: float


def _counting_covariance(model: SpectrumModel, fit: SpectrumFit) -> Array:
    """Covariance of the strengths by counting alone, all else held."""
    columns = model.columns([model.templates.names.index(n) for n in fit.names], fit.shared)
    information = (columns / model.noise(fit.sample, float(fit.shared[LEVEL]))) @ columns.T
    return np.asarray(np.linalg.pinv(information, hermitian=True))


def _u_intensity(name: str, model: SpectrumModel, fit: SpectrumFit) -> float:
    """Relative uncertainty of the line intensities, weighted by the lines' full-energy counts."""
    one = candidate(name)
    lines = lines_of(one)
    areas = model.peak_areas(lines, fit.shared)
    share = areas / max(float(areas.sum()), 1e-300)
    variance = 0.0
    for energy, maker, part in zip(lines.energy_kev, lines.makers, share, strict=True):
        if maker in one.activities_bq:
            line = min(photon_lines(maker), key=lambda row: abs(row.energy_kev - energy))
            variance += (part * line.u_intensity / max(line.intensity, 1e-300)) ** 2
    return math.sqrt(variance)


def _u_absorption(name: str, sample: SampleDescription, model: SpectrumModel, fit: SpectrumFit) -> float:
    """What the density leaves open of the self-absorption, as of a slab of the sample's height."""
    if sample.matter is None or sample.height_mm == 0:
        return 0.0
    lines = lines_of(candidate(name))
    areas = model.peak_areas(lines, fit.shared)
    depth = partial_cross_sections(sample.matter, lines.energy_kev).total * sample.matter.density_g_cm3
    x = np.maximum(0.1 * sample.height_mm * depth, 1e-9)
    sensitivity = np.abs(x * np.exp(-x) / -np.expm1(-x) - 1.0)
    return float(sample.u_density * (sensitivity @ areas) / max(float(areas.sum()), 1e-300))


def _summing(name: str, model: SpectrumModel, fit: SpectrumFit) -> float:
    """Share of the full-energy counts that coincident photons take."""
    one = candidate(name)
    lines = lines_of(one).made_by(set(one.activities_bq))
    response = model.templates.grid.response
    hits = np.sum([route.continuum.sum(axis=1) for route in response.routes], axis=0) + response.peak.peak
    nodes = response.peak.nodes_kev
    return summing_loss(lines, model.peak_areas(lines, fit.shared), lambda kev: float(np.interp(kev, nodes, hits)))


def _budget(
    name: str, model: SpectrumModel, fit: SpectrumFit, sample: SampleDescription, detector: Detector
) -> tuple[tuple[BudgetLine, ...], float]:
    i = fit.names.index(name)
    of = max(abs(fit.of(name)), 1e-300)
    counting = math.sqrt(max(float(_counting_covariance(model, fit)[i, i]), 0.0))
    rest = math.sqrt(max(fit.u(name) ** 2 - counting**2, 0.0))
    summing = _summing(name, model, fit)
    lines = (
        BudgetLine("counting, background's included", counting / of),
        BudgetLine("scale, widths, templates, scattering, background's level and gain", rest / of),
        BudgetLine("efficiency", math.hypot(sample.u_efficiency, _TEMPLATE_U)),
        BudgetLine("distance", relative_u_of_distance(sample, detector)),
        BudgetLine("self-absorption", _u_absorption(name, sample, model, fit)),
        BudgetLine("line intensities", _u_intensity(name, model, fit)),
        BudgetLine("coincidence summing", summing / math.sqrt(3.0)),
    )
    return lines, summing


def assay_spectrum(
    model: SpectrumModel,
    wanted: Sequence[str],
    present: Sequence[str],
    sample: SampleDescription,
    detector: Detector,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    coverage: float = 0.95,
) -> tuple[tuple[Assayed, ...], SpectrumFit]:
    """Activities of nuclides in a sample.

    Parameters
    ----------
    model
        Counts and templates.
    wanted
        Candidates whose activity is asked for.
    present
        What else is in the spectrum (recognised before); it is fitted beside them.
    sample, detector
        For the budget.
    alpha, beta, coverage
        As of `limits.characteristic_limits`.

    Raises
    ------
    InputError
        Nothing is wanted.
    RefusedError
        The count says nothing about one of them beside the others.
    """
    if not wanted:
        raise InputError("nothing is named and nothing was recognised, so there is nothing to assay; name a nuclide.")
    names = list(dict.fromkeys([*wanted, *present]))
    fit = fit_spectrum(model, names)
    found = []
    for name in dict.fromkeys(wanted):
        i = fit.names.index(name)
        if not fit.u(name) > 0:
            raise RefusedError(
                f"the count says nothing about {name} beside {', '.join(n for n in names if n != name)}.",
                "a spectrum that reaches its lines, or fewer nuclides.",
            )
        budget, summing = _budget(name, model, fit, sample, detector)
        relative = math.sqrt(sum(line.relative_u**2 for line in budget[2:]))
        estimate, unit = fit.of(name), candidate(name).unit

        def u_of_true(true: float, i: int = i, relative: float = relative) -> float:
            strengths = fit.strengths.copy()
            strengths[i] = true
            variance = float(covariance_at(model, fit, strengths)[i, i])
            return math.sqrt(variance + (relative * true) ** 2)

        u = math.hypot(fit.u(name), relative * estimate)
        limits = characteristic_limits(
            Measured(estimate, u, unit), u_of_true, alpha=alpha, beta=beta, coverage=coverage
        )
        per_mass = None
        if sample.mass_g:
            best = limits.best_estimate
            per_mass = Measured(best.value / sample.mass_g, best.u / sample.mass_g, f"{unit}/g")
        found.append(Assayed(name, candidate(name).what, limits, per_mass, budget, summing))
    return tuple(found), fit


def time_for_limit(
    model: SpectrumModel, fit: SpectrumFit, name: str, wanted: float, relative_u: float, *, error: float = 0.05
) -> float:
    """Counting time [s] after which the detection limit of a nuclide falls to `wanted`.

    Parameters
    ----------
    model, fit
        A count of the same kind: what it holds beside the nuclide will be there again, and its background is counted
        longer by the same factor.
    name, wanted
        The nuclide, one of the fit, and the detection limit wanted for it.
    relative_u
        Of efficiency and all that goes with the activity.
    error
        Probabilities of errors of both kinds.

    Raises
    ------
    RefusedError
        What the model leaves open does not shrink with time, and is too much.
    """
    i = fit.names.index(name)
    counting = float(_counting_covariance(model, _without(fit, i, model))[i, i])
    strengths = fit.strengths.copy()
    strengths[i] = 0.0
    at_zero = float(covariance_at(model, fit, strengths)[i, i])
    stays = max(at_zero - counting, 0.0)
    strengths[i] = wanted
    grows = max(float(covariance_at(model, fit, strengths)[i, i]) - at_zero, 0.0) / wanted

    def limit(times: float) -> float:
        return detection_limit(
            lambda true: math.sqrt((counting + grows * true) / times + stays + (relative_u * true) ** 2),
            alpha=error,
            beta=error,
        )

    time_s = model.data.time_s
    if limit(_LONGEST_S / time_s) > wanted:
        raise RefusedError(
            f"a detection limit of {wanted:.3g} is not reached by counting longer: what stays of the model's error "
            f"sets {limit(_LONGEST_S / time_s):.3g}.",
            "the sample closer, more of it, a shield, or a scale known better.",
        )
    low, high = math.log(1e-4), math.log(_LONGEST_S / time_s)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if limit(math.exp(middle)) < wanted else (middle, high)
    return time_s * math.exp(high)


def _without(fit: SpectrumFit, i: int, model: SpectrumModel) -> SpectrumFit:
    """The fit with one strength zero in what the sample makes."""
    column = model.columns([model.templates.names.index(fit.names[i])], fit.shared)[0]
    return replace(fit, sample=np.maximum(fit.sample - fit.strengths[i] * column, 0.0))
