"""Builds the tables of elements, photon cross sections, atomic shells, X-rays and bremsstrahlung.

The two wheels that carry the numbers are needed only here; put them into a folder first:
    pip install --target FOLDER --no-deps ompmc==0.4.0 xpecgen==1.3.1
    python tools/build_matter_tables.py FOLDER
"""

from __future__ import annotations

import hashlib
import io
import sys
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import xraylib
from chemicals.elements import periodic_table

TABLES = Path(__file__).parents[1] / "src" / "truekev" / "tables"
N_ELEMENTS = 92
MAX_KEV = 5100.0
SHELLS = "K L1 L2 L3 M1 M2 M3 M4 M5 N1 N2 N3 N4 N5 N6 N7 O1 O2 O3 O4 O5 O6 O7 P1 P2 P3 P4 P5 Q1 Q2 Q3".split()
# ICRU Report 37 (1984), table 4.3, mean excitation energies of the elements; from memory.
MEAN_EXCITATION_EV = [
    float(v)
    for v in (
        "19.2 41.8 40 63.7 76 78 82 95 115 137 149 156 166 173 173 180 174 188 190 191 216 233 245 257 272 286 297 "
        "311 322 330 334 350 347 348 343 352 363 366 379 393 417 424 428 441 449 470 470 469 488 488 487 485 491 482 "
        "488 491 501 523 535 546 560 574 580 591 614 628 650 658 674 684 694 705 718 727 736 746 757 790 790 800 810 "
        "823 823 825 825 794 827 826 841 847 878 890"
    ).split()
]
XRAYLIB_CITATION = "xraylib {v} (T. Schoonjans et al., Spectrochim. Acta B 66 (2011) 776): {what}; elements 1 to 92."


def write_table(name: str, data: bytes, *, what: str, units: str, citation: str, version: str, licence: str) -> None:
    """Write a table and its provenance."""
    (TABLES / name).write_bytes(data)
    fields = {
        "what": what,
        "units": units,
        "citation": citation,
        "version": version,
        "licence": licence,
        "date": date.today().isoformat(),
        "sha256": hashlib.sha256(data).hexdigest(),
        "built_by": "tools/build_matter_tables.py",
    }
    text = "".join(f'{key} = "{value}"\n' for key, value in fields.items())
    (TABLES / f"{name}.provenance.toml").write_text(text, encoding="utf-8")
    print(f"{name}: {len(data)} bytes")


def npz(**arrays: np.ndarray[Any, Any]) -> bytes:
    """A compressed archive whose bytes depend on the arrays only."""
    stream = io.BytesIO()
    np.savez_compressed(stream, allow_pickle=False, **arrays)
    return stream.getvalue()


def xraylib_value(name: str, *arguments: float) -> float:
    """The value of an xraylib function, 0 where it has none."""
    try:
        return float(getattr(xraylib, name)(*arguments))
    except ValueError:
        return 0.0


def read_xcom(folder: Path, process: str) -> list[np.ndarray[Any, Any]]:
    """For each element pairs (ln of energy in keV, ln of barn per atom) up to MAX_KEV."""
    words = (folder / "ompmc" / "data" / f"xcom_{process}.data").read_text().split()
    elements = []
    start = 0
    for _ in range(N_ELEMENTS):
        n = int(words[start])
        pairs = np.array(words[start + 1 : start + 1 + 2 * n], dtype=float).reshape(n, 2)
        pairs[:, 0] += np.log(1000.0)
        keep = pairs[:, 0] <= np.log(MAX_KEV)
        if pairs[-1, 0] > np.log(MAX_KEV):
            keep[np.argmin(keep)] = True
        elements.append(pairs[keep])
        start += 1 + 2 * n
    return elements


def photon_cross_sections(folder: Path) -> None:
    """XCOM partial cross sections."""
    arrays: dict[str, np.ndarray[Any, Any]] = {}
    for process in ("photo", "compton", "rayleigh", "pair", "triplet"):
        pairs = read_xcom(folder, process)
        arrays[f"{process}_start"] = np.cumsum([0] + [len(p) for p in pairs]).astype(np.int32)
        arrays[f"{process}_ln_kev"] = np.concatenate([p[:, 0] for p in pairs])
        arrays[f"{process}_ln_barn"] = np.concatenate([p[:, 1] for p in pairs]).astype(np.float32)
    write_table(
        "photon_cross_sections.npz",
        npz(**arrays),
        what="Partial photon cross sections per atom, elements 1 to 92: photoelectric, incoherent, coherent, "
        "pair in the nuclear and in the electron field; edges stand twice, before and after the jump",
        units="ln(keV); ln(barn per atom)",
        citation="NIST XCOM (M. J. Berger, J. H. Hubbell et al., NIST Standard Reference Database 8), as shipped in "
        "the wheel of ompmc 0.4.0; read at build time only",
        version="ompmc 0.4.0",
        licence="NIST XCOM data, work of the US Government, not subject to copyright in the USA",
    )


