"""Builds `nuclides.csv` and `photon_lines.csv` in src/truekev/tables, each with its provenance.

Run from the root of the project: python tools/build_nuclear_tables.py
Needs at build time only: roentgen (DDEP decay files of LNHB), paceENSDF (ENSDF), xraylib (rates inside K' beta groups).

Rules, in the order they apply
------------------------------
1. DDEP where it has the nuclide; ENSDF for the nuclides of `FROM_ENSDF`.
2. A row of a DDEP file that names another nuclide as its emitter (a descendant in equilibrium) is left out.
3. Photons from 10 keV up. X-rays: K alpha lines singly, K' beta as groups, L as one group, as DDEP gives them.
   The energy DDEP prints for a K' beta group is the plain mean of its members; here it is the mean weighted with the
   relative rates of xraylib, because K beta 5 counts for 2 % and not for a third.
4. An uncertainty that the evaluation leaves out: intensity 50 % of itself (the line is known to exist, its strength is
   an estimate); gamma energy one unit of the last printed digit; K alpha 0.005 keV (DDEP and xraylib agree to
   that), K' beta group 0.05 keV, L group 0.3 keV (its mean depends on which subshells were emptied).
   K X-rays that follow from an incomplete set of conversion coefficients: 100 % of itself.
5. DDEP names ground states as daughters: `DAUGHTERS` puts right the places where the chain runs through an isomer that
   is a nuclide of its own here. Where DDEP books the lines of a short-lived isomer with the parent (Cs-137 with
   Ba-137m, Mo-99 with Tc-99m, Sn-113 with In-113m, Cd-109 with Ag-109m) the parent feeds the ground state only, so
   that nothing is counted twice.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import re
from collections.abc import Iterable, Sequence
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from typing import Any

import xraylib

TABLES = Path(__file__).parent.parent / "src" / "truekev" / "tables"
DATE = "2026-11-25"
LOWEST_KEV = 10.0
ANNIHILATION_KEV, U_ANNIHILATION_KEV = 510.99895, 0.00001  # CODATA electron mass
FROM_ENSDF = {
    "Lu-176": ("Hf-176", "beta-"),
    "Th-230": ("Ra-226", "alpha"),
    "Th-227": ("Ra-223", "alpha"),
    "U-233": ("Th-229", "alpha"),
    "Th-229": ("Ra-225", "alpha"),
    "I-132": ("Xe-132", "beta-"),
}
DAUGHTERS = {"Th-234": (("Pa-234m", 1.0),)}
BOOKED_WITH = {"Cs-137": "Ba-137m", "Mo-99": "Tc-99m", "Sn-113": "In-113m", "Cd-109": "Ag-109m"}
LEFT_OUT = {"Ra-226D"}  # a sum over a whole chain, not a nuclide

NUCLIDE_COLUMNS = ("nuclide", "z", "a", "half_life_s", "u_half_life_s", "daughters", "evaluation", "booked_with")
LINE_COLUMNS = ("nuclide", "energy_kev", "u_energy_kev", "intensity", "u_intensity", "kind", "evaluation")


def last_digit(text: str) -> float:
    """One unit of the last printed digit of a number."""
    decimals = text.partition(".")[2]
    return 10.0 ** -len(decimals)


def relative_u(product: Iterable[tuple[float, float]]) -> float:
    """Relative standard uncertainty of a product of (value, u)."""
    return math.sqrt(sum((u / value) ** 2 for value, u in product if value))


def number(value: float) -> str:
    """A number as short text that reads back within 1e-8 of it."""
    return f"{value:.8g}"


def beta_group_kev(z: int, group: str) -> float | None:
    """Mean energy [keV] of a K' beta group, weighted with xraylib's radiative rates; None where it has none."""
    members = {
        "XK'b1": (xraylib.KM2_LINE, xraylib.KM3_LINE, xraylib.KM4_LINE, xraylib.KM5_LINE),
        "XK'b2": (xraylib.KN2_LINE, xraylib.KN3_LINE, xraylib.KO2_LINE, xraylib.KO3_LINE),
    }[group]
    sums = [0.0, 0.0]
    for line in members:
        try:
            energy, rate = xraylib.LineEnergy(z, line), xraylib.RadRate(z, line)
        except ValueError:
            continue
        sums[0] += rate * energy
        sums[1] += rate
    return sums[0] / sums[1] if sums[1] else None


def ddep_photon(fields: Sequence[str], nuclide: str, evaluation: str) -> dict[str, object] | None:
    """One row of a DDEP file as a row of the table; None for what is no photon of this nuclide above 10 keV."""
    energy_text, u_energy_text, percent, u_percent, kind, origin = fields[:6]
    emitter = fields[8] if len(fields) > 8 else ""
    if kind not in {"g", "g511", "XKa1", "XKa2", "XK'b1", "XK'b2", "XL"} or emitter not in ("", nuclide):
        return None
    energy, intensity = float(energy_text), float(percent) / 100
    if energy < LOWEST_KEV or intensity <= 0:
        return None
    u_energy = float(u_energy_text) if u_energy_text else 0.0
    if kind == "g511":
        energy, u_energy, word = ANNIHILATION_KEV, U_ANNIHILATION_KEV, "annihilation"
    elif kind == "g":
        u_energy, word = u_energy or last_digit(energy_text), "gamma"
    else:
        word = "x-ray"
        u_energy = {"XKa1": 0.005, "XKa2": 0.005, "XK'b1": 0.05, "XK'b2": 0.05, "XL": 0.3}[kind]
        if kind.startswith("XK'b"):
            z = xraylib.SymbolToAtomicNumber(re.match(r"[A-Z][a-z]?", origin).group())  # type: ignore[union-attr]
            energy = beta_group_kev(z, kind) or energy
    return {
        "nuclide": nuclide,
        "energy_kev": number(energy),
        "u_energy_kev": number(u_energy),
        "intensity": number(intensity),
        "u_intensity": number(float(u_percent) / 100 if u_percent else 0.5 * intensity),
        "kind": word,
        "evaluation": evaluation,
    }


def read_ddep(text: str) -> tuple[dict[str, object], list[dict[str, object]]]:
    """Nuclide row and photon rows of one LNHB decay file."""
    header: dict[str, list[str]] = {}
    lines: list[dict[str, object]] = []
    in_lines = False
    evaluation = ""
    for raw in text.splitlines():
        fields = [field.strip() for field in raw.split(";")]
        if in_lines and len(fields) >= 6:
            row = ddep_photon(fields, header["Nuclide"][0], evaluation)
            if row is not None:
                lines.append(row)
        elif fields[0] == "Energy (keV)":
            in_lines = True
        elif len(fields) > 1:
            header[fields[0]] = fields[1:]
            if fields[0] == "Reference":
                evaluation = "DDEP " + fields[1].replace(" - ", " ")
    nuclide = header["Nuclide"][0]
    half_life = header["Half-life (s)"]
    named = header["Daughter(s)"]
    daughters = [(named[i + 1], float(named[i + 2]) / 100) for i in range(0, len(named) - 2, 3)]
    row = nuclide_row(
        nuclide,
        int(header["Z"][0]),
        (float(half_life[0]), float(half_life[1])),
        DAUGHTERS.get(nuclide, tuple(daughters)),
        evaluation,
    )
    return row, lines


def nuclide_row(
    nuclide: str, z: int, half_life_s: tuple[float, float], daughters: Iterable[tuple[str, float]], evaluation: str
) -> dict[str, object]:
    """A row of nuclides.csv."""
    mass_number = re.search(r"\d+", nuclide)
    assert mass_number is not None
    return {
        "nuclide": nuclide,
        "z": z,
        "a": int(mass_number.group()),
        "half_life_s": number(half_life_s[0]),
        "u_half_life_s": number(half_life_s[1]),
        "daughters": " ".join(f"{name}:{number(share)}" for name, share in daughters),
        "evaluation": evaluation,
        "booked_with": BOOKED_WITH.get(nuclide, ""),
    }


def ensdf_file(folder: str, start: str) -> dict[str, Any]:
    """The one ground-state file of paceENSDF in `folder` whose name begins so."""
    where = resources.files("paceENSDF") / folder
    (found,) = (f for f in where.iterdir() if f.name.startswith(start) and "_0keV" in f.name)
    return json.loads(found.read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def read_ensdf(nuclide: str, daughter: str) -> tuple[dict[str, object], list[dict[str, object]]]:
    """Nuclide row and photon rows of an ENSDF decay (gammas: relative intensity x normalisation x branching)."""
    parent_id, daughter_id = nuclide.replace("-", ""), daughter.replace("-", "")
    data = ensdf_file("ENSDF_JSON", f"j_input_{parent_id}_{daughter_id}_")
    evaluation = f"ENSDF (paceENSDF {version('paceENSDF')})"
    norm = data["decaySchemeNormalization"][0]["normalizationRecord"][0]
    factors = [
        (float(norm[name]), float(norm["d" + name[0].upper() + name[1:]]))
        for name in ("multiplerPhotonIntensity", "multiplerBranchingRatio")
    ]
    rows: list[dict[str, object]] = []

    def add(energy: float, u_energy: float, intensity: float, u_intensity: float, kind: str) -> None:
        if energy >= LOWEST_KEV and intensity > 0:
            cells = (energy, u_energy, intensity, u_intensity)
            rows.append(dict(zip(LINE_COLUMNS, (nuclide, *map(number, cells), kind, evaluation), strict=True)))

    k_edge = xraylib.EdgeEnergy(data["daughterAtomicNumber"], xraylib.K_SHELL)
    converted = unknown = 0.0  # photons that may convert in the K shell, with and without a coefficient
    for level in data["levelScheme"]:
        for gamma in level["gammaDecay"]:
            relative = (float(gamma["gammaIntensity"] or 0), float(gamma["dGammaIntensity"] or 0))
            intensity = relative[0] * factors[0][0] * factors[1][0] / 100
            u = intensity * relative_u([relative, *factors]) or 0.5 * intensity
            energy, u_energy = float(gamma["gammaEnergy"]), float(gamma["dGammaEnergy"] or 0)
            add(energy, u_energy or last_digit(repr(energy)), intensity, u, "gamma")
            if energy > k_edge and gamma["calculatedTotalInternalConversionCoefficient"]:
                converted += intensity
            elif energy > k_edge:
                unknown += intensity
    incomplete = unknown > 0.05 * converted
    x_rays = ensdf_file("PACE_JSON", f"j_gx_{parent_id}_0keV_")["totalProjectionXrays"]
    for name in ("Kalpha1", "Kalpha2", "Kalpha3", "Kbeta1", "Kbeta2", "Kbeta3"):
        if x_rays:
            percent, u_percent = x_rays[0][f"intensity{name}"], x_rays[0][f"dIntensity{name}"]
            u_kev = 0.005 if "alpha" in name else 0.05
            u = percent if incomplete else u_percent
            add(x_rays[0][f"energy{name}"], u_kev, percent / 100, u / 100, "x-ray")
    half_life = data["parentDecay"][0]["halfLife"][0]
    seconds = (half_life["halfLifeConverted"], half_life["dHalfLifeConverted"])
    return nuclide_row(nuclide, data["parentAtomicNumber"], seconds, ((daughter, 1.0),), evaluation), rows


def as_csv(columns: Sequence[str], rows: Iterable[dict[str, object]]) -> bytes:
    """Rows as CSV with a line feed at every end."""
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue().encode()


def write_table(name: str, data: bytes, **fields: str) -> None:
    """Write a table and its provenance."""
    (TABLES / name).write_bytes(data)
    fields = {
        "citation": "Decay Data Evaluation Project (DDEP), decay files of LNHB, each row names laboratory and "
        "year; Evaluated Nuclear Structure Data File (ENSDF) for " + ", ".join(FROM_ENSDF),
        "version": ", ".join(f"{p} {version(p)}" for p in ("roentgen", "paceENSDF", "xraylib")),
        "licence": "roentgen Apache-2.0; paceENSDF BSD; xraylib BSD-3-Clause; evaluated numbers are published",
        "date": DATE,
        "sha256": hashlib.sha256(data).hexdigest(),
        "built_by": "tools/build_nuclear_tables.py",
    } | fields
    order = ("what", "units", "citation", "version", "licence", "date", "sha256", "built_by")
    text = "".join(f"{key} = {json.dumps(fields[key], ensure_ascii=False)}\n" for key in order)
    (TABLES / f"{name}.provenance.toml").write_text(text, encoding="utf-8")


def main() -> None:
    """Build the tables."""
    nuclides: list[dict[str, object]] = []
    lines: list[dict[str, object]] = []
    folder = resources.files("roentgen") / "data" / "lara"
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        if file.name.endswith(".lara.txt") and file.name.removesuffix(".lara.txt") not in LEFT_OUT:
            row, photons = read_ddep(file.read_text(encoding="latin-1"))
            nuclides.append(row)
            lines += photons
    for nuclide, (daughter, _) in FROM_ENSDF.items():
        row, photons = read_ensdf(nuclide, daughter)
        nuclides.append(row)
        lines += photons
    nuclides.sort(key=lambda r: (int(str(r["z"])), int(str(r["a"])), str(r["nuclide"])))
    rank = {row["nuclide"]: i for i, row in enumerate(nuclides)}
    lines.sort(key=lambda r: (rank[r["nuclide"]], float(str(r["energy_kev"])), str(r["kind"]), str(r["intensity"])))
    write_table(
        "nuclides.csv",
        as_csv(NUCLIDE_COLUMNS, nuclides),
        what="Half-lives, daughters and evaluations of the nuclides; booked_with names an isomer whose photons the "
        "evaluation gives under this parent. A daughter that is not a nuclide of the table ends the chain.",
        units="half_life_s and u_half_life_s in seconds (standard uncertainty); daughters as name:share of decays",
    )
    write_table(
        "photon_lines.csv",
        as_csv(LINE_COLUMNS, lines),
        what="Gamma, X-ray and annihilation photons from 10 keV up. K' beta and L X-rays are groups at their mean "
        "energy; L X-rays are missing for the nuclides from ENSDF. Where the evaluation gives no uncertainty, the "
        "rules at the top of the script apply.",
        units="energy_kev, u_energy_kev in keV; intensity, u_intensity in photons per decay (standard uncertainties)",
    )
    print(f"{len(nuclides)} nuclides, {len(lines)} photon lines")


if __name__ == "__main__":
    main()
