"""Open spectra: the scale from Eu-152 alone, held against other sources of the same instrument.

The scale comes from `eu152-1h` without a hint of its gain and without a background. Every other spectrum is re-locked
(gain only), and each line group found in it is read with that scale, with the scale the owner had set, and with
polynomials of degree 1 to 3 through the same Eu-152 groups, re-locked by the same ratio.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from studies.frame import PAGES, ROOT, Table, commit
from truekev.errors import RefusedError
from truekev.files import write_whole
from truekev.job.counted import Counted, count_of, read_background
from truekev.pictures.canvas import save
from truekev.pictures.scale_pictures import picture_of_spectrum
from truekev.scale.calibrate import Calibration, calibrate
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.crystal import crystal_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.polynomials import PeakPolynomial, peak_polynomials
from truekev.scale.relock import Relock, relock
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.version import __version__

__all__ = [
    "FOLDER",
    "FROM",
    "HELD_OUT",
    "GroupReading",
    "base",
    "interval_above",
    "main",
    "open_count",
    "readings",
    "relocked",
]

FOLDER = ROOT.parent / "shared" / "open-spectra"
FROM = "eu152-1h"
_ROOM = "background-office-1h"
# Spectrum, what it holds, and whether it stood in the office whose background was counted.
HELD_OUT: dict[str, tuple[tuple[str, ...], bool]] = {
    "eu152-10min": (("Eu-152",), True),
    "cs137-1h": (("Cs-137",), True),
    "am241-1h": (("Am-241",), True),
    "radon-progeny-1h": (("radon-progeny",), False),
    "thorium-bearing-norm-2h": (("thorium-vial", "radium-dial"), True),
    "potassium-fertiliser-12min": (("K-40",), True),
}
_ABOVE_KEV = (700.0, 800.0, 1000.0, 1200.0, 1408.0, 1764.0, 2000.0, 2614.5)
_K95 = 1.96


@dataclass(frozen=True)
class GroupReading:
    """A line group of a held-out spectrum and what each scale reads there [keV].

    `as_found` is the owner's scale; `polynomials` are of degree 1 to 3; `u` is the standard uncertainty that is stated
    for the reading: the scale's own, the place of the group, and the energy of its centroid.
    """

    spectrum: str
    name: str
    energy_kev: float
    as_found_kev: float
    polynomials_kev: tuple[float, ...]
    scale_kev: float
    u_kev: float
    in_gain: bool

    @property
    def error_percent(self) -> float:
        """How far the scale reads from the group's energy [%]."""
        return 100.0 * (self.scale_kev / self.energy_kev - 1.0)

    @property
    def inside(self) -> bool:
        """Whether the energy lies in the stated 95 % interval."""
        return abs(self.scale_kev - self.energy_kev) <= _K95 * self.u_kev


def open_count(name: str, words: tuple[str, ...], in_office: bool) -> Counted:
    """A spectrum of the data set, with the office's background where it was counted there."""
    room = read_background(FOLDER / f"{_ROOM}.csv") if in_office else None
    return count_of(FOLDER / f"{name}.csv", words, DEFAULT_DETECTOR, room)


@cache
def base() -> tuple[Counted, Calibration]:
    """The spectrum that the scale comes from, and its calibration: gain unknown, no background."""
    one = open_count(FROM, ("Eu-152",), False)
    return one, calibrate([one.counted], crystal_of(DEFAULT_DETECTOR))


@cache
def relocked(name: str) -> tuple[Counted, Relock]:
    """A held-out spectrum and its re-lock, gain only, of the scale from Eu-152."""
    one = open_count(name, *HELD_OUT[name])
    return one, relock(one.counted, base()[1].scales[0], crystal_of(DEFAULT_DETECTOR))


def _polynomials() -> tuple[PeakPolynomial, ...]:
    scale = base()[1].scales[0]
    return peak_polynomials(scale.groups, scale)


