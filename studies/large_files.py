"""Does any large or deep file cost the reader too much memory or time?

Each case is a file made to hurt, near the size limit or with a little text that stands for much. It runs in a process
of its own; time and the growth of memory beyond the file itself are measured. Run: python -m studies.large_files. Takes
under a minute, so it starts afresh each time.
"""

from __future__ import annotations

import multiprocessing
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from truekev.errors import TruekevError
from truekev.files import write_whole
from truekev.spectra.limits import MAX_BYTES
from truekev.spectra.read import spectrum_of_bytes
from truekev.version import __version__

__all__ = ["main"]

MAX_SECONDS = 20.0
MAX_GROWTH_MB = 1000.0
ROOT = Path(__file__).parents[1]
REPORT = ROOT / "docs" / "validation" / "large-files.md"

_HEAD = b"<RadInstrumentData><RadMeasurement>"
_TAIL = b"</RadMeasurement></RadInstrumentData>"
_TWO = b"<Spectrum><ChannelData>1 2</ChannelData></Spectrum>"
_ZEROS = b'<Spectrum><ChannelData compressionCode="CountedZeroes">0 262144</ChannelData></Spectrum>'
_POINT = b"<PointXY><X>%d</X><Y>%d</Y></PointXY>"


def _table() -> bytes:
    points = b"".join(_POINT % (i, 10 * i + i % 3) for i in range(20_000))
    return (
        b'<RadInstrumentData><EnergyCalibration id="c"><ArrayXY>'
        + points
        + b"</ArrayXY></EnergyCalibration><RadMeasurement>"
        + _TWO.replace(b"<Spectrum", b'<Spectrum energyCalibrationReference="c"') * 40_000
        + _TAIL
    )


_CASES: dict[str, Callable[[], bytes]] = {
    "one line": lambda: b"1" * MAX_BYTES,
    "empty lines": lambda: b"5\n" * 2 + b"\n" * (MAX_BYTES - 4),
    "comment lines": lambda: b"#\n" * (MAX_BYTES // 2),
    "counts in UTF-16": lambda: ("5\n" * (MAX_BYTES // 4 - 1)).encode("utf-16"),
    "channels up to the limit": lambda: b"".join(b"%d,5\n" % i for i in range(262_144)),
    "empty elements": lambda: _HEAD + b"<a/>" * (MAX_BYTES // 4 - 20) + _TAIL,
    "1.9 million empty elements": lambda: _HEAD + b"<a/>" * 1_900_000 + _TAIL,
    "elements in elements": lambda: b"<a>" * (MAX_BYTES // 3),
    "800,000 attributes": lambda: b"<RadInstrumentData " + b"".join(b'a%d="" ' % i for i in range(800_000)) + b"/>",
    "long channel data": lambda: (
        _HEAD + b"<Spectrum><ChannelData>" + b"0 " * 4_500_000 + b"</ChannelData></Spectrum>" + _TAIL
    ),
    "300,000 spectra of counted zeros": lambda: _HEAD + _ZEROS * 300_000 + _TAIL,
    "85,000 spectra": lambda: _HEAD + _TWO * 85_000 + _TAIL,
    "80,000 spectra 240 measurements deep": lambda: (
        b"<RadInstrumentData>" + b"<RadMeasurement>" * 240 + _TWO * 80_000 + b"</RadMeasurement>" * 240 + _TAIL[17:]
    ),
    "40,000 spectra with one long table": _table,
}


def _run(name: str) -> tuple[float, float, str]:
    """Seconds, growth of memory [MB] and what came of the case; runs in its own process."""
    data = _CASES[name]()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begin = time.perf_counter()
    try:
        result = f"read, {spectrum_of_bytes(data, file='file').n_channels} channels"
    except TruekevError as error:
        result = f"refused: {str(error)[:70]}"
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    return time.perf_counter() - begin, grown_mb, result


def main() -> int:
    """Run all cases, print and write the table; 1 if one took too much."""
    done = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    lines = [
        "# Large and hostile spectrum files",
        "",
        f"Limits: {MAX_SECONDS:g} s and {MAX_GROWTH_MB:g} MB beyond the file. No random numbers. "
        f"{datetime.now(UTC):%Y-%m-%d}, truekev {__version__}, commit {done.stdout.strip() or 'unknown'};",
        "`python -m studies.large_files`.",
        "",
        "| case | seconds | memory / MB | outcome |",
        "| --- | ---: | ---: | --- |",
    ]
    worst = 0
    context = multiprocessing.get_context("spawn")
    for name in _CASES:
        with context.Pool(1) as pool:
            seconds, grown_mb, result = pool.apply(_run, (name,))
        worst |= seconds > MAX_SECONDS or grown_mb > MAX_GROWTH_MB
        lines.append(f"| {name} | {seconds:.1f} | {grown_mb:.0f} | {result} |")
        print(f"  {name}", file=sys.stderr, flush=True)
    lines += ["", "Over a limit." if worst else "None over a limit."]
    text = "\n".join(lines) + "\n"
    print(text)
    REPORT.parent.mkdir(parents=True, exist_ok=True)
    write_whole(REPORT, text)
    return int(worst)


if __name__ == "__main__":
    sys.exit(main())
