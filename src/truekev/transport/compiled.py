"""How the engine's functions are compiled, and its stream of random numbers."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import platformdirs
from numba import config as _config
from numba import njit as _njit

__all__ = ["ENGINE", "Array", "Integers", "Stream", "compiled", "inlined", "seed_stream", "uniform"]

Array = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Stream = npt.NDArray[np.uint64]

config: Any = _config
njit: Any = _njit  # its types know neither all options nor a keyword dictionary


def _cache_folder() -> str:
    """Folder of the machine code, by a hash of every source file that goes into it.

    numba itself looks only at the file of the outermost function: a changed constant in another file would leave it
    with stale code.
    """
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for folder in (here, here.parent / "matter"):
        for file in sorted(folder.glob("*.py")):
            digest.update(file.read_bytes())
    base = Path(config.CACHE_DIR) if config.CACHE_DIR else platformdirs.user_cache_path("truekev") / "compiled"
    return str(base / digest.hexdigest()[:16])


_FOLDER = _cache_folder()
ENGINE = Path(_FOLDER).name  # names the state of the engine in the keys of stored results


def _compiler(**options: Any) -> Any:
    # without numba's counting of references (_nrt), which costs a locked write at every call and makes threads wait
    # for each other: compiled functions allocate nothing
    common = {"nogil": True, "_nrt": False, "error_model": "numpy", "fastmath": {"contract", "nsz", "arcp"}}

    def decorate(function: Any) -> Any:
        before = config.CACHE_DIR
        config.CACHE_DIR = _FOLDER
        try:
            return njit(cache=True, **common, **options)(function)
        except RuntimeError:
            # no folder can be written: compile anew in every process
            return njit(**common, **options)(function)
        finally:
            config.CACHE_DIR = before

    return decorate


# Both compile a function of the engine to machine code at its first call and keep it on disk for the next process. No
# reordering of sums: the same seed gives the same bits on one machine whatever the number of threads. `inlined` is for
# small functions and for those called from one place: handing over many arrays costs more than the work.
compiled: Any = _compiler()
inlined: Any = _compiler(forceinline=True)

_U11, _U17, _U19, _U23, _U27, _U30, _U31, _U41, _U45 = (np.uint64(n) for n in (11, 17, 19, 23, 27, 30, 31, 41, 45))
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX2 = np.uint64(0x94D049BB133111EB)
_SCALE = 2.0**-53


@compiled
def seed_stream(stream: Stream, seed: int, block: int) -> None:
    """Fill the four words of `stream` for block number `block` of a run with `seed` (splitmix64 of both)."""
    z = np.uint64(seed) * _MIX2 + np.uint64(block) * _MIX1 + _GOLDEN
    for i in range(4):
        z += _GOLDEN
        y = z
        y = (y ^ (y >> _U30)) * _MIX1
        y = (y ^ (y >> _U27)) * _MIX2
        stream[i] = y ^ (y >> _U31)


@inlined
def uniform(stream: Stream) -> float:
    """Next number in (0, 1) of xoshiro256++ (D. Blackman, S. Vigna, 2019)."""
    s0 = stream[0]
    s1 = stream[1]
    s2 = stream[2]
    s3 = stream[3]
    total = s0 + s3
    word = ((total << _U23) | (total >> _U41)) + s0
    t = s1 << _U17
    s2 ^= s0
    s3 ^= s1
    s1 ^= s2
    s0 ^= s3
    s2 ^= t
    s3 = (s3 << _U45) | (s3 >> _U19)
    stream[0] = s0
    stream[1] = s1
    stream[2] = s2
    stream[3] = s3
    return (float(word >> _U11) + 0.5) * _SCALE
