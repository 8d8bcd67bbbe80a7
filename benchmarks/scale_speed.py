"""Time of a calibration by the whole spectrum and of a re-lock, and how it goes with the number of channels.

    python -m benchmarks.scale_speed [--truths 5] [--json]

A thorium vial on a 10 mm CsI(Tl) crystal with a background, gain unknown. Response in memory, machine code compiled.
Bars: full fit of 1,024 channels 2 s, re-lock 0.1 s, cost flat from 1,024 to 16,384 channels. The channels of one
spectrum are added up for the coarser ones, so that all hold the same counts. Times are of the processor, so that other
work on the machine does not count; nothing runs on more than one core.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from studies.model_truth import Truth, counted_from, draw_truth

from truekev.scale.calibrate_peaks import CountedSpectrum
from truekev.scale.crystal import crystal_of, scatter_of
from truekev.scale.search import MeasuredBackground
from truekev.scale.whole.calibrate_whole import calibrate_whole
from truekev.scale.whole.relock_whole import relock_whole
from truekev.transport.detector import DEFAULT_DETECTOR

__all__ = ["coarser", "main", "measure"]

CHANNELS = (256, 1024, 4096, 16_384)
FULL_COUNTS, RELOCK_COUNTS = 20_000.0, 5_000.0
_SEED = 20261205
# Of ln g, from the count that the scale comes from to the one that is re-locked; where it moved far, other sources are
# tried too.
MOVED = {"re-lock": 0.005, "re-lock, gain moved by 3 %": 0.03}


def coarser(counted: CountedSpectrum, n_channels: int) -> CountedSpectrum:
    """The same counts in fewer channels."""

    def added(values: Any) -> Any:
        return values.reshape(n_channels, -1).sum(axis=1)

    room = counted.background
    assert room is not None
    return CountedSpectrum(
        added(counted.counts),
        MeasuredBackground(added(room.counts), added(room.variance), room.u_scale),
        counted.sample,
    )


def _spent(work: Callable[[], object], times: int) -> float:
    """Least processor time of some runs [s]."""
    found = []
    for _ in range(times):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return min(found)


def _later(truth: Truth, net_counts: float, moved: float) -> Truth:
    strengths = truth.strengths / truth.net_counts * net_counts
    return replace(truth, strengths=strengths, net_counts=net_counts, log_gain=truth.log_gain + moved)


def measure(n_truths: int, channels: tuple[int, ...] = CHANNELS, times: int = 2) -> dict[str, dict[int, list[float]]]:
    """Processor seconds of "full fit" and of the re-locks of `MOVED`, one of each truth, by number of channels."""
    crystal, scatter = crystal_of(DEFAULT_DETECTOR), scatter_of(DEFAULT_DETECTOR)
    found: dict[str, dict[int, list[float]]] = {what: {n: [] for n in channels} for what in ("full fit", *MOVED)}
    for k in range(n_truths):
        rng = np.random.default_rng([_SEED, k])
        truth = draw_truth(rng, n_channels=channels[-1], net_counts=FULL_COUNTS)
        first = counted_from(truth, rng).counted
        later = {what: counted_from(_later(truth, RELOCK_COUNTS, moved), rng).counted for what, moved in MOVED.items()}
        for n in channels:
            calibrated = partial(calibrate_whole, [coarser(first, n)], crystal, scatter)
            scale = calibrated().calibration.scales[0]
            found["full fit"][n].append(_spent(calibrated, times))
            for what, counted in later.items():
                relocked = partial(relock_whole, coarser(counted, n), scale, crystal, scatter)
                relocked()
                found[what][n].append(_spent(relocked, times))
    return found


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--truths", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    found = measure(options.truths)
    if options.json:
        print(json.dumps(found, indent=2))
        return
    print(f"{options.truths} spectra; full fit of {FULL_COUNTS:,.0f} net counts, re-lock of {RELOCK_COUNTS:,.0f}")
    for what, by_channels in found.items():
        bar = 2.0 if what == "full fit" else 0.1
        for n, seconds in by_channels.items():
            bars = f" (bar {bar:g} s)" if n == 1024 else ""
            middle, worst = statistics.median(seconds), max(seconds)
            print(f"{what}, {n:6,d} channels: median {middle:.3f} s, slowest {worst:.3f} s{bars}")
        ratios = [a / b for a, b in zip(by_channels[16_384], by_channels[1024], strict=True)]
        print(f"{what}: 16,384 channels cost {statistics.median(ratios):.2f} times what 1,024 cost (bar: flat)")


if __name__ == "__main__":
    main()
