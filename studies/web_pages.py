"""How quick are the pages of a bench book after years of use, and is the figure of a spectrum smooth?

Run: python -m studies.web_pages. Takes under a minute; the bars are those of the project: median page 200 ms, first
load 1.5 MB, 8,192 channels drawn smoothly.
"""

from __future__ import annotations

import numpy as np
from benchmarks.web_pages import measure

from studies.frame import Result, Table, run_trials, write_page

__all__ = ["main", "trial"]

N_SPECTRA, N_READINGS = 2000, 200_000
SEED = 17  # of the invented records; the benchmark has it fixed
_QUESTION = (
    "A book holds 2,000 spectra, 100 re-locks with their models, and ten batches with 200,000 readings in all. Every "
    "kind of page is asked for seven times over HTTP, server and asker on one machine; the median of the seven counts. "
    "Then a browser drags the pointer over a figure of 8,192 channels with model and components."
)
_ANSWER = (
    "Other work shared the machine, so the times are what a slow laptop would show. The pages that take longest "
    "reckon: the shelf works out every activity of today, a sheet draws its picture, a batch follows all of its "
    "readings. The frame is the time from one to the next in a browser without a graphics card; drawing is the part "
    "that is ours."
)


def trial(_index: int, _rng: np.random.Generator) -> Result:
    """One book, all pages."""
    return measure(N_SPECTRA, N_READINGS)


def main() -> None:
    """Run, and write docs/validation/web_pages.md."""
    trials = run_trials("web_pages", trial, n_trials=1, seed=SEED, settings="2", workers=1)
    found = trials.results[0]
    pages = tuple((page, f"{1000 * seconds:.0f}", f"{size / 1000:.1f}") for page, seconds, size in found["pages"])
    bars = (
        ("median page", f"{1000 * found['median_s']:.0f} ms", "200 ms"),
        ("slowest page", f"{1000 * max(row[1] for row in found['pages']):.0f} ms", "none"),
        ("first load: page, style, scripts", f"{found['first_load_bytes'] / 1000:.0f} kB", "1500 kB"),
        ("8,192 channels: drawing a frame", f"{found['drawn_ms']:.1f} ms", "smooth"),
        ("from one frame to the next", f"{found['frame_ms']:.1f} ms", "smooth"),
    )
    write_page(
        trials,
        title="Pages of the bench book",
        question=_QUESTION,
        tables=[
            Table("Against the bars", ("what", "measured", "bar"), bars),
            Table("Every page", ("page", "ms", "kB"), pages),
        ],
        answer=_ANSWER,
    )


if __name__ == "__main__":
    main()
