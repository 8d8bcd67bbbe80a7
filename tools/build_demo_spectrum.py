"""Builds the demo's spectra: src/truekev/tables/demo_*.csv, with their provenance.

Invented data: a college teaching lab counts its bundle of thoriated rods on a pocket spectrometer with a
10 mm CsI(Tl) cube. Nothing was measured; the spectra come from the simulator in tests/support/truth, which
shares no model with the program and needs the reference tables in ../shared.

Run: python tools/build_demo_spectrum.py
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
for _folder in (ROOT, ROOT / "src"):
    if str(_folder) not in sys.path:
        sys.path.insert(0, str(_folder))

from tests.support.truth import Truth, is_available, simulate_spectrum, true_channel  # noqa: E402
from tests.support.truth.draw import Resolution, Room, Surroundings, thorium_nuclides  # noqa: E402
from tests.support.truth.light import draw_light  # noqa: E402

from truekev.errors import DataError, TruekevError  # noqa: E402
from truekev.files import write_whole  # noqa: E402
from truekev.record import sha256_of  # noqa: E402
from truekev.version import __version__  # noqa: E402

TABLES = ROOT / "src" / "truekev" / "tables"
SEED = 4711
LATER_GAIN = 1.018
_INVENTED = "invented data, simulated; nothing was measured"
_DETECTOR = "CsI(Tl) cube 10 x 10 x 10 mm, pocket spectrometer (invented)"

# Peaks whose true place the demo may compare with: full-energy lines of the thorium series (DDEP), and two
# more that other everyday sources have.
PEAKS_KEV = (
    ("Am-241", 59.541),
    ("Pb-212", 77.109),
    ("Pb-212", 238.632),
    ("Ac-228", 338.320),
    ("Tl-208", 583.187),
    ("Cs-137", 661.655),
    ("Ac-228", 911.196),
    ("K-40", 1460.822),
    ("Tl-208", 2614.511),
)


def lab() -> Truth:
    """The invented lab: 3.2 MeV over 1024 channels; an hour of rods, two hours of room."""
    radium = tuple((n, 0.9) for n in ("Ra-226", "Pb-214", "Bi-214"))
    return Truth(
        source="thorium",
        # Rods some twelve years old: Ra-228 to Th-228 1.15 (CHECK_VALUES, row 23).
        nuclides=thorium_nuclides(1.0, 1.15),
        net_counts=190_000.0,
        light=draw_light(np.random.default_rng(SEED)),
        saturation_per_mev=0.008,
        resolution=Resolution(w0_kev=3.5, w1_root_kev=1.7, w2=0.036, tail_fraction=0.015, tail_sigma=1.0),
        surroundings=Surroundings(
            back_of_peak=0.45,
            side=0.05,
            forward=0.10,
            body="W",
            body_mm=1.8,
            window_al_mm=0.6,
            fluorescence=0.15,
            bremsstrahlung=0.12,
            bremsstrahlung_mean_kev=200.0,
        ),
        room=Room(
            nuclides=(("K-40", 13.0), *radium, *thorium_nuclides(0.8, 1.0)),
            scattered_per_line=5.0,
            fall_kev=85.0,
            cut_kev=85.0,
            cosmic_share=0.008,
        ),
        background_ratio=0.15,
        full_scale_kev=3200.0,
        zero_kev=-1.0,
        n_channels=1024,
        threshold_kev=17.0,
        threshold_width_kev=2.5,
        overflow_in_last_channel=False,
        live_time_s=3600.0,
        background_live_time_s=7200.0,
        background_gain_factor=1.002,
    )


def later(truth: Truth) -> Truth:
    """The same lab on a colder morning: gain higher by 1.8 %, about 4000 counts."""
    live_s = 66.0
    return replace(
        truth,
        gain_factor=LATER_GAIN,
        net_counts=truth.net_counts * live_s / truth.live_time_s,
        live_time_s=live_s,
        background_live_time_s=None,
    )


def _columns(facts: Mapping[str, str], counts: np.ndarray) -> str:
    lines = [f"# {name}: {value}" for name, value in facts.items()]
    lines += ["channel,counts", *(f"{i},{int(n)}" for i, n in enumerate(counts))]
    return "\n".join(lines) + "\n"


def demo_files() -> dict[str, tuple[str, str, str]]:
    """Name to (text, what, units) of every file of the demo."""
    if not is_available():
        raise DataError("the reference tables in ../shared are not here, and the demo's spectra are made from them.")
    truth, rng = lab(), np.random.default_rng(SEED)
    first = simulate_spectrum(truth, rng)
    second = simulate_spectrum(later(truth), rng)
    assert first.background is not None
    # The lab's scale: a straight line through nothing and a Cs-137 peak, set once and never looked at again.
    per_channel = 661.657 / float(true_channel(truth, 661.657))
    common = {
        "detector": _DETECTOR,
        "as-found energy scale, keV": f"0 + {per_channel:.5f} ch",
        "remark": _INVENTED,
    }
    rods = "bundle of thoriated tungsten rods, 10 mm from the crystal, college teaching lab"
    spectra = {
        "demo_rods.csv": (
            {"sample": rods, "started": "2026-03-02T09:10:00", "live time": "3600 s", **common},
            first.spectrum.counts,
        ),
        "demo_background.csv": (
            {
                "sample": "the same bench without the rods",
                "role": "background",
                "started": "2026-03-02T10:25:00",
                "live time": "7200 s",
                **common,
            },
            first.background.counts,
        ),
        "demo_rods_later.csv": (
            {"sample": f"{rods}; a short count weeks later", "started": "2026-04-20T08:05:00", "live time": "66 s"}
            | common,
            second.spectrum.counts,
        ),
    }
    files = {
        name: (
            _columns(facts, counts),
            f"Spectrum for the demo, plain columns: {facts['sample']}. Invented data, simulated.",
            "channel (channel i covers i - 1/2 to i + 1/2); counts",
        )
        for name, (facts, counts) in spectra.items()
    }
    rows = ["# " + _INVENTED, "nuclide,energy_kev,channel,channel_later"]
    rows += [
        f"{nuclide},{energy:.3f},{float(true_channel(truth, energy)):.3f},"
        f"{float(true_channel(later(truth), energy)):.3f}"
        for nuclide, energy in PEAKS_KEV
    ]
    files["demo_true_peaks.csv"] = (
        "\n".join(rows) + "\n",
        "True places of full-energy peaks in demo_rods.csv and demo_rods_later.csv, known since both are simulated.",
        "energy_kev in keV; channel, channel_later: pulse coordinate of the peak's centre",
    )
    return files


def main() -> int:
    """Write the files and their provenance."""
    date = datetime.now(UTC).date().isoformat()
    try:
        for name, (text, what, units) in demo_files().items():
            write_whole(TABLES / name, text)
            entry = {
                "what": what,
                "units": units,
                "citation": "invented; simulated from tables of Geant4 11.4.1 (CsI cube), DDEP lines and NIST SRD 126",
                "version": f"seed {SEED}, simulator of truekev {__version__}",
                "licence": "MIT",
                "date": date,
                "sha256": sha256_of(text.encode()),
                "built_by": "tools/build_demo_spectrum.py",
            }
            write_whole(TABLES / f"{name}.provenance.toml", "".join(f'{k} = "{v}"\n' for k, v in entry.items()))
            print(f"{name}: {len(text.splitlines())} lines")
    except TruekevError as error:
        print(f"error: {error}", file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
