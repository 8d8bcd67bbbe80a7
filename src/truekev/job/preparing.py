"""The question: what has to be compiled before the first answer, and how long will that take?"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

__all__ = ["ENGINE", "SEARCH", "SMEAR", "Compiled", "announce_preparation", "preparation_s"]

# Module and name of an outermost compiled function, and the time that it takes to compile [s], as measured on one core
# of a small machine that does nothing else.
Compiled = tuple[str, str, float]
SEARCH: Compiled = ("truekev.scale.search", "_scan", 2.0)
SMEAR: Compiled = ("truekev.scale.whole.smear", "smeared", 3.0)
ENGINE: Compiled = ("truekev.transport.histories", "_run", 12.0)


def preparation_s(*compiled: Compiled) -> float:
    """Time that compiling these will take [s]; 0 where all is on disk from before."""
    return sum(seconds for module, name, seconds in compiled if not _is_kept(getattr(import_module(module), name)))


def _is_kept(function: Any) -> bool:
    """Whether numba has kept machine code of a function since its source file was last changed."""
    source = Path(function.py_func.__code__.co_filename)
    indexes = Path(function.stats.cache_path).glob(f"{source.stem}.{function.py_func.__qualname__}-*.nbi")
    return any(index.stat().st_mtime >= source.stat().st_mtime for index in indexes)


def announce_preparation(tell: Callable[[float, str], None], *compiled: Compiled) -> None:
    """Say that the next step compiles first, where it does."""
    seconds = preparation_s(*compiled)
    if seconds > 0:
        tell(0.0, f"preparing, once, about {seconds:.0f} s")
