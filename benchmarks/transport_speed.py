"""Histories per second of the photon engine; side by side with a general-purpose code where it is installed.

    python -m benchmarks.transport_speed [--kev 661.7] [--histories 2000000] [--reference SCRIPT --python PYTHON]

A history is one photon started in the cone that encloses the 10 mm CsI cube, electrons followed to the end. SCRIPT is
../shared/reference/g4ref.py, PYTHON the interpreter of an environment that has its packages (geant4-pybind, ompmc,
xraylib). The reference comes without its Seltzer-Berger data then: good for speed, not for accuracy.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.support.reference_rows import reference_setup, run_reference_row

__all__ = ["histories_per_second", "main", "reference_per_second"]


def histories_per_second(kev: float, n: int) -> float:
    """Histories a second of processor time on one core, compiling left out."""
    setup = reference_setup("csi10_bare_10mm")
    run_reference_row(setup, kev, 1000)
    start = time.process_time()
    run_reference_row(setup, kev, n)
    return n / (time.process_time() - start)


def reference_per_second(script: Path, python: str, kev: float, n: int, particle: str = "gamma") -> float:
    """The same of the reference script, by its own count of processor time."""
    with tempfile.TemporaryDirectory() as data:
        words = [python, str(script), "--energy", str(kev), "--n", str(n), "--data", data, "--seed", "101"]
        words += ["--particle", particle]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
    return float(json.loads(done.stdout.strip().splitlines()[-1])["hist_per_s"])


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--kev", type=float, default=661.7)
    parser.add_argument("--histories", type=int, default=2_000_000)
    parser.add_argument("--reference", type=Path)
    parser.add_argument("--python", default=sys.executable)
    options = parser.parse_args()
    ours = histories_per_second(options.kev, options.histories)
    print(f"{options.kev:g} keV, CsI cube 10 mm at 10 mm: {ours / 1e6:.2f} million histories a second a core")
    if options.reference is None:
        return
    theirs = reference_per_second(options.reference, options.python, options.kev, 300_000)
    # a particle that only flies shows what Python, event handling and navigation cost
    idle = reference_per_second(options.reference, options.python, options.kev, 300_000, "geantino")
    bare = 1 / max(1 / theirs - 1 / idle, 1e-12)
    print(f"reference in the same run: {theirs:.0f} a second; {bare:.0f} less what a particle that only flies costs")
    print(f"ratio: {ours / theirs:.1f}; without the reference's event handling: {ours / bare:.1f}")


if __name__ == "__main__":
    main()
