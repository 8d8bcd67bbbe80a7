"""One's own thorium source in a count: Ra-228 and Th-228 with their correlation, and what else is in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from truekev.errors import RefusedError
from truekev.nuclides.lines import photon_lines
from truekev.quantity import Measured
from truekev.samples.assay import Assayed, assay_spectrum
from truekev.samples.line_evidence import LineEvidence, line_evidence
from truekev.samples.sample_file import SampleDescription
from truekev.samples.spectrum_fit import SpectrumFit
from truekev.samples.spectrum_model import SpectrumModel
from truekev.samples.thorium_count import ThoriumCount
from truekev.transport.detector import Detector

__all__ = ["GAIN_LINES", "LineRate", "OwnCount", "own_count"]

RADIUM, THORIUM, URANIUM = "Ra-228 part", "Th-228 part", "Ra-226 part"
GAIN_LINES = {"Pb-212 239 keV": 238.6, "Tl-208 583 keV": 583.2, "Ac-228 911 keV": 911.2, "Tl-208 2615 keV": 2614.5}
_SHAPE_U = 0.03  # efficiency at one energy against that at another: does not cancel between the two


@dataclass(frozen=True)
class LineRate:
    """A line's full-energy counts per second, as the fit has them."""

    name: str
    per_s: float


@dataclass(frozen=True, eq=False)
class OwnCount:
    """A count of one's own source.

    Parameters
    ----------
    thoriated : bool
        Whether the estimate of the thorium series exceeds its detection limit: enough to follow ages and radium from.
    radium, thorium : Assayed
        Ra-228 (seen in Ac-228) and Th-228 (seen in Pb-212 and Tl-208).
    contamination : Assayed
        The uranium series, by its radium.
    ratio : Measured or None
        Ra-228 over Th-228.
    correlation : float
        Of the two, by the fit.
    u_common : float
        Relative uncertainty that both share.
    rates : tuple of LineRate
    evidence : tuple of LineEvidence
        Line groups of the Th-228 part as expected and as found.
    """

    thoriated: bool
    radium: Assayed
    thorium: Assayed
    contamination: Assayed
    ratio: Measured | None
    correlation: float
    u_common: float
    rates: tuple[LineRate, ...]
    evidence: tuple[LineEvidence, ...]
    fit: SpectrumFit

    def as_count(self, day: float, seen_as: tuple[str, str]) -> ThoriumCount:
        """Both activities without their common uncertainty, for what follows from their ratio.

        Raises
        ------
        RefusedError
            There is no thorium to speak of.
        """
        if not self.thoriated:
            raise RefusedError(
                "the thorium series does not exceed its detection limit, so nothing follows about age or radium.",
                "a longer count, or the source closer.",
            )
        fit = self.fit
        values = []
        for name in (RADIUM, THORIUM):
            of = fit.of(name)
            values.append(Measured(of, math.hypot(fit.u(name), _SHAPE_U * of / math.sqrt(2.0)), "Bq"))
        return ThoriumCount(values[0], values[1], day, seen_as, self.correlation)


def _rates(model: SpectrumModel, fit: SpectrumFit) -> tuple[LineRate, ...]:
    found = []
    for name, energy in GAIN_LINES.items():
        maker = name.partition(" ")[0]
        part = RADIUM if maker == "Ac-228" else THORIUM
        line = min(photon_lines(maker), key=lambda row: abs(row.energy_kev - energy))
        share = 0.3594 if maker == "Tl-208" else 1.0  # branch of Bi-212 to Tl-208, DDEP
        per_s = fit.of(part) * share * line.intensity * float(model.templates.grid.efficiency(line.energy_kev))
        found.append(LineRate(name, per_s))
    return tuple(found)


def own_count(model: SpectrumModel, sample: SampleDescription, detector: Detector, *, rods: bool) -> OwnCount:
    """Fit a count of thoriated rods, of the vial made from them, or of any thorium of one's own.

    Parameters
    ----------
    model, sample, detector
        The count.
    rods
        Whether tungsten X-rays may be in it.
    """
    beside = ["tungsten K X-rays"] if rods else []
    assayed, fit = assay_spectrum(model, (RADIUM, THORIUM, URANIUM), beside, sample, detector)
    radium, thorium, contamination = assayed
    i, j = fit.names.index(RADIUM), fit.names.index(THORIUM)
    u = math.sqrt(fit.covariance[i, i] * fit.covariance[j, j])
    correlation = float(np.clip(fit.covariance[i, j] / u, -0.999, 0.999)) if u > 0 else 0.0
    a, b = fit.of(RADIUM), fit.of(THORIUM)
    ratio = None
    if thorium.limits.recognised:
        variance = (fit.u(RADIUM) / b) ** 2 + (a * fit.u(THORIUM) / b**2) ** 2
        variance += -2.0 * a / b**3 * fit.covariance[i, j] + (_SHAPE_U * a / b) ** 2
        ratio = Measured(a / b, math.sqrt(max(variance, 0.0)))
    common = math.sqrt(sum(line.relative_u**2 for line in thorium.budget[2:]))
    limit = thorium.limits.detection_limit
    return OwnCount(
        thorium.limits.recognised and limit is not None and thorium.limits.estimate.value > limit,
        radium,
        thorium,
        contamination,
        ratio,
        correlation,
        common,
        _rates(model, fit),
        line_evidence(model, fit, THORIUM),
        fit,
    )
