"""Random bench books for tests and studies: every kind of record, superseded and withdrawn ones, files, readings."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from truekev.bench.settings import batch_template
from truekev.book.body import Body, InputRecord, Value
from truekev.book.book import Book
from truekev.book.records import NewFile
from truekev.book.run_readings import NewReading, add_readings
from truekev.book.spectra import add_spectrum
from truekev.book.things import Departure, Find, HouseMove, Instrument, Source, Stock, Upkeep, Waste
from truekev.book.work import Authority, Batch, Note, Picture, Recovery, Relock, Result, Sample, Scale
from truekev.errors import TruekevError
from truekev.sources.template import source_template
from truekev.spectra.columns_write import columns_text
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import Spectrum

__all__ = ["random_body", "random_book", "spectrum_bytes", "ticking_clock"]

_WORDS = "rods vial lens shelf Ångström 室温 naïve O'Hara \"quoted\" <b>bold</b> '; DROP--  Ω±µ 🦆 ../../etc".split()


def ticking_clock(start: datetime = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)) -> Any:
    """A clock that goes on by a minute whenever it is read."""
    now = [start]

    def clock() -> datetime:
        now[0] += timedelta(minutes=1)
        return now[0]

    return clock


def spectrum_bytes(rng: np.random.Generator, n_channels: int = 64) -> tuple[bytes, str]:
    """The bytes of a random spectrum file, and its name."""
    spectrum = Spectrum(
        counts=rng.poisson(5.0, n_channels).astype(float),
        live_time_s=float(rng.integers(10, 4000)),
        start=datetime(2026, 1, 1) + timedelta(hours=int(rng.integers(0, 9000))),
    )
    if rng.random() < 0.5:
        return n42_bytes(spectrum), "count.n42"
    return columns_text(spectrum).encode(), "count.csv"


def _words(rng: np.random.Generator) -> str:
    return " ".join(rng.choice(_WORDS, size=int(rng.integers(1, 5)))).strip()


def _value(rng: np.random.Generator, unit: str) -> Value:
    return Value(value=float(rng.normal(10, 3)), u=float(rng.exponential()), unit=unit)


def _day(rng: np.random.Generator) -> date:
    return date(2026, 1, 1) + timedelta(days=int(rng.integers(0, 2000)))


def random_body(rng: np.random.Generator, ids: dict[str, list[int]], kind: str) -> tuple[Body, list[NewFile]] | None:
    """A random body of a kind with the files it holds; None where what it must refer to is not there yet."""

    def any_of(*kinds: str) -> int | None:
        numbers = [i for k in kinds for i in ids.get(k, [])]
        return int(rng.choice(numbers)) if numbers else None

    things = any_of("stock", "source", "find", "waste")
    batch, spectrum = any_of("batch"), any_of("spectrum")
    everything = [i for numbers in ids.values() for i in numbers]
    name, place, text = _words(rng), _words(rng), _words(rng) + "\nsecond line\twith a tab"
    match kind:
        case "stock":
            return Stock(
                name=name, what="rods", place=place, count=int(rng.integers(1, 20)), electrode_class="WT20",
                diameter_mm=2.4, length_mm=float(rng.uniform(50, 200)), bought_on=_day(rng), remarks=text,
            ), []  # fmt: skip
        case "batch":
            import tomllib

            settings = tomllib.loads(batch_template())
            plain = {k: v.isoformat() if isinstance(v, datetime) else v for k, v in settings.items()}
            plain["attendance"] = {k: str(v) for k, v in settings["attendance"].items()}
            return Batch(name=name, settings=plain, text=batch_template(), remarks=text), []
        case "recovery" if batch:
            return Recovery(
                name=name, batch_id=batch, separated_on=_day(rng), kept={"Ra": float(rng.random())},
                oxide_mass_g=_value(rng, "g"),
            ), []  # fmt: skip
        case "source":
            return Source(name=name, description=source_template(), place=place, batch_id=batch, remarks=text), []
        case "find":
            return Find(name=name, what=_words(rng), place=place, found_on=_day(rng)), []
        case "waste":
            return Waste(
                name=name, contents=_words(rng), place=place, closed_on=_day(rng), hazards="caustic", batch_id=batch,
                mass_g=_value(rng, "g"), activities_bq={"Th-232": _value(rng, "Bq")},
            ), []  # fmt: skip
        case "departure" if things:
            return Departure(
                name=name, thing_id=things, how="disposed of", on=_day(rng), to="licensed disposer", reference_no="7/26"
            ), []
        case "upkeep" if things:
            return Upkeep(name=name, thing_id=things, on=_day(rng), looked=True, gross_mass_g=_value(rng, "g")), []
        case "house move":
            return HouseMove(name=name, on=_day(rng), from_place=place, to_place=_words(rng)), []
        case "instrument":
            return Instrument(name=name, crystal="CsI(Tl) 10 mm", n_channels=1024, description=text), []
        case "scale" if spectrum:
            scale = {"gain": float(rng.random()), "tiny": 5e-324, "list": [1, 2.5, None, {"a": True}]}
            return Scale(name=name, spectrum_ids=(spectrum,), made_on=_day(rng), method="peaks", scale=scale), []
        case "relock" if spectrum and (scale_id := any_of("scale", "relock")):
            return Relock(
                name=name, scale_id=scale_id, spectrum_id=spectrum, made_on=_day(rng), gain_ratio=_value(rng, ""),
                scale={"x": 1},
            ), []  # fmt: skip
        case "sample":
            return Sample(name=name, what=_words(rng), mass_g=_value(rng, "g")), []
        case "result" if everything:
            about = int(rng.choice(everything))
            return Result(name=name, question="plan of a batch", about_id=about, answer={"n": [1.25, "x"]}), []
        case "authority":
            return Authority(name=name, asked_on=_day(rng), asked_whom=place, question=text), []
        case "note":
            return Note(name=name, text=text, about_ids=tuple(sorted(set(everything[-2:])))), []
        case "picture":
            file = NewFile(rng.bytes(int(rng.integers(0, 3000))), str(rng.choice(["image/png", "image/x-odd"])))
            return Picture(name=name, file_sha256=file.sha256, file_name=_words(rng), caption=text), [file]
    return None


_KINDS = (
    *("stock", "batch", "recovery", "source", "find", "waste", "departure", "upkeep", "house move", "instrument"),
    *("scale", "relock", "sample", "result", "authority", "note", "picture"),
)


def random_book(path: Path, rng: np.random.Generator, n_steps: int = 40) -> Book:
    """A book of random records, written as a person would: appended, corrected, withdrawn."""
    book = Book.create(path, "Random " + _words(rng), clock=ticking_clock())
    ids: dict[str, list[int]] = {}
    for _ in range(n_steps):
        choice = rng.random()
        everything = [i for numbers in ids.values() for i in numbers]
        if choice < 0.2:
            data, file_name = spectrum_bytes(rng)
            record = add_spectrum(book, data, file_name, name=_words(rng), remarks=_words(rng))
            ids.setdefault("spectrum", []).append(record.id)
        elif choice < 0.3 and ids.get("batch"):
            batch_id = int(rng.choice(ids["batch"]))
            new = [
                NewReading(
                    datetime(2026, 5, 1) + timedelta(seconds=float(rng.integers(0, 10**6)) / 7),
                    current_a=float(rng.uniform(0, 2)),
                    temperature_degc=None if rng.random() < 0.5 else float(rng.uniform(15, 60)),
                    remark=_words(rng) if rng.random() < 0.2 else "",
                )
                for _ in range(int(rng.integers(1, 30)))
            ]
            numbers = add_readings(book, batch_id, new)
            if rng.random() < 0.5:
                fix = NewReading(new[0].at, current_a=0.5, remark="misread", supersedes=numbers[0])
                add_readings(book, batch_id, [fix])
        elif choice < 0.36 and everything:
            try:
                book.withdraw(int(rng.choice(everything)), "written by mistake")
            except TruekevError:
                continue  # superseded already
        else:
            kind = str(rng.choice(_KINDS))
            made = random_body(rng, ids, kind)
            if made is None:
                continue
            body, files = made
            supersedes = None
            if ids.get(kind) and rng.random() < 0.3:
                old = int(rng.choice(ids[kind]))
                supersedes = old if book.get(old).current else None
            if kind == "result":
                about = body.about_id  # type: ignore[attr-defined]
                body = body.model_copy(update={"inputs": (InputRecord(id=about, sha256=book.get(about).sha256),)})
            ids.setdefault(kind, []).append(book.add(body, supersedes=supersedes, files=files).id)
    return book