def readings(name: str, *, moved: bool = True) -> list[GroupReading]:
    """All groups of a held-out spectrum, read with each scale.

    Parameters
    ----------
    name
        One of `HELD_OUT`.
    moved
        Whether scale and polynomials follow the gain (False: as they came from Eu-152).
    """
    one, found = relocked(name)
    old = base()[1].scales[0]
    scale = found.scale if moved else old
    ratio = found.gain_ratio.value if moved else 1.0
    claimed = one.spectrum.claimed_scale
    rows = []
    for group in found.scale.groups:
        energy = float(scale.energy_kev(group.channel))
        slope = float(scale.pulse.slope_per_kev(energy))
        u = np.sqrt(float(scale.u_energy_kev(energy)) ** 2 + (group.u_channel / slope) ** 2 + group.u_energy_kev**2)
        at_old_gain = old.pulse.c0 + (group.channel - old.pulse.c0) / ratio
        rows.append(
            GroupReading(
                name,
                group.name,
                group.energy_kev,
                float("nan") if claimed is None else float(claimed.energy_kev(group.channel)),
                tuple(float(p.energy_kev(at_old_gain)) for p in _polynomials()),
                energy,
                float(u),
                group.used,
            )
        )
    return rows


def interval_above() -> list[tuple[float, float, float]] | str:
    """Am-241 and Cs-137 alone, above 700 keV: (true energy, what the scale says, its u); or why it is refused.

    The truth is the Eu-152 scale re-locked to the same Cs-137 spectrum.
    """
    both = [open_count(name, *HELD_OUT[name]).counted for name in ("am241-1h", "cs137-1h")]
    try:
        scale = calibrate(both, crystal_of(DEFAULT_DETECTOR)).scales[1]
    except RefusedError as refusal:
        return str(refusal)
    truth = relocked("cs137-1h")[1].scale
    rows = []
    for energy in _ABOVE_KEV:
        says = float(scale.energy_kev(truth.channel(energy)))
        rows.append((energy, says, float(np.hypot(scale.u_energy_kev(says), truth.u_energy_kev(energy)))))
    return rows


def _percent(value: float, energy: float) -> str:
    return f"{100.0 * (value / energy - 1.0):+.1f}"


def _table(name: str) -> Table:
    head = (
        "group",
        "keV",
        "as found, %",
        "degree 1, %",
        "degree 2, %",
        "degree 3, %",
        "this scale, %",
        "u, %",
        "in 95 %",
    )
    rows = []
    for r in readings(name, moved=name != "eu152-10min"):
        rows.append(
            (
                r.name.rsplit(" ", 2)[0] + ("" if r.in_gain else " (left out)"),
                f"{r.energy_kev:.1f}",
                _percent(r.as_found_kev, r.energy_kev),
                *(_percent(p, r.energy_kev) for p in r.polynomials_kev),
                _percent(r.scale_kev, r.energy_kev),
                f"{100.0 * r.u_kev / r.energy_kev:.1f}",
                "yes" if r.inside else "no",
            )
        )
    how = "scale as it came" if name == "eu152-10min" else f"gain moved {100 * (_ratio(name) - 1):+.2f} %"
    return Table(f"{name} ({', '.join(HELD_OUT[name][0])}; {how})", head, tuple(rows))


def _ratio(name: str) -> float:
    return relocked(name)[1].gain_ratio.value


