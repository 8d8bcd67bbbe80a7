"""One random batch with one random file of readings through every job of the bench; used by the tests and by the
study.
"""

from __future__ import annotations

import dataclasses
import math
import tempfile
from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime, time
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from tests.support.batches import random_entries
from truekev.errors import TruekevError
from truekev.job.clean import clean_batch
from truekev.job.plan_make import plan_of_batch
from truekev.job.recover import recover_batch
from truekev.job.run_today import follow_batch
from truekev.job.waste import waste_of_batch

__all__ = ["bad_numbers", "batch_and_readings", "readings_bytes", "toml_of"]

_AMOUNT_ENDINGS = ("_g", "_mg", "_mol", "_ml", "_l", "_ah", "_bq", "_h", "_mol_l")


def toml_of(entries: Mapping[str, Any]) -> str:
    """Nested dictionaries as TOML, also where the values make no sense; None is left out."""

    def value(v: Any) -> str:
        if isinstance(v, bool):
            return "true" if v else "false"
        if isinstance(v, str):
            return "'" + v.replace("'", " ") + "'"
        if isinstance(v, float):
            return "nan" if math.isnan(v) else ("inf" if v > 0 else "-inf") if math.isinf(v) else repr(v)
        return "[]" if isinstance(v, list) else "{}" if isinstance(v, dict) else repr(v)

    def table(entry: Mapping[str, Any]) -> list[str]:
        return [f"{name} = {value(v)}" for name, v in entry.items() if v is not None]

    simple = {k: v for k, v in entries.items() if not (isinstance(v, dict) and v) and k != "rods"}
    lines = table({k: v for k, v in simple.items() if v is not None})
    lines = [line.replace("start = '2026-10-05T09:00:00'", "start = 2026-10-05T09:00:00") for line in lines]
    if isinstance(entries.get("rods"), list):
        for lot in entries["rods"]:
            lines += ["[[rods]]", *table(lot)]
    for key, entry in entries.items():
        if isinstance(entry, dict) and entry:
            lines += [f"[{key}]", *table(entry)]
    return "\n".join(lines) + "\n"


def readings_bytes(rng: np.random.Generator) -> bytes:
    """A random file of readings: sound with gaps, restarts and clock changes, or damaged."""
    n = int(rng.integers(1, 120))
    elapsed = rng.random() < 0.3
    steps = rng.uniform(1, 600) * np.ones(n) * rng.uniform(0.5, 1.5, n)
    for _ in range(int(rng.integers(0, 4))):
        steps[int(rng.integers(0, n))] = float(rng.choice([3600.0, -3600.0, 4e4, -1e5, 0.0, 1e7]))
    clock = np.cumsum(steps)
    if elapsed and rng.random() < 0.5:
        at = int(rng.integers(0, n))
        clock[at:] -= clock[at]
    current = np.abs(rng.normal(1.5, 0.5, n)) * (rng.random(n) > 0.05)
    voltage = rng.normal(2.5, rng.choice([0.05, 2.0]), n)
    start = np.datetime64("2026-10-05T09:00:00")
    lines = ["time,current_a,voltage_v,temperature_degc,free_hydroxide_mol_l,mass_g,level_ml"]
    for i in range(n):
        stamp = f"{clock[i]:.1f}" if elapsed else str(start + np.timedelta64(int(clock[i]), "s"))
        cells = [stamp, f"{current[i]:.3f}", f"{voltage[i]:.3f}", f"{rng.normal(30, 8):.1f}"]
        cells += [f"{rng.uniform(lo, hi):.2f}" if rng.random() < 0.05 else "" for lo, hi in ((0, 5), (0, 80), (0, 300))]
        lines.append(",".join(cells))
    data = "\n".join(lines).encode() + b"\n"
    kind = int(rng.integers(0, 8))
    if kind == 0:
        damaged = bytearray(data)
        for _ in range(int(rng.integers(1, 30))):
            damaged[int(rng.integers(0, len(damaged)))] = int(rng.integers(0, 256))
        data = bytes(damaged)
    elif kind == 1:
        data = data[: int(rng.integers(0, len(data)))]
    elif kind == 2:
        data = rng.bytes(int(rng.integers(0, 400)))
    elif kind == 3:
        data = data.replace(b",", bytes(rng.choice([b";", b"\t", b",,", b" "])))
    return data


def bad_numbers(thing: Any, name: str = "") -> Iterator[str]:
    """Every number in a result that is not finite, and every amount below zero."""
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        if {f.name for f in dataclasses.fields(thing)} == {"value", "u", "unit"}:
            yield from bad_numbers(getattr(thing, "value"), name)  # noqa: B009 - any dataclass of these fields
            yield from bad_numbers(getattr(thing, "u"), f"{name}_g")  # noqa: B009
            return
        for field in dataclasses.fields(thing):
            yield from bad_numbers(getattr(thing, field.name), field.name)
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from bad_numbers(value, str(key))
    elif isinstance(thing, np.ndarray):
        if thing.dtype.kind == "f" and not np.isfinite(thing).all():
            yield f"{name}: not finite"
        elif thing.dtype.kind == "f" and name.endswith(_AMOUNT_ENDINGS) and (thing < -1e-9).any():
            yield f"{name}: {thing.min():g}"
    elif isinstance(thing, list | tuple):
        for value in thing:
            yield from bad_numbers(value, name)
    elif isinstance(thing, str | bytes | bool | datetime | date | time | Path | Enum) or thing is None:
        return
    elif isinstance(thing, float | int):
        if not math.isfinite(thing):
            yield f"{name}: {thing}"
        elif (
            name.endswith(_AMOUNT_ENDINGS)
            and not name.endswith(("from_h", "to_h", "at_h", "elapsed_h"))
            and thing < -1e-9
        ):
            yield f"{name}: {thing:g}"


def _outcome(question: Callable[[], Any]) -> tuple[str, list[str]]:
    try:
        report = question()
    except TruekevError as error:
        words = str(error)
        return (type(error).__name__ if len(words) > 20 else f"CRASH: a message without words: {words!r}"), []
    except Exception as error:  # the study counts what must never happen
        return f"CRASH: {type(error).__name__}: {error}", []
    return "answered", sorted(set(bad_numbers(report.document() if hasattr(report, "document") else report)))


def batch_and_readings(_trial: int, rng: np.random.Generator) -> dict[str, Any]:
    """Outcomes of every job on one random batch and file of readings, and the bad numbers found."""
    entries, data = random_entries(rng), readings_bytes(rng)
    with tempfile.TemporaryDirectory() as folder:
        batch, log = Path(folder) / "batch.toml", Path(folder) / "log.csv"
        batch.write_text(toml_of(entries), encoding="utf-8")
        log.write_bytes(data)
        questions: dict[str, Callable[[], Any]] = {
            "plan": lambda: plan_of_batch(batch),
            "backwards": lambda: plan_of_batch(batch, activity_bq=float(10 ** rng.uniform(1, 6))),
            "follow": lambda: follow_batch(batch, log),
            "recover": lambda: recover_batch(batch),
            "waste": lambda: waste_of_batch(batch),
            "cleanup": lambda: clean_batch(batch, f"{rng.uniform(1, 100):.0f}mL {rng.uniform(1, 40):.0f}%"),
        }
        outcomes = {name: _outcome(question) for name, question in questions.items()}
    return {
        "outcomes": {name: outcome for name, (outcome, _) in outcomes.items()},
        "bad": [f"{name}: {what}" for name, (_, found) in outcomes.items() for what in found],
    }
