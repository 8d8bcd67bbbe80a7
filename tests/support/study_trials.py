"""Trials for the tests of the studies' frame; at the top of a module, so that processes can find them."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import numpy as np
from studies.frame import Result, run_trials


def draw(number: int, rng: np.random.Generator) -> Result:
    """A number that depends on seed and trial alone."""
    return {"number": number, "value": float(rng.normal())}


def killed_at_five(number: int, rng: np.random.Generator) -> Result:
    """Like `draw`, but the process dies without a word at trial 5."""
    if number == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return draw(number, rng)


def interrupted_at_four(number: int, rng: np.random.Generator) -> Result:
    """Like `draw`, but the person presses Ctrl-C during trial 4."""
    if number == 4:
        raise KeyboardInterrupt
    return draw(number, rng)


def failing_at_two(number: int, rng: np.random.Generator) -> Result:
    """Like `draw`, but trial 2 fails."""
    if number == 2:
        raise ValueError("trial 2 failed")
    return draw(number, rng)


if __name__ == "__main__":
    run_trials("killed", killed_at_five, n_trials=12, seed=7, workers=1, work=Path(sys.argv[1]))
