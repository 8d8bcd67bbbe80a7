"""Builds `beta_branches.csv` in src/truekev/tables with its provenance.

Run from the root of the project, after build_nuclear_tables.py: python tools/build_beta_table.py
Needs at build time only: paceENSDF. Takes every nuclide of nuclides.csv that has beta-minus branches in ENSDF.
Intensities are those of ENSDF, scaled so that they add up to the beta-minus share of nuclides.csv (ENSDF misses 5 % for
Ac-228, and has a third too many for Pa-234); an end point or intensity without uncertainty gets none (0).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from importlib import resources
from importlib.metadata import version
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

TABLES = Path(__file__).parent.parent / "src" / "truekev" / "tables"
NAME = "beta_branches.csv"
COLUMNS = ("nuclide", "end_point_kev", "u_end_point_kev", "intensity", "u_intensity")
DATE = "2026-11-25"
LEAST = 1e-6  # betas per decay


def datasets(parent: str, z: int, a: int) -> list[tuple[float, Traversable]]:
    """Files of the beta-minus decay of `parent` (as Pb212), with the level energy [keV] that decays."""
    name = re.compile(rf"j_input_{parent}_[A-Za-z]+\d+_{z:03d}{a:03d}_{z + 1:03d}{a:03d}_([0-9.]+)(?:pX)?keV\.json")
    folder = resources.files("paceENSDF") / "ENSDF_JSON"
    found = ((name.fullmatch(file.name), file) for file in folder.iterdir())
    return sorted(((float(match[1]), file) for match, file in found if match), key=lambda entry: entry[0])


def number(value: float) -> str:
    """A number as short text."""
    return f"{value:.8g}"


def beta_share(daughters: str, element: str) -> float:
    """Share of the decays that lead to `element`, from the daughters column of nuclides.csv."""
    pairs = (entry.split(":") for entry in daughters.split())
    return sum(float(share) for name, share in pairs if name.partition("-")[0] == element)


def branches(nuclide: str, daughters: str, data: dict[str, Any]) -> list[dict[str, str]]:
    """Rows of one decay."""
    listed = sum(
        float(beta["betaMinusIntensity"] or 0.0) for level in data["levelScheme"] for beta in level["betaMinusDecay"]
    )
    element = data["daughterID"].rstrip("0123456789")
    factor = beta_share(daughters, element) / listed if listed else 0.0
    rows = []
    for level in data["levelScheme"]:
        for beta in level["betaMinusDecay"]:
            intensity = float(beta["betaMinusIntensity"] or 0.0) * factor
            end_point = float(beta["endPointBetaMinusEnergy"] or 0.0)
            if intensity >= LEAST and end_point > 0:
                cells = (
                    end_point,
                    float(beta["dEndPointBetaMinusEnergy"] or 0.0),
                    intensity,
                    float(beta["dBetaMinusIntensity"] or 0.0) * factor,
                )
                rows.append(dict(zip(COLUMNS, (nuclide, *map(number, cells)), strict=True)))
    return sorted(rows, key=lambda row: float(row["end_point_kev"]))


def main() -> None:
    """Build the table."""
    rows: list[dict[str, str]] = []
    with (TABLES / "nuclides.csv").open(encoding="utf-8") as stream:
        for entry in csv.DictReader(stream):
            nuclide, is_isomer = entry["nuclide"], entry["nuclide"].endswith("m")
            parent = nuclide.removesuffix("m").replace("-", "")
            files = datasets(parent, int(entry["z"]), int(entry["a"]))
            fitting = [file for level, file in files if (level > 0 or "pX" in file.name) == is_isomer]
            if fitting:
                rows += branches(nuclide, entry["daughters"], json.loads(fitting[0].read_text(encoding="utf-8")))
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    data = text.getvalue().encode()
    (TABLES / NAME).write_bytes(data)
    provenance = {
        "what": "Beta-minus branches of the nuclides: end point and betas per decay",
        "units": "end_point_kev, u_end_point_kev in keV; intensity, u_intensity per decay (u: standard; 0: none given)",
        "citation": "Evaluated Nuclear Structure Data File (ENSDF), as packaged in paceENSDF",
        "version": f"paceENSDF {version('paceENSDF')}",
        "licence": "paceENSDF BSD; evaluated numbers are published",
        "date": DATE,
        "sha256": hashlib.sha256(data).hexdigest(),
        "built_by": "tools/build_beta_table.py",
    }
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in provenance.items())
    (TABLES / f"{NAME}.provenance.toml").write_text(lines, encoding="utf-8")
    print(f"{len(rows)} branches of {len({row['nuclide'] for row in rows})} nuclides")


if __name__ == "__main__":
    main()
