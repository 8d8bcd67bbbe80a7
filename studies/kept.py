"""Trials that took hours, packed beside the studies: another checkout goes on from them instead of starting anew."""

from __future__ import annotations

import json
import lzma
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from truekev.errors import InputError
from truekev.files import write_whole

__all__ = ["lines_of", "pack"]

_DIGITS = 7


def _packed(work: Path, study: str) -> Path:
    return work.parent / "studies" / "trials" / f"{study}.jsonl.xz"


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, list):
        return [_rounded(one) for one in value]
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    return value


def lines_of(work: Path, study: str) -> Iterator[str]:
    """Lines of finished trials: the packed ones, then those of the work file, which may end in a line cut by a kill."""
    packed = _packed(work, study)
    if packed.is_file():
        with lzma.open(packed, "rt", encoding="utf-8") as stream:
            yield from stream
    file = work / f"{study}.jsonl"
    if file.is_file():
        yield from file.read_text(encoding="utf-8").splitlines()


def pack(work: Path, study: str) -> Path:
    """Pack the finished trials that have the settings of the last one, numbers to seven digits.

    Raises
    ------
    InputError
        There are none.
    """
    done: dict[int, dict[str, Any]] = {}
    last: tuple[Any, Any] | None = None
    for line in lines_of(work, study):
        try:
            entry = json.loads(line)
            key = (entry["seed"], entry["settings"])
            number = int(entry["trial"])
        except (json.JSONDecodeError, KeyError, TypeError):
            continue
        if key != last:
            done.clear()
        last = key
        done[number] = entry
    if not done:
        raise InputError(f"{study}: no trial is done yet. Run it without --keep first.")
    text = "".join(json.dumps(_rounded(done[k]), allow_nan=True) + "\n" for k in sorted(done))
    file = _packed(work, study)
    file.parent.mkdir(parents=True, exist_ok=True)
    return write_whole(file, lzma.compress(text.encode(), preset=9))
