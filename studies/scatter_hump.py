"""Do the scatter templates follow the backscatter humps of the open spectra, and are their areas predicted?

Cs-137, Eu-152 and Am-241 counted by SURO (Prague, CC BY-SA 4.0, in ../shared/open-spectra) at 10 cm. Stand, table and
walls are not described, nor how deep the crystal lies: one extra distance for each type of source is fitted, and the
strengths of what slabs behind the source, behind the crystal and under both would scatter; no smooth part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize, nnls

from studies.frame import ROOT, Result
from truekev.errors import InputError
from truekev.job.calibrate_spectra import CalibratedSpectrum, calibrate_files
from truekev.matter.materials import compound, material
from truekev.nuclides.names import nuclide
from truekev.scale.find_groups import warped
from truekev.scale.predicted import PredictedSpectrum, predict
from truekev.sources.short_forms import source_in_words
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.response import Accuracy
from truekev.transport.setup import Part, slab
from truekev.transport.solids import Box

Array = npt.NDArray[np.float64]
SEED = 1
_OPEN = ROOT.parent / "shared" / "open-spectra"
_DISTANCE_MM = 100.0
_SHRUNK = 4.0
_MODEL_ERROR = 0.03


@dataclass(frozen=True)
class Count:
    """An open spectrum: nuclide, type of source, certified activity [Bq] on a date, day of the count if the file has
    none, range fitted and range of the hump [keV], histories for each line.
    """

    file: str
    nuclide: str
    kind: str
    activity_bq: float
    certified: date
    assumed_day: date
    fitted_kev: tuple[float, float]
    hump_kev: tuple[float, float]
    n_histories: int


COUNTS = (
    Count(
        "cs137-1h", "Cs-137", "EG 3X", 858.9e3, date(2015, 7, 1), date(2022, 5, 13), (60, 800), (150, 280), 4_000_000
    ),
    Count(
        "eu152-1h", "Eu-152", "EG 3", 441.8e3, date(2017, 12, 30), date(2022, 7, 1), (90, 1560), (150, 300), 1_000_000
    ),
    Count("am241-1h", "Am-241", "EG 3X", 864.5e3, date(2015, 7, 1), date(2022, 5, 27), (38, 90), (38, 90), 4_000_000),
)
U_DAY_Y = 1.0  # where the file names no day


def _surroundings() -> Mapping[str, tuple[float, tuple[Part, ...]]]:
    """What may scatter, with the distance of the source: thick slabs of light matter, far wider than the gap.

    Stand and table are drawn to a quarter of their size with four times their density: what they scatter is the same,
    and a crystal that looks four times as large catches sixteen times as much of it.
    """
    near_mm = _DISTANCE_MM / _SHRUNK
    acrylic = compound("C5H8O2", _SHRUNK * 1.19, "dense acrylic")
    wood = compound("C6H9O4", _SHRUNK * 0.6, "dense wood")
    source_z = -DEFAULT_DETECTOR.window_mm - near_mm
    table = Part("table", Box((150.0, 10.0, 150.0), (0.0, -15.0, -15.0)), wood)
    return {
        "behind the source": (near_mm, (slab("stand", acrylic, source_z - 7.6, 7.5, 75.0),)),
        "under both": (near_mm, (table,)),
        "behind the crystal": (_DISTANCE_MM, (slab("cell", material("lithium cell"), 12.0, 10.0, 60.0),)),
    }


def _spectra() -> dict[str, CalibratedSpectrum]:
    files = {count.file: str(_OPEN / f"{count.file}.csv") for count in COUNTS}
    if not all((_OPEN / f"{count.file}.csv").is_file() for count in COUNTS):
        raise InputError(f"{_OPEN} is not there; this study needs the open spectra in ../shared.")
    room = str(_OPEN / "background-office-1h.csv")
    found: dict[str, CalibratedSpectrum] = {}
    for chosen in (COUNTS[0::2], COUNTS[1:2]):
        report = calibrate_files([files[c.file] for c in chosen], [c.nuclide for c in chosen], background=room)
        found |= {c.file: one for c, one in zip(chosen, report.spectra, strict=True)}
    return found


def _room() -> tuple[Array, float]:
    from truekev.spectra.read import read_spectrum

    room = read_spectrum(str(_OPEN / "background-office-1h.csv"))
    return np.asarray(room.counts, float), float(room.best_live_time_s or 1.0)


@cache
def _predicted(count: Count, fwhm_662: float, around: str) -> PredictedSpectrum:
    distance_mm, parts = _surroundings()[around] if around else (_DISTANCE_MM, ())
    source = source_in_words(f"{count.nuclide}:1Bq,{distance_mm:g}mm")
    accuracy = Accuracy(0.01, count.n_histories, count.n_histories, 8.0 if around else 0.0)
    return predict(source, DEFAULT_DETECTOR, fwhm_662=fwhm_662, surroundings=parts, accuracy=accuracy)


def _extra_mm(count: Count, energy_kev: float, strength: float) -> float:
    """Extra distance that makes the full-energy efficiency `strength` times that of 10 cm."""
    extra = np.array([-20.0, 0.0, 20.0, 40.0])
    efficiency = []
    for more in extra:
        source = source_in_words(f"{count.nuclide}:1Bq,{_DISTANCE_MM + more:g}mm")
        accuracy = Accuracy(0.01, 500_000, 500_000, 0.0)
        response = predict(source, DEFAULT_DETECTOR, accuracy=accuracy).response
        efficiency.append(float(response.peak.full_energy(energy_kev)))
    wanted = np.log(strength * efficiency[1])
    # nearly an inverse square of (distance + depth): straight in log against log
    reach = np.log(_DISTANCE_MM + 5.0 + extra)
    slope, offset = np.polyfit(np.log(efficiency), reach, 1)
    return float(np.exp(slope * wanted + offset) - _DISTANCE_MM - 5.0)


def _templates(count: Count, fwhm_662: float) -> dict[str, Array]:
    """Counts per second and Bq below u by template and width, for the setup as it stands at 10 cm."""
    plain = _predicted(count, fwhm_662, "")
    found = {"unscattered": _summed(plain, "direct", "secondary")}
    for around in _surroundings():
        one = _predicted(count, fwhm_662, around)
        to_far = plain.peak_areas_per_s()[1].sum() / one.peak_areas_per_s()[1].sum()
        for route in ("back", "forward"):
            if (route, around) != ("forward", "behind the source"):
                found[f"{route}, {around}"] = to_far * _summed(one, route)
    return found


def _summed(predicted: PredictedSpectrum, *routes: str) -> Array:
    return np.asarray(np.sum([part.cumulative for part in predicted.parts if part.route in routes], axis=0))


@dataclass(frozen=True)
class Fitted:
    """Counts by template in every channel, strengths relative to the setup's own, and what was fitted."""

    names: tuple[str, ...]
    by_template: Array
    strengths: Array
    energy_kev: Array
    counts: Array
    room: Array
    chosen: npt.NDArray[np.bool_]

    @property
    def model(self) -> Array:
        """Model per channel, the room included."""
        return np.asarray(self.by_template.sum(axis=0) + self.room)


