"""How long identification takes: one spectrum from cached responses, and folders of spectra.

Times of this machine on the day; responses are on disk, nothing else is kept but what one run of the program keeps.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from tests.support.made_samples import made_count, sample_scale, templates

from studies.frame import PAGES, Table, commit
from truekev.files import write_whole
from truekev.job.sample_count import SampleFiles
from truekev.job.what_is_it import WhatIsIt, what_is_in_folder, what_is_it
from truekev.samples.candidates import candidates, lines_of
from truekev.samples.component_templates import DEPTHS_G_CM2, PeakShape, component_templates, response_grid
from truekev.scale.energy_scale import write_scale
from truekev.spectra.write import write_spectrum
from truekev.version import __version__

SEED = 5
FOLDERS = (10, 30, 100)
_HELD = ("Cs-137", "Am-241", "Co-60", "Ra-226 part", "Ba-133", "K-40")


def _write(folder: Path, n: int) -> SampleFiles:
    rng = np.random.default_rng(SEED)
    write_scale(sample_scale(), folder / "scale.json")
    write_spectrum(made_count({}, 3600.0, rng), folder / "room.csv")
    (folder / "counts").mkdir()
    for i in range(n):
        name = _HELD[i % len(_HELD)]
        count = made_count({name: 2e6 if name == "K-40" else 50_000.0}, 1200.0, rng, wrong=0.03)
        write_spectrum(count, folder / "counts" / f"{i:03}.csv")
    return SampleFiles(str(folder / "scale.json"), str(folder / "room.csv"))


def hundred_candidates_s() -> float:
    """Seconds for templates of a hundred candidates from responses in memory, and one identification."""
    of = templates()
    grid = of.grid
    names = [lines_of(one) for one in candidates()]
    started = time.perf_counter()
    again = response_grid(grid.response, grid.response, grid.curve, PeakShape(0.086))
    component_templates([*names, *names][:100], again, DEPTHS_G_CM2)
    return time.perf_counter() - started


def main() -> int:
    """Run, print and write docs/validation/identify_speed.md."""
    here = commit()
    rows = []
    with TemporaryDirectory() as name:
        files = _write(Path(name), 1)
        started = time.perf_counter()
        what_is_it(Path(name) / "counts" / "000.csv", files)
        first = time.perf_counter() - started
        started = time.perf_counter()
        what_is_it(Path(name) / "counts" / "000.csv", files)
        rows.append(("one spectrum, templates made anew", f"{first:.2f}", f"{first:.2f}"))
        again = time.perf_counter() - started
        rows.append(("the same again, templates kept", f"{again:.2f}", f"{again:.2f}"))
    rows.append(("templates of 100 candidates from responses", f"{hundred_candidates_s():.2f}", "-"))
    for n in FOLDERS:
        with TemporaryDirectory() as name:
            files = _write(Path(name), n)
            started = time.perf_counter()
            found = what_is_in_folder(Path(name) / "counts", files)
            took = time.perf_counter() - started
            right = sum(
                isinstance(one, WhatIsIt) and _HELD[i % len(_HELD)] in " ".join(a.words + a.name for a in one.answers)
                for i, one in enumerate(found)
            )
            rows.append((f"a folder of {n} spectra ({right} right)", f"{took:.1f}", f"{took / n:.2f}"))
    table = Table(f"{len(candidates())} candidates", ("what", "seconds", "seconds a spectrum"), tuple(rows))
    print(table.text())
    facts = [
        "- command: `python -m studies identify_speed`",
        f"- seed: {SEED}",
        f"- date: {datetime.now(UTC).date().isoformat()}",
        f"- commit: {here}",
        f"- program: truekev {__version__}",
        "- machine: two cores, shared with other work",
    ]
    doc = (__doc__ or "").split("\n\n", 1)
    parts = ["# Speed of identification", *doc, table.markdown(), "\n".join(facts)]
    write_whole(PAGES / "identify_speed.md", "\n\n".join(part.strip() for part in parts) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
