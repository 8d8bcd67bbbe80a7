"""A batch written back as TOML, for plans that size a batch anew."""

from __future__ import annotations

import json
from datetime import datetime, time
from typing import Any

from truekev.bench.settings import BatchSettings

__all__ = ["batch_toml"]


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime | time):
        return value.isoformat()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)


def batch_toml(batch: BatchSettings, remark: str = "") -> str:
    """A batch as TOML that reads back to the same batch."""
    entries = batch.model_dump(by_alias=True, exclude_none=True)
    lines = [f"# {line}" for line in remark.splitlines()]
    lines += [f"{key} = {_value(v)}" for key, v in entries.items() if not isinstance(v, dict | tuple | list)]
    for key, table in entries.items():
        if isinstance(table, tuple | list):
            for entry in table:
                lines += ["", f"[[{key}]]", *(f"{name} = {_value(v)}" for name, v in entry.items())]
        elif isinstance(table, dict):
            lines += ["", f"[{key}]", *(f"{name} = {_value(v)}" for name, v in table.items())]
    return "\n".join(lines) + "\n"