def _fit(count: Count, one: CalibratedSpectrum, activity_bq: float) -> Fitted:
    counts = np.asarray(one.spectrum.counts, float)
    time_s = float(one.spectrum.best_live_time_s or 1.0)
    of_room, room_s = _room()
    room = of_room[: counts.size] * time_s / room_s
    fwhm = one.scale.fwhm_662
    templates = _templates(count, fwhm)
    u = _predicted(count, fwhm, "").u
    edges = np.arange(counts.size + 1) - 0.5
    energy = one.scale.energy_kev(np.arange(counts.size, dtype=float))
    chosen = (energy > count.fitted_kev[0]) & (energy < count.fitted_kev[1])
    sigma = np.sqrt(np.maximum(counts, 1.0) + (_MODEL_ERROR * counts) ** 2)
    pulse = one.scale.pulse

    def columns(x: Array) -> Array:
        centre = pulse.c0 + (edges - pulse.c0 - x[1]) / (1.0 + x[0])
        at = np.sqrt(np.maximum(warped(pulse, centre), 0.0))
        rows = []
        wider = np.clip(x[2] + x[3] * np.log(np.maximum(u, 3.0) ** 2 / 400.0), -0.3, 0.3)
        for three in templates.values():
            rows.append(np.diff(np.interp(at, u, three[1] + wider * (three[2] - three[0]) / 0.06)))
        return np.asarray(np.maximum(np.array(rows), 0.0) * activity_bq * time_s)

    def strengths(x: Array) -> tuple[Array, Array, float]:
        stack = columns(x)
        right = (counts - room)[chosen] / sigma[chosen]
        found, left = nnls((stack[:, chosen] / sigma[chosen]).T, right)
        total = left**2 + (x[0] / 0.01) ** 2 + (x[1] / 0.3) ** 2 + (x[2] / 0.1) ** 2 + (x[3] / 0.1) ** 2
        return stack, found, float(total)

    start = np.vstack([np.zeros(4), np.diag([0.01, 0.3, 0.05, 0.05])])

    def cost(x: Array) -> float:
        return strengths(x)[2]

    best = minimize(cost, np.zeros(4), method="Nelder-Mead", options={"initial_simplex": start, "maxfev": 400})
    stack, found, _ = strengths(best.x)
    return Fitted(tuple(templates), stack * found[:, None], found, energy, counts, room, chosen)