def elements() -> None:
    """Symbols, atomic weights, mean excitation energies."""
    lines = ["z,symbol,atomic_weight,mean_excitation_ev"]
    for z in range(1, N_ELEMENTS + 1):
        lines.append(f"{z},{xraylib.AtomicNumberToSymbol(z)},{periodic_table[z].MW:.6g},{MEAN_EXCITATION_EV[z - 1]:g}")
    write_table(
        "elements.csv",
        "\n".join(lines).encode() + b"\n",
        what="Symbol, atomic weight and mean excitation energy of the elements",
        units="g/mol; eV",
        citation="Atomic weights: chemicals. Mean excitation energies: ICRU Report 37 (1984), table 4.3, from memory",
        version="chemicals 1.5",
        licence="facts",
    )


def shells_and_lines() -> None:
    """Shells with binding, occupancy, Compton profile and yield; K and L X-rays."""
    shells = ["z,shell,edge_kev,electrons,profile_at_zero,fluorescence_yield"]
    lines = ["z,vacancy,filled_from,energy_kev,probability"]
    for z in range(1, N_ELEMENTS + 1):
        profile = 0.0
        for number, shell in enumerate(SHELLS):
            electrons = xraylib_value("ElectronConfig", z, number)
            edge = xraylib_value("EdgeEnergy", z, number)
            # a subshell without a profile of its own (C L3) has that of its partner
            profile = xraylib_value("ComptonProfile_Partial", z, number, 0.0) or profile
            fluorescence = xraylib_value("FluorYield", z, number) if number < 4 else 0.0
            if electrons > 0 and profile > 0:
                shells.append(f"{z},{shell},{edge:.6g},{electrons:g},{profile:.6g},{fluorescence:.6g}")
            if fluorescence == 0:
                continue
            for other in SHELLS[number + 1 :]:
                line = getattr(xraylib, f"{shell}{other}_LINE", None)
                if line is None:
                    continue
                probability = fluorescence * xraylib_value("RadRate", z, line)
                energy = xraylib_value("LineEnergy", z, line)
                if probability > 1e-6 and energy > 0:
                    lines.append(f"{z},{shell},{other},{energy:.6g},{probability:.5g}")
    version = xraylib.__version__
    write_table(
        "atomic_shells.csv",
        "\n".join(shells).encode() + b"\n",
        what="Atomic shells: edge, electrons, Compton profile at zero momentum per electron, K and L yields",
        units="keV; 1; 1/atomic unit of momentum; 1",
        citation=XRAYLIB_CITATION.format(v=version, what="edges, Biggs Compton profiles, Krause yields"),
        version=f"xraylib {version}",
        licence="BSD-3-Clause",
    )
    write_table(
        "xray_lines.csv",
        "\n".join(lines).encode() + b"\n",
        what="K and L X-rays: energy and probability per vacancy (yield times radiative rate), without Coster-Kronig",
        units="keV; 1",
        citation=XRAYLIB_CITATION.format(v=version, what="line energies, radiative rates, yields"),
        version=f"xraylib {version}",
        licence="BSD-3-Clause",
    )


def shell_shares() -> None:
    """Share of K, L1, L2, L3 in photoelectric absorption."""
    n_points = 16
    top_kev = 199.0
    energy = np.zeros((N_ELEMENTS, 4, n_points))
    share = np.zeros((N_ELEMENTS, 4, n_points), dtype=np.float32)
    for z in range(1, N_ELEMENTS + 1):
        for shell in range(4):
            edge = xraylib_value("EdgeEnergy", z, shell)
            if edge < 1.0:
                continue
            grid = np.geomspace(edge * 1.0005, top_kev, n_points)
            energy[z - 1, shell] = grid
            for i, kev in enumerate(grid):
                # each shell's share of what the deeper shells leave: smooth across their edges
                rest = xraylib_value("CS_Photo_Total", z, kev)
                rest -= sum(xraylib_value("CS_Photo_Partial", z, deeper, kev) for deeper in range(shell))
                share[z - 1, shell, i] = xraylib_value("CS_Photo_Partial", z, shell, kev) / rest
    write_table(
        "photoelectric_shares.npz",
        npz(energy_kev=energy, share=share),
        what="Share of K, L1, L2, L3 in the photoelectric absorption that the deeper shells leave, 16 energies from "
        "each edge to 199 keV; zero where the edge lies below 1 keV",
        units="keV; 1",
        citation=XRAYLIB_CITATION.format(v=xraylib.__version__, what="Kissel partial photoelectric cross sections"),
        version=f"xraylib {xraylib.__version__}",
        licence="BSD-3-Clause",
    )


