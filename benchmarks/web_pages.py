"""Pages of the bench book with years of records: time, size of the first load, and 8,192 channels drawn in a browser.

    python -m benchmarks.web_pages [--spectra 2000] [--readings 200000] [--no-browser]

Bars: median page 200 ms with 2,000 spectra and 200,000 readings; first load under 1.5 MB; 8,192 channels drawn
smoothly, taken as 33 ms a frame. The book is invented and thrown away.
"""

from __future__ import annotations

import argparse
import http.client
import os
import shutil
import statistics
import tempfile
import threading
import time
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from truekev.book.body import Body
from truekev.book.records import NewFile
from truekev.book.run_readings import NewReading, add_readings
from truekev.book.spectra import add_spectrum, stored_spectrum
from truekev.book.things import Source
from truekev.book.work import Batch, Relock, Result, Scale, SpectrumFile
from truekev.job.book_scales import calibrate_in_book
from truekev.job.demo_book import fill_demo_book
from truekev.spectra.columns_write import columns_text
from truekev.web.server import Server

__all__ = ["fill", "main", "measure"]

_N_BATCHES, _N_RELOCKS, _FINE = 10, 100, 8


def fill(path: Path, n_spectra: int, n_readings: int) -> dict[str, int]:
    """The demonstration's book, swollen; numbers of the records whose pages are timed."""
    new: list[tuple[Body, int | None]]
    day: date
    with fill_demo_book(path) as book:
        rng = np.random.default_rng(17)
        source, batch = book.current(Source)[0], book.current(Batch)[0]
        scale, relock = book.current(Scale)[0], book.current(Relock)[0]
        of_spectrum = book.get_as(scale.body.spectrum_ids[0], SpectrumFile)
        model = next(r for r in book.about(relock.id, Result))
        counts = np.asarray(stored_spectrum(book, of_spectrum.id).counts)
        start = datetime(2016, 1, 1)
        for done in range(0, n_spectra, 100):
            new, files = [], []
            for i in range(done, min(done + 100, n_spectra)):
                lines = "".join(f"{channel},{n}\n" for channel, n in enumerate(rng.poisson(counts / 10)))
                files.append(NewFile(f"# count {i}\nchannel,counts\n{lines}".encode(), "text/csv"))
                began = start + timedelta(hours=43 * i)
                named = {"name": f"Count {i}", "file_sha256": files[-1].sha256, "start": began}
                new.append((of_spectrum.body.model_copy(update=named), None))
            book.add_many(new, files=files)
        for i in range(_N_RELOCKS):
            day = date(2016, 1, 1) + timedelta(days=36 * i)
            again = book.add(relock.body.model_copy(update={"name": f"Re-lock {i}", "made_on": day}))
            book.add(model.body.model_copy(update={"name": f"Model behind record {again.id}", "about_id": again.id}))
        for i in range(_N_BATCHES):
            settings = dict(batch.body.settings)
            one = book.add(batch.body.model_copy(update={"name": f"Batch {i}", "ended_on": None}))
            begun = datetime.fromisoformat(str(settings["start"]))
            n = n_readings // _N_BATCHES
            step = timedelta(seconds=28.0 * 3600 / n)
            amperes, volts = 1.2 + rng.normal(0, 0.01, n), 2.1 + rng.normal(0, 0.03, n)
            seen = [
                NewReading(begun + k * step, current_a=float(a), voltage_v=float(v), temperature_degc=26.0)
                for k, (a, v) in enumerate(zip(amperes, volts, strict=True))
            ]
            add_readings(book, one.id, seen)
        fine = rng.multinomial(counts.astype(int), np.full(_FINE, 1 / _FINE)).reshape(-1)
        spectrum = stored_spectrum(book, of_spectrum.id)
        text = columns_text(type(spectrum)(counts=fine.astype(float), live_time_s=spectrum.live_time_s))
        kept = add_spectrum(book, text.encode(), "fine.csv", name="8192 channels", thing_ids=of_spectrum.body.thing_ids)
        drawn = calibrate_in_book(book, kept.id, ["thoriated-rods"], made_on=date(2026, 11, 1))[0]
        return {"source": source.id, "batch": one.id, "scale": scale.id, "relock": again.id, "spectrum": kept.id,
                "stock": next(line.id for line in book.lines("stock")), "fine": drawn.id}  # fmt: skip


