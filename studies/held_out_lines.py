"""Whole spectrum, real: the scale from Eu-152 alone, judged by local shifts of held-out full-energy lines.

The shape comes from `eu152-1h` (gain unknown, background of the same office). Every other spectrum is re-locked, gain
only; then the lines of each group, inside 1.8 standard deviations, are given a shift of their own with everything else
fixed. A group can tell where its own uncertainty (counting, and the model error allowed for under it) is below 1 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from studies.frame import PAGES, Table, commit
from studies.open_spectra import FOLDER, open_count
from truekev.errors import RefusedError
from truekev.files import write_whole
from truekev.job.counted import Counted
from truekev.pictures.canvas import save
from truekev.pictures.scale_pictures import picture_of_spectrum
from truekev.scale.calibrate_peaks import FittedSpectrum
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.whole.calibrate_whole import WholeCalibration, calibrate_whole
from truekev.scale.whole.parts import SUMS
from truekev.scale.whole.relock_whole import WholeRelock, relock_whole
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.version import __version__

__all__ = ["FOLDER", "FROM", "HELD_OUT", "Shift", "base", "main", "relocked", "shifts"]

FROM = "eu152-1h"
# Spectrum, what it holds, whether it stood in the office, and whether it has several groups to be judged by.
HELD_OUT: dict[str, tuple[tuple[str, ...], bool, bool]] = {
    "eu152-10min": (("Eu-152",), True, True),
    "radon-progeny-1h": (("radon-progeny",), False, True),
    "thorium-bearing-norm-2h": (("thorium-vial", "radium-dial"), True, True),
    "cs137-1h": (("Cs-137",), True, False),
    "am241-1h": (("Am-241",), True, False),
    "potassium-fertiliser-12min": (("K-40",), True, False),
}
TELLING_PERCENT = 1.0
_K95 = 1.96


@dataclass(frozen=True)
class Shift:
    """Local shift of one group.

    `percent` is what the scale reads over the energy, less one; `u_own` its own uncertainty, `u_counting` the part from
    counting, `u_scale` what the scale states there.
    """

    spectrum: str
    name: str
    energy_kev: float
    percent: float
    u_counting: float
    u_own: float
    u_scale: float

    @property
    def inside(self) -> bool:
        """Whether the line's energy lies in the 95 % interval that is stated for its reading."""
        return abs(self.percent) <= _K95 * float(np.hypot(self.u_scale, self.u_own))

    @property
    def telling(self) -> bool:
        """Whether the group is known well enough to judge a scale by."""
        return self.u_own < TELLING_PERCENT


@cache
def base() -> tuple[Counted, WholeCalibration]:
    """The spectrum that the scale comes from, and its calibration."""
    one = open_count(FROM, ("Eu-152",), True)
    return one, calibrate_whole([one.counted], crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR))


@cache
def relocked(name: str) -> tuple[Counted, WholeRelock]:
    """A held-out spectrum and its re-lock, gain only."""
    one = open_count(name, *HELD_OUT[name][:2])
    old = base()[1].calibration.scales[0]
    return one, relock_whole(one.counted, old, crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR))


def shifts(name: str) -> list[Shift]:
    """Local shifts of the groups that stand out in a held-out spectrum."""
    _, found = relocked(name)
    scale = found.relock.scale
    shown = {group.energy_kev for group in scale.groups}
    rows = []
    for one in found.shifts:
        energy = one.group.centroid_kev
        if energy not in shown:
            continue
        own = float(np.hypot(one.u_percent, 100.0 * one.group.u_centroid_kev / energy))
        u_scale = 100.0 * float(scale.u_energy_kev(energy)) / energy
        rows.append(Shift(name, one.group.name, energy, one.percent, one.u_counting_percent, own, u_scale))
    return rows


def _sums(name: str) -> float | None:
    """Share of the sums of cascades in what is not background; None where the model has none."""
    found = relocked(name)[1]
    names = found.start.parts.names
    own = found.fit.spectra[0].strengths[: len(names)]
    return float(own[names.index(SUMS)] / own.sum()) if SUMS in names else None


