"""Builds `cascades.csv` in src/truekev/tables with its provenance.

Run from the root of the project, after build_nuclear_tables.py: python tools/build_cascade_table.py
Needs at build time only: paceENSDF. Takes every nuclide of nuclides.csv that has a level scheme in ENSDF.

A decay leaves its daughter on a level; from there gamma rays and conversion electrons lead down. The share of the
decays with a photon `first` that also make a photon `second` is the chance of passing the level where `second` starts,
times the photons of `second` for each time that level is left, conversion counted in. Positrons are followed by the
photons of the level they lead to. Rules:

1. Lines are those of photon_lines.csv; a gamma of ENSDF is the nearest of them within 0.6 keV, where both agree on the
   intensity to a factor of three.
2. A level that lives for more than a microsecond ends the cascade: what follows comes too late for one pulse.
3. Where ENSDF has no calculated conversion coefficient none is assumed.
4. X-rays are left out; so are pairs below one in ten thousand decays or a thousandth of the nuclide's strongest.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections import defaultdict
from importlib import resources
from importlib.metadata import version
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import numpy as np

TABLES = Path(__file__).parent.parent / "src" / "truekev" / "tables"
NAME = "cascades.csv"
COLUMNS = ("nuclide", "first_kev", "second_kev", "share")
DATE = "2026-11-30"
LEAST, LEAST_OF_STRONGEST = 1e-4, 1e-3
NEAR_KEV, ALIKE = 0.6, 3.0
LATE_S = 1e-6
ANNIHILATION = "annihilation"

Line = tuple[float, float, str]  # energy [keV], photons per decay, kind


def datasets(parent: str, z: int, a: int, *, isomer: bool) -> list[Traversable]:
    """Files of the decays of `parent` (as Pb212) or of its isomer."""
    name = re.compile(rf"j_input_{parent}_[A-Za-z]+\d+_{z:03d}{a:03d}_\d{{6}}_([0-9.]+)(pX)?keV\.json")
    folder = resources.files("paceENSDF") / "ENSDF_JSON"
    found = ((name.fullmatch(file.name), file) for file in folder.iterdir())
    return [file for match, file in found if match and (float(match[1]) > 0 or bool(match[2])) == isomer]


def nearest(lines: list[Line], energy_kev: float, intensity: float) -> float | None:
    """Energy of the line of photon_lines.csv that a gamma of ENSDF is."""
    gammas = [line for line in lines if line[2] == "gamma"]
    if not gammas:
        return None
    energy, per_decay, _ = min(gammas, key=lambda line: abs(line[0] - energy_kev))
    alike = per_decay / ALIKE <= intensity <= per_decay * ALIKE
    return energy if abs(energy - energy_kev) <= NEAR_KEV and alike else None


def half_life_s(level: dict[str, Any]) -> float:
    """Half-life of a level [s]; 0 where none is given."""
    return max((float(one["halfLifeConverted"] or 0.0) for one in level["isomerDecay"]), default=0.0)


def shares(data: dict[str, Any], lines: list[Line]) -> dict[tuple[float, float], float]:
    """Photons `second` for each photon `first`, of one decay."""
    levels = data["levelScheme"]
    number = {level["levelIndex"]: i for i, level in enumerate(levels)}
    norm = data["decaySchemeNormalization"][0]["normalizationRecord"][0]
    factor = float(norm["multiplerPhotonIntensity"] or 0.0) * float(norm["multiplerBranchingRatio"] or 0.0) / 100.0
    n = len(levels)
    moves = np.zeros((n, n))
    photons: list[tuple[int, int, float, float, float]] = []  # from, to, energy, intensity, whole intensity
    positrons = np.zeros(n)
    for i, level in enumerate(levels):
        for gamma in level["gammaDecay"]:
            intensity = float(gamma["gammaIntensity"] or 0.0) * factor
            whole = intensity * (1.0 + float(gamma["calculatedTotalInternalConversionCoefficient"] or 0.0))
            end = number.get(gamma["levelIndexFinal"], i)
            if intensity > 0 and end < i:
                moves[i, end] += whole
                photons.append((i, end, float(gamma["gammaEnergy"]), intensity, whole))
        for branch in level.get("betaPlusDecay", []):
            positrons[i] += float(branch["betaPlusIntensity"] or 0.0)
    left = moves.sum(axis=1)
    chance = np.divide(moves, left[:, None], out=np.zeros_like(moves), where=left[:, None] > 0)
    passes = np.eye(n)  # passes[i, j]: from level i, the chance of coming through level j
    for i in range(n):
        if half_life_s(levels[i]) > LATE_S:
            passes[i] = 0.0
        else:
            passes[i] += chance[i] @ passes
    found: dict[tuple[float, float], float] = defaultdict(float)
    known = [(i, j, nearest(lines, energy, some), some) for i, j, energy, some, _ in photons]
    for _, end, first, _ in known:
        for start, _, second, some in known:
            share = passes[end, start] * some / left[start]
            if first is not None and second is not None and share > 0:
                found[first, second] += float(share)
    annihilation = next((energy for energy, _, kind in lines if kind == ANNIHILATION), None)
    if annihilation is not None and positrons.sum() > 0:
        reached = positrons / positrons.sum() @ passes
        for start, _, second, some in known:
            if second is not None and reached[start] > 0:
                found[annihilation, second] += float(reached[start] * some / left[start])
    return dict(found)


def rows_of(nuclide: str, found: dict[tuple[float, float], float], lines: list[Line]) -> list[dict[str, str]]:
    """Rows of one nuclide: the pairs that matter."""
    per_decay = {energy: intensity for energy, intensity, _ in lines}
    pairs = {pair: per_decay[pair[0]] * share for pair, share in found.items()}
    least = max(LEAST, LEAST_OF_STRONGEST * max(pairs.values(), default=0.0))
    kept = sorted(pair for pair, photons in pairs.items() if photons >= least)
    return [
        dict(zip(COLUMNS, (nuclide, f"{a:.8g}", f"{b:.8g}", f"{min(found[a, b], 1.0):.5g}"), strict=True))
        for a, b in kept
    ]


def main() -> None:
    """Build the table."""
    lines: dict[str, list[Line]] = defaultdict(list)
    with (TABLES / "photon_lines.csv").open(encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            if row["kind"] in ("gamma", ANNIHILATION):
                lines[row["nuclide"]].append((float(row["energy_kev"]), float(row["intensity"]), row["kind"]))
    rows: list[dict[str, str]] = []
    with (TABLES / "nuclides.csv").open(encoding="utf-8") as stream:
        for entry in csv.DictReader(stream):
            name = entry["nuclide"]
            isomer = name.endswith("m")
            files = datasets(name.removesuffix("m").replace("-", ""), int(entry["z"]), int(entry["a"]), isomer=isomer)
            found: dict[tuple[float, float], float] = {}
            for file in files:
                found |= shares(json.loads(file.read_text(encoding="utf-8")), lines[name])
            rows += rows_of(name, found, lines[name])
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    data = text.getvalue().encode()
    (TABLES / NAME).write_bytes(data)
    provenance = {
        "what": "Photons of one decay that come together: share of the decays with the first that make the second too. "
        "X-rays are left out, directions taken as independent",
        "units": "first_kev, second_kev in keV, as in photon_lines.csv; share: photons of the second for each of the "
        "first; without uncertainty",
        "citation": "Computed from the level schemes and conversion coefficients of the Evaluated Nuclear Structure "
        "Data File (ENSDF), as packaged in paceENSDF",
        "version": f"paceENSDF {version('paceENSDF')}",
        "licence": "paceENSDF BSD; evaluated numbers are published",
        "date": DATE,
        "sha256": hashlib.sha256(data).hexdigest(),
        "built_by": "tools/build_cascade_table.py",
    }
    toml = "".join(f"{key} = {json.dumps(value)}\n" for key, value in provenance.items())
    (TABLES / f"{NAME}.provenance.toml").write_text(toml, encoding="utf-8")
    print(f"{len(rows)} pairs of {len({row['nuclide'] for row in rows})} nuclides")


if __name__ == "__main__":
    main()