def scattering_functions() -> None:
    """Incoherent scattering function and form factor."""
    x = np.geomspace(0.005, 260.0, 96)
    incoherent = np.array([[xraylib_value("SF_Compt", z, v) for v in x] for z in range(1, N_ELEMENTS + 1)])
    form = np.array([[xraylib_value("FF_Rayl", z, v) for v in x] for z in range(1, N_ELEMENTS + 1)])
    write_table(
        "scattering_functions.npz",
        npz(
            x_per_angstrom=x,
            incoherent=incoherent.astype(np.float32),
            form_factor=form.astype(np.float32),
        ),
        what="Incoherent scattering function and atomic form factor against x = sin(theta/2)/wavelength",
        units="1/angstrom; electrons; electrons",
        citation=XRAYLIB_CITATION.format(v=xraylib.__version__, what="SF_Compt, FF_Rayl (Hubbell et al. 1975, 1979)"),
        version=f"xraylib {xraylib.__version__}",
        licence="BSD-3-Clause",
    )


def bremsstrahlung(folder: Path) -> None:
    """Scaled bremsstrahlung cross sections."""
    data = folder / "xpecgen" / "data" / "cs"
    kev, fraction = (np.array(line.split(","), dtype=float) for line in (data / "grid.csv").read_text().split())
    keep = kev <= MAX_KEV
    scaled = [np.loadtxt(data / f"{z:02d}.csv", delimiter=",")[keep] for z in range(1, N_ELEMENTS + 1)]
    write_table(
        "bremsstrahlung.npz",
        npz(electron_kev=kev[keep], fraction=fraction, scaled_mb=np.array(scaled, dtype=np.float32)),
        what="Bremsstrahlung: (beta/Z)^2 k dsigma/dk against electron energy and k over electron energy",
        units="keV; 1; mb",
        citation="S. M. Seltzer and M. J. Berger, At. Data Nucl. Data Tables 35 (1986) 345, as shipped in xpecgen "
        "1.3.1; read at build time only",
        version="xpecgen 1.3.1",
        licence="published numbers (facts); the carrying package is GPL-3.0 and no part of this program",
    )


# Mengesha, Taulbee, Rooney, Valentine, IEEE TNS 45 (1998) 456 and Rooney, Valentine, IEEE TNS 44 (1997) 509: figures,
# from memory; below 10 keV and above 450 keV the trend of the photon curves, wider bands.
ELECTRON_RESPONSE = {
    "CsI(Tl)": (
        (0.1, 0.95, 0.15), (1, 1.05, 0.10), (3, 1.11, 0.08), (10, 1.14, 0.06), (30, 1.13, 0.05), (100, 1.07, 0.04),
        (300, 1.02, 0.02), (450, 1.00, 0.01), (1000, 0.985, 0.015), (2000, 0.975, 0.02), (3000, 0.97, 0.025),
    ),
    "NaI(Tl)": (
        (0.1, 0.85, 0.20), (1, 1.02, 0.10), (3, 1.12, 0.08), (10, 1.18, 0.05), (30, 1.16, 0.05), (100, 1.09, 0.03),
        (400, 1.01, 0.01), (1000, 0.985, 0.015), (2000, 0.975, 0.02), (3000, 0.97, 0.025),
    ),
}  # fmt: skip


def electron_response() -> None:
    """Relative light of electrons in CsI(Tl) and NaI(Tl)."""
    lines = ["scintillator,energy_kev,relative_light,band_half_width"]
    for name, points in ELECTRON_RESPONSE.items():
        lines += [f"{name},{kev:g},{light:g},{band:g}" for kev, light, band in points]
    write_table(
        "electron_response.csv",
        "\n".join(lines).encode() + b"\n",
        what="Light of an electron per energy relative to one of 450 keV, with the half-width of a plausible band: "
        "a prior for the shape, no calibration data",
        units="keV; 1; 1",
        citation="Mengesha et al., IEEE TNS 45 (1998) 456; Rooney and Valentine, IEEE TNS 44 (1997) 509; figures, "
        "from memory, no numeric table seen",
        version="from memory, 2026",
        licence="facts",
    )


if __name__ == "__main__":
    packages = Path(sys.argv[1])
    elements()
    photon_cross_sections(packages)
    shells_and_lines()
    shell_shares()
    scattering_functions()
    bremsstrahlung(packages)
    electron_response()