def _summary(rows: list[Shift]) -> list[str]:
    judged = [r for r in rows if HELD_OUT[r.spectrum][2] and r.telling]
    high = [r for r in judged if r.energy_kev >= 120]
    low = [r for r in judged if 59 <= r.energy_kev <= 81]
    size = np.array([r.percent for r in high])
    own = np.array([r.u_own for r in high])
    worst = max(high, key=lambda r: abs(r.percent))
    excess = [r for r in high if abs(r.percent) > 1.5 + 2 * r.u_own]
    weight = 1.0 / own**2
    lines = [
        f"From 120 keV up, {len(high)} groups known to {TELLING_PERCENT:g} % of sources with several groups: root mean "
        f"square {np.sqrt(np.mean(size**2)):.2f} %, weighed by their own uncertainty "
        f"{np.sqrt((weight * size**2).sum() / weight.sum()):.2f} %, median {np.median(np.abs(size)):.2f} %; largest "
        f"{worst.percent:+.2f} % ({worst.spectrum}, {worst.energy_kev:.0f} keV, own u {worst.u_own:.2f} %); beyond "
        f"1.5 % and twice their own uncertainty: {len(excess)}.",
        "At 59 to 81 keV: "
        + "; ".join(f"{r.spectrum} {r.energy_kev:.0f} keV {r.percent:+.2f} % (own u {r.u_own:.2f} %)" for r in low)
        + ".",
        f"Inside the 95 % interval stated for the reading: {sum(r.inside for r in judged)} of {len(judged)} telling "
        f"groups, {sum(r.inside for r in rows)} of all {len(rows)}.",
    ]
    lines.append(
        "Sums of cascades, of the counts that are not background: "
        + "; ".join(f"{name} {100.0 * share:.1f} %" for name in HELD_OUT if (share := _sums(name)) is not None)
        + ". The residue stood 10 cm away and has none, as it should; the bottle was close. Nuclides by name are taken "
        "to stand 10 cm away."
    )
    names = sorted({r.spectrum for r in rows} - {"eu152-10min"})
    gains = [relocked(name)[1].relock.gain_ratio for name in names]
    known = np.array([gain.value for gain in gains if gain.u < 0.01])
    farthest = 100.0 * float(np.abs(known / known.mean() - 1.0).max())
    lines.append(
        "Gain over that of the Eu-152 count, one epoch: "
        + "; ".join(f"{name} {gain}" for name, gain in zip(names, gains, strict=True))
        + f". Those known to 1 % lie within {farthest:.2f} % of their mean; the data set says that gains inside an "
        "epoch agree to about 0.8 %, and that the Eu-152 count was taken at a gain about 2.6 % lower."
    )
    return lines


def _table(name: str) -> Table:
    head = ("group", "keV", "shift, %", "u from counting, %", "own u, %", "u of the scale, %", "in 95 %", "judged")
    rows = tuple(
        (
            r.name,
            f"{r.energy_kev:.1f}",
            f"{r.percent:+.2f}",
            f"{r.u_counting:.2f}",
            f"{r.u_own:.2f}",
            f"{r.u_scale:.2f}",
            "yes" if r.inside else "no",
            "yes" if r.telling and HELD_OUT[name][2] else "no",
        )
        for r in shifts(name)
    )
    found = relocked(name)[1]
    title = (
        f"{name} ({', '.join(HELD_OUT[name][0])}): gain {found.relock.gain_ratio} of Eu-152's. {found.verdict.words}"
    )
    return Table(title, head, rows)


def _picture(one: Counted, scale: EnergyScale, fitted: FittedSpectrum, name: str) -> Figure:
    return picture_of_spectrum(one.spectrum, scale, fitted, f"{name}: {one.counted.sample.name}")


def main() -> int:
    """Print the figures and write docs/validation/held_out_lines.md with its pictures."""
    if not FOLDER.is_dir():
        print(f"the open spectra are not at {FOLDER}; nothing to do.")
        return 0
    here = commit()
    folder = PAGES / "held-out-lines"
    folder.mkdir(parents=True, exist_ok=True)
    one, calibration = base()
    scale = calibration.calibration.scales[0]
    pictures = [(FROM, save(_picture(one, scale, calibration.calibration.spectra[0], FROM), folder / f"{FROM}.png"))]
    tables, rows, refused = [], [], []
    for name in HELD_OUT:
        try:
            counted, found = relocked(name)
        except RefusedError as refusal:
            refused.append(f"{name}: refused. {refusal}")
            continue
        tables.append(_table(name))
        rows += shifts(name)
        drawn = _picture(counted, found.relock.scale, found.relock.fitted, name)
        pictures.append((name, save(drawn, folder / f"{name}.png")))
    notes = [*_summary(rows), *refused]
    for table in tables:
        print(table.text(), end="\n\n")
    print("\n".join(notes))
    write_whole(PAGES / "held_out_lines.md", _page(tables, notes, pictures, here))
    return 0


def _page(tables: list[Table], notes: list[str], pictures: list[tuple[str, Path]], here: str) -> str:
    data = (
        "Data: measured by staff of SÚRO, the National Radiation Protection Institute, Prague; repository "
        "`juhele/opengeodata`, CC BY-SA 4.0. The pictures here are drawn from them and are under the same licence."
    )
    facts = [
        "- command: `python -m studies.held_out_lines`",
        "- seed: none; nothing is random",
        f"- date: {datetime.now(UTC).date().isoformat()}",
        f"- commit: {here}",
        f"- program: truekev {__version__}",
    ]
    head, _, rest = (__doc__ or "").partition("\n\n")
    figures = [
        f"![{name}: counts, model and residuals](held-out-lines/{file.name})\n\nSpectrum: SÚRO, CC BY-SA 4.0."
        for name, file in pictures
    ]
    parts = ["# " + head.rstrip("."), rest.strip(), data, *(t.markdown() for t in tables)]
    parts += ["\n".join(f"- {note}" for note in notes), *figures, "\n".join(facts)]
    return "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    raise SystemExit(main())