def _activity(count: Count, one: CalibratedSpectrum) -> tuple[float, float, date]:
    """Activity on the day of the count, its relative uncertainty from the day, and the day."""
    day = count.assumed_day if one.spectrum.start is None else one.spectrum.start.date()
    half_life_d = nuclide(count.nuclide).half_life_s / 86400
    activity = count.activity_bq * 0.5 ** ((day - count.certified).days / half_life_d)
    u = 0.0 if one.spectrum.start is not None else np.log(2) * U_DAY_Y * 365.25 / half_life_d
    return float(activity), float(u), day


def _merged(values: Array, step: int) -> Array:
    n = len(values) // step
    return np.asarray(values[: n * step].reshape(n, step).sum(axis=1))


def trial(number: int, rng: np.random.Generator) -> Result:
    """All three spectra: they share distances and strengths."""
    del number, rng
    spectra = _spectra()
    result: dict[str, Any] = {}
    for count in COUNTS:
        one = spectra[count.file]
        activity, u_day, day = _activity(count, one)
        fit = _fit(count, one, activity)
        plain = _predicted(count, one.scale.fwhm_662, "")
        inside = (fit.energy_kev > count.hump_kev[0]) & (fit.energy_kev < count.hump_kev[1])
        off = fit.model[inside] / fit.counts[inside] - 1.0
        time_s = float(one.spectrum.best_live_time_s or 1.0)
        energies, rates, _ = plain.peak_areas_per_s()
        groups = []
        for group in one.fitted.groups.fits:
            own = float(sum(rates[int(np.argmin(np.abs(energies - e)))] for e in group.group.energy_kev))
            groups.append([group.group.centroid_kev, group.area, group.u_area, own * activity * time_s])
        result[count.file] = {
            "activity_bq": activity,
            "u_day": u_day,
            "day": day.isoformat(),
            "names": list(fit.names),
            "strengths": fit.strengths.tolist(),
            "worst_in_hump": float(np.abs(off).max()),
            "rms_in_hump": float(np.sqrt(np.mean(off**2))),
            "groups": groups,
            "extra_mm": _extra_mm(count, max(groups, key=lambda g: g[1])[0], float(fit.strengths[0])),
            "energy_kev": fit.energy_kev.tolist(),
            "counts": fit.counts.tolist(),
            "room": fit.room.tolist(),
            "by_template": fit.by_template.tolist(),
        }
    return result