def _timed(port: int, path: str, times: int = 7) -> tuple[float, int]:
    """Median seconds and bytes of a page."""
    found = []
    size = 0
    for _ in range(times):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        start = time.perf_counter()
        connection.request("GET", path)
        answer = connection.getresponse()
        size = len(answer.read())
        found.append(time.perf_counter() - start)
        connection.close()
        if answer.status != 200:
            raise RuntimeError(f"{path}: {answer.status}")
    return statistics.median(found), size


_FRAMES = """async () => {
  const canvas = document.querySelector("canvas"), box = canvas.getBoundingClientRect(), drawn = [], between = [];
  let last = 0;
  for (let i = 0; i < 60; i++) {
    const now = await new Promise(requestAnimationFrame);
    if (last) between.push(now - last);
    last = now;
    const start = performance.now();
    canvas.dispatchEvent(new PointerEvent("pointermove",
      { buttons: 1, clientX: box.left + 80 + 12 * i, clientY: box.top + 50 }));
    drawn.push(performance.now() - start);
  }
  const middle = (row) => row.sort((a, b) => a - b)[row.length >> 1];
  return [middle(drawn), middle(between)];
}"""


def _frames(address: str, path: str) -> tuple[float, float]:
    """Milliseconds to draw one frame, and from one frame to the next, while a finger moves over the figure."""
    from playwright.sync_api import sync_playwright

    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"] if os.geteuid() == 0 else [])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(address + path)
        drawn, between = page.evaluate(_FRAMES)
        browser.close()
    return float(drawn), float(between)


def measure(n_spectra: int, n_readings: int, *, browser: bool = True) -> dict[str, Any]:
    """Fill a book, serve it, and time its pages.

    Returns
    -------
    dict
        "book_mb"; "pages": rows of path, seconds, bytes; "median_s"; "first_load_bytes"; with a browser also
        "drawn_ms", the time to draw 8,192 channels, and "frame_ms", from one frame to the next.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "years.book"
        ids = fill(path, n_spectra, n_readings)
        with Server(path, port=0) as server:
            thread = threading.Thread(target=server.run, daemon=True)
            thread.start()
            port = server.socket.getsockname()[1]
            pages = [
                *("/", "/spectra", "/spectra?skip=1900", "/spectra/new", "/scales", "/sources", "/batches", "/shelf"),
                *("/records", "/records?all=yes&skip=2000", "/sheets", "/plan", "/forecast", "/lines?names=Tl-208"),
                *(f"/spectra/{ids['spectrum']}", f"/scales/{ids['scale']}", f"/scales/{ids['relock']}"),
                *(f"/scales/{ids['fine']}", f"/sources/{ids['source']}", f"/batches/{ids['batch']}"),
                *(f"/how-much?spectrum={ids['spectrum']}", f"/my-source?spectrum={ids['spectrum']}"),
                *(f"/emit?source={ids['source']}", "/align"),
                *(f"/records/{ids['stock']}", f"/sheets/{ids['source']}", f"/scales/{ids['scale']}/departure.png"),
            ]
            _timed(port, "/", 1)
            rows = [(page, *_timed(port, page)) for page in pages]
            shared = sum(_timed(port, f"/static/{name}", 1)[1] for name in ("book.css", "page.js", "spectrum.js"))
            found: dict[str, Any] = {
                "book_mb": path.stat().st_size / 1e6,
                "pages": rows,
                "median_s": statistics.median(row[1] for row in rows),
                "first_load_bytes": rows[0][2] + shared,
            }
            if browser:
                address = f"http://127.0.0.1:{port}"
                found["drawn_ms"], found["frame_ms"] = _frames(address, f"/scales/{ids['fine']}")
            server.stop()
            thread.join(10)
    return found


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--spectra", type=int, default=2000)
    parser.add_argument("--readings", type=int, default=200_000)
    parser.add_argument("--no-browser", action="store_true")
    options = parser.parse_args()
    found = measure(options.spectra, options.readings, browser=not options.no_browser)
    print(f"book: {found['book_mb']:.0f} MB, {options.spectra} spectra, {options.readings} readings")
    for page, seconds, size in found["pages"]:
        print(f"{1000 * seconds:7.0f} ms {size / 1000:8.1f} kB  {page}")
    print(f"median page: {1000 * found['median_s']:.0f} ms (bar 200 ms)")
    print(f"first load: {found['first_load_bytes'] / 1000:.0f} kB (bar 1500 kB)")
    if "drawn_ms" in found:
        drawn, frame = found["drawn_ms"], found["frame_ms"]
        print(f"8192 channels with model and components: {drawn:.1f} ms to draw, {frame:.1f} ms a frame")


if __name__ == "__main__":
    main()
