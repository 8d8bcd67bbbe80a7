"""Does any damaged spectrum file make the reader fail in another way than by a clear error?

50,000 files are made from valid ones (plain columns, N42.42 of 2012 and 2006; invented data) by flipping bytes,
cutting, repeating and moving pieces, and inserting hostile words. Every one must be read or refused with a
TruekevError; warnings count as failures. Run: python -m studies.mutated_files. Resumable: finished blocks are kept
in build/.
"""

from __future__ import annotations

import json
import re
import resource
import subprocess
import sys
import time
import warnings
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from truekev.errors import TruekevError
from truekev.files import write_whole
from truekev.spectra.columns_write import columns_text
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.read import spectrum_of_bytes
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.version import __version__

__all__ = ["main", "mutated", "outcome_of", "seed_files"]

SEED = 20261125
N_FILES = 50_000
BLOCK = 1_000
# What one file may take [s]; a damaged file of some kilobytes has no business to take longer.
MAX_SECONDS = 2.0
ROOT = Path(__file__).parents[1]
STATE = ROOT / "build" / "mutated-files.json"
REPORT = ROOT / "docs" / "validation" / "mutated-files.md"

_EDITION_2006 = """<?xml version="1.0" encoding="utf-8"?>
<N42InstrumentData xmlns="http://physics.nist.gov/Divisions/Div846/Gp4/ANSIN4242/2005/ANSIN4242">
<Measurement><InstrumentInformation><Manufacturer>college workshop</Manufacturer>
<InstrumentModel>bench crystal</InstrumentModel></InstrumentInformation>
<Spectrum Type="PHA" Detector="one"><StartTime>2026-03-02T09:00:00Z</StartTime>
<RealTime>PT1M40S</RealTime><LiveTime>PT99.5S</LiveTime><SourceType>Item</SourceType>
<Calibration Type="Energy" EnergyUnits="keV"><Equation Model="Polynomial"><Coefficients>-4.5 11.25 0.004</Coefficients>
</Equation></Calibration>
<ChannelData Compression="CountedZeroes">0 3 12 40 77 52 30 0 1 9 4 0 10 2 1 0 4</ChannelData></Spectrum>
<Spectrum><LiveTime>PT600S</LiveTime><SourceType>Background</SourceType><Calibration Type="Energy" EnergyUnits="MeV">
<ArrayXY X="Channel" Y="Energy"><PointXY><X>0</X><Y>0.001</Y></PointXY><PointXY><X>20</X><Y>0.231</Y></PointXY>
</ArrayXY></Calibration><ChannelData>0 0 1 5 9 7 4 2 1 1 0 0 0 1 0 0 0 0 1 0 0 0 0 0 0</ChannelData></Spectrum>
</Measurement></N42InstrumentData>
"""
_HOSTILE = [
    b"nan",
    b"-inf",
    b"1e300",
    b"-1",
    b"9" * 400,
    b"1e-400",
    b"0x10",
    b"1_000",
    b",",
    b";;;",
    b"\t\t",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r",
    b"\r\r\n\n",
    b" " * 3000,
    b"#" * 50,
    b'"',
    b"'",
    b"<",
    b">",
    b"</Spectrum>",
    b"<Spectrum>",
    b"<!DOCTYPE a [<!ENTITY b 'c'>]>",
    b"&b;",
    b"&#0;",
    b"&#x10FFFF;",
    b"<![CDATA[",
    b"]]>",
    b"<!--",
    b"<?xml?>",
    b"<a>" * 400,
    b"[" * 400,
    b'{"a":' * 300,
    b"PT",
    b"PT1E9S",
    b"P1Y",
    b"PT-5S",
    b"PT99999999999999H",
    b"live time: 5 furlong\n",
    b"# energy scale, keV: 1 + 1e308 ch^9\n",
    b"# claimed energy points: 1:1 0:0\n",
    b"# overflow: nan\n",
    b"0 262145",
    b"0 1e18",
    b"0 0.5",
    b"channel,energy (nm),counts\n",
    b"counts/s\n",
    b"1 2 3 4 5 6 7\n",
    b"262143,1\n",
    b"262144;1\n",
    b"1e5 1\n",
    b"99999999999999999999,1\n",
    b"\xc3\x28",
    "٣".encode(),
    "１".encode(),
    b"\x1b[31m",
    b"\xed\xa0\x80",
    b"null",
    b"true",
    b"compressionCode='CountedZeroes' ",
    b"EnergyUnits='J' ",
    b"<EnergyBoundaryValues>3 2 1</EnergyBoundaryValues>",
    b"<CoefficientValues>1e308 1e308 1e308</CoefficientValues>",
    b"# start: 9999-99-99\n",
    b"<X>1e-320</X>",
    b'"n_slices": 99999, ',
    b'"has_background": true, ',
    b'"points": [[0, 1]], ',
    b"1" + b"0" * 5000,
]

