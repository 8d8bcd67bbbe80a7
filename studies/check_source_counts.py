"""Model of the open spectra of check sources at 10 cm: peaks, continuum, and what slabs around would scatter.

Cs-137, Eu-152 and Am-241 counted by SURO (Prague, CC BY-SA 4.0, in ../shared/open-spectra). Neither stand, table and
walls nor the depth of the crystal are described, so the strengths of all templates are free; no smooth part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares, nnls

from studies.frame import ROOT
from truekev.errors import InputError
from truekev.job.calibrate_spectra import CalibratedSpectrum, calibrate_files
from truekev.matter.materials import compound
from truekev.nuclides.names import nuclide
from truekev.scale.find_groups import warped
from truekev.scale.predicted import PredictedSpectrum, predict
from truekev.scale.templates import build_templates
from truekev.sources.short_forms import source_in_words
from truekev.spectra.read import read_spectrum
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.response import Accuracy
from truekev.transport.response_store import ResponseStore
from truekev.transport.setup import Part, slab
from truekev.transport.solids import Box

__all__ = [
    "COUNTS",
    "DISTANCE_MM",
    "FOLDER",
    "Count",
    "Fitted",
    "activity_of",
    "fit_count",
    "full_energy_at",
    "predicted",
    "spectra",
]

Array = npt.NDArray[np.float64]

FOLDER = ROOT.parent / "shared" / "open-spectra"
DISTANCE_MM = 100.0
_SHRUNK = 4.0
_MODEL_ERROR = 0.03
# The scale may move by this at these energies: what its held-out lines show above 100 keV, and below (DESIGN.md 2).
_KNOTS_KEV = np.array([40.0, 80.0, 122.0, 245.0, 344.0, 600.0, 1400.0])
_KNOT_U = np.array([0.02, 0.02, 0.007, 0.007, 0.007, 0.007, 0.007])
_WIDTH_STEPS = (0.97, 1.0, 1.03)
_WIDTH_U = 0.1
_EXTRA_MM = (-20.0, 0.0, 20.0, 40.0)
U_DAY_Y = 1.0  # where the file names no day


@dataclass(frozen=True)
class Count:
    """An open spectrum.

    `certified_bq` holds on `certified`; `assumed_day` is the day of the count if the file has none; `fitted_kev` and
    `hump_kev` are ranges; `peaks_kev` the ranges of lines whose full-energy peaks get a strength together.
    """

    file: str
    nuclide: str
    kind: str
    certified_bq: float
    certified: date
    assumed_day: date
    fitted_kev: tuple[float, float]
    hump_kev: tuple[float, float]
    peaks_kev: tuple[tuple[float, float], ...]


_EU = ((115, 130), (240, 250), (340, 350), (405, 450), (770, 785), (860, 870), (960, 970), (1080, 1115), (1400, 1415))
COUNTS: Mapping[str, Count] = {
    "Cs-137": Count(
        *("cs137-1h", "Cs-137", "EG 3X", 858.9e3, date(2015, 7, 1), date(2022, 5, 13)),
        *((100.0, 760.0), (150.0, 280.0), ((600.0, 700.0),)),
    ),
    "Eu-152": Count(
        *("eu152-1h", "Eu-152", "EG 3", 441.8e3, date(2017, 12, 30), date(2022, 7, 1)),
        *((100.0, 1500.0), (150.0, 300.0), _EU),
    ),
    "Am-241": Count(
        *("am241-1h", "Am-241", "EG 3X", 864.5e3, date(2015, 7, 1), date(2022, 5, 27)),
        *((38.0, 90.0), (38.0, 90.0), ((58.0, 61.0),)),
    ),
}


def surroundings() -> Mapping[str, tuple[Part, ...]]:
    """What may scatter: a plastic stand 30 mm thick behind the source, masonry 100 mm behind it, a wooden table 25 mm
    below the axis, all wider than the gap.

    All is drawn to a quarter of its size with four times its density and the source at a quarter of its distance: what
    is scattered is the same, and a crystal that looks four times as large catches sixteen times as much of it.
    """
    source_z = -DEFAULT_DETECTOR.window_mm - DISTANCE_MM / _SHRUNK
    acrylic = compound("C5H8O2", _SHRUNK * 1.19, "dense acrylic")
    masonry = compound("SiO2", _SHRUNK * 2.3, "dense masonry")
    wood = compound("C6H9O4", _SHRUNK * 0.6, "dense wood")
    table = Box((150.0, 7.5, 150.0), (0.0, -10.0, -15.0))
    return {
        "stand": (slab("stand", acrylic, source_z - 7.6, 7.5, 75.0),),
        "masonry": (slab("masonry", masonry, source_z - 50.0, 25.0, 300.0),),
        "table": (Part("table", table, wood),),
    }


@cache
def spectra() -> Mapping[str, CalibratedSpectrum]:
    """The spectra by nuclide, on scales fitted to their own peaks: the two epochs apart.

    Raises
    ------
    InputError
        The open spectra are not there.
    """
    if not FOLDER.is_dir():
        raise InputError(f"{FOLDER} is not there; this study needs the open spectra in ../shared.")
    found: dict[str, CalibratedSpectrum] = {}
    for names in (("Cs-137", "Am-241"), ("Eu-152",)):
        files = [str(FOLDER / f"{COUNTS[name].file}.csv") for name in names]
        report = calibrate_files(files, list(names), background=str(_room_file()))
        found |= dict(zip(names, report.spectra, strict=True))
    return found


def _room_file() -> str:
    return str(FOLDER / "background-office-1h.csv")


def activity_of(count: Count) -> tuple[float, float, date]:
    """Activity on the day of the count [Bq], its relative uncertainty from the day, and the day."""
    start = spectra()[count.nuclide].spectrum.start
    day = count.assumed_day if start is None else start.date()
    half_life_d = nuclide(count.nuclide).half_life_s / 86400
    activity = count.certified_bq * 0.5 ** ((day - count.certified).days / half_life_d)
    u = 0.0 if start is not None else np.log(2) * U_DAY_Y * 365.25 / half_life_d
    return float(activity), float(u), day


def predicted(
    count: Count, fwhm_662: float, around: str, n: int, *, more_mm: float = 0.0, store: ResponseStore | None = None
) -> PredictedSpectrum:
    """Per Bq at 10 cm and `more_mm`, with one of `surroundings` (drawn to a quarter) or with nothing ("")."""
    distance_mm = DISTANCE_MM / _SHRUNK if around else DISTANCE_MM + more_mm
    source = source_in_words(f"{count.nuclide}:1Bq,{distance_mm:g}mm")
    accuracy = Accuracy(0.01, n, n, 8.0 if around else 0.0)
    parts = surroundings()[around] if around else ()
    return predict(source, DEFAULT_DETECTOR, fwhm_662=fwhm_662, surroundings=parts, accuracy=accuracy, store=store)


def full_energy_at(
    count: Count, energy_kev: Sequence[float], extra_mm: float, n: int, *, store: ResponseStore | None = None
) -> Array:
    """Full-energy efficiency at 10 cm and an extra distance, relative to that at 10 cm: shape of energy."""
    reach = np.log(DISTANCE_MM + 5.0 + np.array(_EXTRA_MM))  # the crystal's middle: straight in log against log
    rows = []
    for more_mm in _EXTRA_MM:
        response = predicted(count, 0.1, "", n, more_mm=more_mm, store=store).response
        rows.append(np.log(response.peak.full_energy(np.array(energy_kev))))
    table = np.array(rows)
    found = []
    for column in (table - table[1]).T:
        slope, offset = np.polyfit(reach, column, 1)
        found.append(np.exp(slope * np.log(DISTANCE_MM + 5.0 + extra_mm) + offset))
    return np.array(found)


def _summed(one: PredictedSpectrum, *routes: str) -> Array:
    return np.asarray(np.sum([part.cumulative for part in one.parts if part.route in routes], axis=0))


def templates(
    count: Count, fwhm_662: float, n: int, *, store: ResponseStore | None = None, around: Sequence[str] | None = None
) -> tuple[Array, dict[str, Array]]:
    """The axis u, and counts per second and Bq below u by template and width: full-energy peaks, what else comes
    unscattered, and what each of the surroundings scatters forward and back.
    """
    plain = predicted(count, fwhm_662, "", 2 * n, store=store)
    direct = plain.response.of("direct")
    bare = replace(direct, continuum=np.zeros_like(direct.continuum))
    widths = [step * fwhm_662 for step in _WIDTH_STEPS]
    found: dict[str, Array] = {}
    rest = _summed(plain, "direct", "secondary")
    for low, high in count.peaks_kev:
        lines = plain.lines[0].part("peak", low, high)
        built = build_templates([lines], [], bare, plain.curve, widths)
        peak = built.cumulative[:, 0] * built.totals[0]
        found[f"peak {float(np.average(lines.energy_kev, weights=lines.rate)):.1f}"] = peak
        rest = rest - peak
    found["other unscattered"] = rest
    for name in surroundings() if around is None else around:
        one = predicted(count, fwhm_662, name, n, store=store)
        to_far = plain.peak_areas_per_s()[1].sum() / one.peak_areas_per_s()[1].sum()
        for route in ("back", "forward"):
            found[f"{route}, {name}"] = to_far * _summed(one, route)
    return plain.u, found


@dataclass(frozen=True)
class Fitted:
    """Counts by template in every channel, strengths relative to 10 cm and the drawn setups with their uncertainty
    beside one another, and the room.
    """

    names: tuple[str, ...]
    by_template: Array
    strengths: Array
    u_strengths: Array
    energy_kev: Array
    counts: Array
    room: Array
    fitted: npt.NDArray[np.bool_]

    @property
    def model(self) -> Array:
        """Model per channel, the room included."""
        return np.asarray(self.by_template.sum(axis=0) + self.room)

    def off(self, low_kev: float, high_kev: float) -> Array:
        """Model over counts, less one, in the channels of a range."""
        inside = (self.energy_kev > low_kev) & (self.energy_kev < high_kev)
        return np.asarray(self.model[inside] / self.counts[inside] - 1.0)

    def strength(self, name: str) -> float:
        """Strength of one template."""
        return float(self.strengths[self.names.index(name)])


def fit_count(count: Count, u: Array, found: Mapping[str, Array], tied: Mapping[str, float] | None = None) -> Fitted:
    """Fit non-negative strengths, width, and the scale within what is known of it.

    With `tied` the strengths stand in these ratios, and one factor is fitted.
    """
    one = spectra()[count.nuclide]
    counts = np.asarray(one.spectrum.counts, float)
    time_s = float(one.spectrum.best_live_time_s or 1.0)
    of_room = read_spectrum(_room_file())
    room = np.asarray(of_room.counts, float)[: counts.size] * time_s / float(of_room.best_live_time_s or 1.0)
    edges = np.arange(counts.size + 1) - 0.5
    energy = one.scale.energy_kev(np.arange(counts.size, dtype=float))
    log_edge = np.log(np.maximum(one.scale.energy_kev(edges), 5.0))
    low, high = count.fitted_kev
    chosen = (energy > low) & (energy < high)
    sigma = np.sqrt(np.maximum(counts, 1.0) + (_MODEL_ERROR * counts) ** 2)[chosen]
    pulse = one.scale.pulse
    used = np.array([0.8 * low < knot < 1.2 * high for knot in _KNOTS_KEV])
    knots, knot_u = np.log(_KNOTS_KEV[used]), _KNOT_U[used]
    per_bq = activity_of(count)[0] * time_s
    right = (counts - room)[chosen] / sigma

    def columns(x: Array) -> Array:
        moved = pulse.c0 + (edges - pulse.c0) / (1.0 + np.interp(log_edge, knots, knot_u * x[2:]))
        at = np.sqrt(np.maximum(warped(pulse, moved), 0.0))
        wider = np.clip(_WIDTH_U * (x[0] + x[1] * np.log(np.maximum(u, 3.0) ** 2 / 400.0)), -0.3, 0.3)
        rows = [np.diff(np.interp(at, u, three[1] + wider * (three[2] - three[0]) / 0.06)) for three in found.values()]
        # beyond the scale's top there is nothing
        return np.asarray(np.maximum(np.nan_to_num(np.array(rows)), 0.0) * per_bq)

    def strengths(x: Array) -> tuple[Array, Array]:
        stack = columns(x)
        seen = stack[:, chosen] / sigma
        if tied is None:
            return stack, np.asarray(nnls(seen.T, right)[0])
        ratios = np.array([tied[name] for name in found])
        return stack, np.asarray(ratios * nnls((ratios @ seen)[:, None], right)[0])

    def residuals(x: Array) -> Array:
        stack, strength = strengths(x)
        return np.concatenate(((strength @ stack[:, chosen]) / sigma - right, x))

    best = least_squares(residuals, np.zeros(2 + knots.size), diff_step=np.full(2 + knots.size, 0.02))
    stack, strength = strengths(best.x)
    used_ones = strength > 0
    seen = (stack[used_ones][:, chosen] / sigma).T
    if tied is not None:
        seen = (strength[used_ones] @ seen.T)[:, None]  # one factor
    relative = np.sqrt(np.diag(np.linalg.inv(seen.T @ seen)))
    u_strength = np.zeros_like(strength)
    u_strength[used_ones] = relative if tied is None else relative[0] * strength[used_ones]
    return Fitted(tuple(found), stack * strength[:, None], strength, u_strength, energy, counts, room, chosen)