def _summary(names: list[str]) -> Iterator[str]:
    rows = [r for n in names if n != "eu152-10min" for r in readings(n) if r.energy_kev > 200]
    over = [r for r in rows if abs(r.error_percent) > 2.5]
    root = np.sqrt(np.mean([r.error_percent**2 for r in rows]))
    found = np.sqrt(np.mean([(100 * (r.as_found_kev / r.energy_kev - 1)) ** 2 for r in rows]))
    yield (
        f"After the re-lock, {len(rows)} groups above 200 keV: root mean square {root:.2f} % (as found {found:.2f} %), "
        f"{sum(r.inside for r in rows)} inside their stated 95 % interval, {len(over)} beyond 2.5 %."
    )
    for degree in (1, 2, 3):
        errors = [100 * (r.polynomials_kev[degree - 1] / r.energy_kev - 1) for r in rows]
        yield f"The polynomial of degree {degree} with the same re-lock: {np.sqrt(np.mean(np.square(errors))):.2f} %."
    for r in over:
        strength = 100 * r.u_kev / r.energy_kev
        yield f"Beyond 2.5 %: {r.spectrum}, {r.name}, {r.error_percent:+.1f} % (stated u {strength:.1f} %)."


def main() -> int:
    """Print the figures and write docs/validation/open-spectra.md with its pictures."""
    if not FOLDER.is_dir():
        print(f"the open spectra are not at {FOLDER}; nothing to do.")
        return 0
    here = commit()  # before the pictures are written
    names, refused = [], []
    pictures = PAGES / "open-spectra"
    pictures.mkdir(parents=True, exist_ok=True)
    one, calibration = base()
    shown = [(FROM, save(_picture(one, calibration.scales[0], calibration.spectra[0], FROM), pictures / f"{FROM}.png"))]
    for name in HELD_OUT:
        try:
            counted, found = relocked(name)
        except RefusedError as refusal:
            refused.append(f"{name}: refused. {refusal}")
            continue
        names.append(name)
        shown.append((name, save(_picture(counted, found.scale, found.fitted, name), pictures / f"{name}.png")))
    tables = [_table(name) for name in names]
    above = interval_above()
    notes = [*_summary(names), *refused]
    if isinstance(above, str):
        notes.append(f"Am-241 and Cs-137 alone: refused. {above}")
    else:
        rows = tuple(
            (f"{e:.0f}", f"{says:.0f}", f"{u:.0f}", "yes" if abs(says - e) <= _K95 * u else "no")
            for e, says, u in above
        )
        head = ("true keV", "the scale says, keV", "u, keV", "in 95 %")
        tables.append(Table("Am-241 and Cs-137 alone, above 700 keV", head, rows))
    for table in tables:
        print(table.text(), end="\n\n")
    print("\n".join(notes))
    write_whole(PAGES / "open-spectra.md", _page(tables, notes, shown, here))
    return 0


def _picture(one: Counted, scale: EnergyScale, fitted: FittedSpectrum, name: str) -> Figure:
    return picture_of_spectrum(one.spectrum, scale, fitted, f"{name}: {one.counted.sample.name}")


def _page(tables: list[Table], notes: list[str], shown: list[tuple[str, Path]], here: str) -> str:
    facts = [
        "- command: `python -m studies.open_spectra`",
        "- seed: none; nothing is random",
        f"- date: {datetime.now(UTC).date().isoformat()}",
        f"- commit: {here}",
        f"- program: truekev {__version__}",
    ]
    data = (
        "Data: measured by staff of SÚRO, the National Radiation Protection Institute, Prague; repository "
        "`juhele/opengeodata`, CC BY-SA 4.0. The pictures here are drawn from them and are under "
        "[the same licence](open-spectra/LICENCE.md). "
        "Energies are those of the line tables of this program (DDEP, ENSDF)."
    )
    credit = (
        "*Counts: SÚRO, Prague, CC BY-SA 4.0; drawn here with the fitted model: [licence](open-spectra/LICENCE.md).*"
    )
    figures = [f"![{name}: counts, model and residuals](open-spectra/{file.name})\n\n{credit}" for name, file in shown]
    doc = (__doc__ or "").split("\n\n", 1)
    parts = ["# " + doc[0].rstrip("."), doc[1].strip(), data, *(t.markdown() for t in tables)]
    parts += ["\n".join(f"- {note}" for note in notes), *figures, "\n".join(facts)]
    return "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    raise SystemExit(main())