_NUMBER = re.compile(rb"[0-9.]+")
# flips, cut, hole, repeat, swap of lines, noise, number replaced, hostile word between words, hostile word anywhere
_WEIGHTS = [0.15, 0.06, 0.12, 0.12, 0.1, 0.05, 0.2, 0.15, 0.05]


def seed_files() -> dict[str, bytes]:
    """Valid files by name, with invented data."""
    rng = np.random.default_rng(SEED)
    at = np.arange(48)
    rate = 40 * np.exp(-at / 12) + 60 * np.exp(-0.5 * ((at - 21) / 2.0) ** 2)
    scale = ClaimedScale((3.0, 31.5, 0.02), "invented")
    background = Spectrum(rng.poisson(rate / 9), live_time_s=900.0, role="background", claimed_scale=scale)
    spectrum = Spectrum(
        rng.poisson(rate),
        live_time_s=598.5,
        real_time_s=600.0,
        start=datetime(2026, 3, 2, 9, 0, tzinfo=UTC),
        claimed_scale=scale,
        corrected_scale=ClaimedScale((2.0, 32.5), "invented", ((-0.5, -14.0), (20.0, 651.0), (47.5, 1552.0))),
        title="bench crystal, invented",
        remarks=("made for a study",),
        notes=("none",),
        role="foreground",
        overflow=3.0,
        background=background,
        slices=(Spectrum(rng.poisson(rate / 2)), Spectrum(rng.poisson(rate / 2))),
    )
    plain = replace(background, role="foreground", start=spectrum.start)
    edges = scale.energy_kev(spectrum.edges)
    labels = "\r\n".join(f"{3 + 31.5 * i:.2f};{n:.0f}".replace(".", ",") for i, n in enumerate(spectrum.counts))
    return {
        "columns": columns_text(spectrum).encode(),
        "columns with edges": columns_text(spectrum, energy_edges_kev=edges, separator="\t").encode(),
        "energy labels, decimal comma": ("Energy (keV);Counts\r\n" + labels + "\r\n").encode(),
        "counts alone, UTF-16": "\n".join(f"{n:.0f}" for n in spectrum.counts).encode("utf-16"),
        "N42.42-2012, compressed": n42_bytes(spectrum),
        "N42.42-2012, plain": n42_bytes([plain, background], compress=False),
        "N42.42-2006": _EDITION_2006.encode(),
    }


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """`data` with one to four damages, most often one."""
    for _ in range(int(rng.choice([1, 2, 3, 4], p=[0.55, 0.25, 0.15, 0.05]))):
        data = _damaged(data, int(rng.choice(len(_WEIGHTS), p=_WEIGHTS)), rng)
    return data


def _damaged(data: bytes, kind: int, rng: np.random.Generator) -> bytes:
    n = len(data)
    a, b = sorted(int(i) for i in rng.integers(0, n + 1, 2))
    if kind == 0 and n:
        flipped = bytearray(data)
        for i in rng.integers(0, n, int(rng.integers(1, 4))):
            flipped[i] ^= 1 << int(rng.integers(0, 8))
        return bytes(flipped)
    if kind == 1:
        return data[:b]
    if kind == 2:
        return data[:a] + data[min(b, a + int(rng.integers(1, 60))) :]
    if kind == 3:
        return data[:b] + data[a : a + min(b - a, 2000)] * int(rng.integers(1, 8)) + data[b:]
    if kind == 4:
        lines = data.split(b"\n")
        i, j = rng.integers(0, len(lines), 2)
        lines[i], lines[j] = lines[j], lines[i]
        return b"\n".join(lines)
    if kind == 5:
        return data[:a] + bytes(rng.integers(0, 256, int(rng.integers(1, 30)), dtype=np.uint8)) + data[a:]
    numbers = list(_NUMBER.finditer(data, a)) if kind == 6 else []
    word = _HOSTILE[int(rng.integers(0, len(_HOSTILE)))]
    if numbers:
        at = numbers[int(rng.integers(0, min(len(numbers), 40)))]
        value = word if rng.random() < 0.4 else str(int(10.0 ** rng.uniform(0, 7))).encode()
        return data[: at.start()] + value + data[at.end() :]
    if kind == 7:
        # between two words, where it is read, rather than inside one
        spot = next((i for i, c in enumerate(data[a:], a) if c in b" ,;\t\n>"), n)
        return data[: spot + 1] + word + data[spot + 1 :]
    return data[:a] + word + data[a:]


def outcome_of(data: bytes, name: str = "bench.file") -> str:
    """What the reader does with a file of that name and content: "read" or "refused".

    Any exception that is not a TruekevError, and any warning, goes through.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            spectrum_of_bytes(data, file=name)
        except TruekevError as error:
            message = str(error)
            if name not in message or "\n" in message or len(message) > 2000:
                raise AssertionError(f"message without the file's name, or not one short line: {message!r}") from error
            return "refused"
    return "read"


def _block(number: int, seeds: dict[str, bytes]) -> dict[str, object]:
    counts: Counter[str] = Counter()
    slowest = 0.0
    failures: list[str] = []
    names = list(seeds)
    for i in range(BLOCK):
        rng = np.random.default_rng((SEED, number, i))
        name = names[i % len(names)]
        data = mutated(seeds[name], rng)
        begin = time.perf_counter()
        try:
            result = outcome_of(data)
        except Exception as error:
            result = "failed"
            failures.append(f"block {number}, file {i} ({name}): {type(error).__name__}: {str(error)[:200]}")
        taken = time.perf_counter() - begin
        slowest = max(slowest, taken)
        if taken > MAX_SECONDS:
            failures.append(f"block {number}, file {i} ({name}): took {taken:.1f} s")
        counts[f"{name}|{result}"] += 1
    return {"counts": dict(counts), "slowest_s": slowest, "failures": failures}


def _commit() -> str:
    done = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    return done.stdout.strip() or "unknown"


def main() -> int:
    """Run what is left of the study, print and write its table; 1 if any file failed."""
    commit = _commit()
    seeds = seed_files()
    blocks: dict[str, dict[str, object]] = {}
    if STATE.is_file():
        state = json.loads(STATE.read_text())
        if state["commit"] == commit:
            blocks = state["blocks"]
    STATE.parent.mkdir(exist_ok=True)
    rss_before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for number in range(N_FILES // BLOCK):
        if str(number) in blocks:
            continue
        blocks[str(number)] = _block(number, seeds)
        write_whole(STATE, json.dumps({"commit": commit, "blocks": blocks}))
        print(f"  {(number + 1) * BLOCK} of {N_FILES} files", file=sys.stderr, flush=True)
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - rss_before) / 1024
    text, n_failed = _report(blocks, list(seeds), commit, grown_mb)
    print(text)
    REPORT.parent.mkdir(parents=True, exist_ok=True)
    write_whole(REPORT, text)
    return 1 if n_failed else 0


def _report(blocks: dict[str, dict[str, object]], names: list[str], commit: str, grown_mb: float) -> tuple[str, int]:
    total: Counter[str] = Counter()
    failures: list[str] = []
    slowest = 0.0
    for block in blocks.values():
        loaded = json.loads(json.dumps(block))
        total.update(loaded["counts"])
        failures += loaded["failures"]
        slowest = max(slowest, loaded["slowest_s"])
    lines = [
        "# Damaged spectrum files",
        "",
        f"{sum(total.values()):,} files made from valid ones by one to four damages each; every one must be read",
        "or refused with a clear error that names the file. A warning counts as a failure. Data invented.",
        "",
        f"Seed {SEED}, {datetime.now(UTC):%Y-%m-%d}, truekev {__version__}, commit {commit};",
        "`python -m studies.mutated_files`.",
        "",
        "| made from | read | refused | failed |",
        "| --- | ---: | ---: | ---: |",
    ]
    for name in names:
        lines.append(
            "| " + " | ".join([name, *(str(total[f"{name}|{r}"]) for r in ("read", "refused", "failed"))]) + " |"
        )
    lines += ["", f"Slowest file: {slowest:.2f} s. Memory grew by {grown_mb:.0f} MB in the last run."]
    if failures:
        lines += ["", "Failures:", "", *[f"- {failure}" for failure in failures[:50]]]
    return "\n".join(lines) + "\n", len(failures)


if __name__ == "__main__":
    sys.exit(main())
