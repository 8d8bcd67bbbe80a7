"""Identification of open spectra (SURO, CC BY-SA 4.0, ../shared/open-spectra/SOURCES.md), scale from Eu-152, re-locked.

What each spectrum holds is said there: check sources of Am-241, Cs-137 and Eu-152, radon progeny, a fertiliser with
potassium, a residue with the thorium series and radium-226 progeny, and the office itself.
"""

from __future__ import annotations

from functools import cache

import pytest
from studies.open_spectra import FOLDER, base

from truekev.errors import RefusedError
from truekev.job.counted import count_of, read_background
from truekev.job.sample_count import model_of
from truekev.samples.candidates import NATURAL, ROOM, candidates
from truekev.samples.identify import Identified, identify_spectrum
from truekev.samples.sample_file import POINT_SAMPLE
from truekev.scale.crystal import crystal_of
from truekev.scale.energy_scale import EnergyScale
from truekev.scale.relock import relock
from truekev.spectra.read import read_spectrum
from truekev.transport.detector import DEFAULT_DETECTOR

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="the open spectra are not beside the project (../shared)")

_ROOM = "background-office-1h"
# Spectrum, words for the re-lock, whether it stood in the office of the background, and what must be named.
SPECTRA: dict[str, tuple[tuple[str, ...], bool, tuple[str, ...]]] = {
    "am241-1h": (("Am-241",), True, ("Am-241",)),
    "am241-10min": (("Am-241",), True, ("Am-241",)),
    "cs137-1h": (("Cs-137",), True, ("Cs-137",)),
    "cs137-10min-a": (("Cs-137",), True, ("Cs-137",)),
    "cs137-10min-b": (("Cs-137",), True, ("Cs-137",)),
    "cs137-10min-c": (("Cs-137",), True, ("Cs-137",)),
    "eu152-1h": (("Eu-152",), True, ("Eu-152",)),
    "eu152-10min": (("Eu-152",), True, ("Eu-152",)),
    "radon-progeny-1h": (("radon-progeny",), False, ("radon progeny",)),
    "radon-progeny-10min": (("radon-progeny",), False, ("radon progeny",)),
    "thorium-bearing-norm-2h": (("thorium-vial", "radium-dial"), True, ("Ra-226 part", "Th-228 part")),
    "thorium-bearing-norm-1h": (("thorium-vial", "radium-dial"), True, ("Ra-226 part", "Th-228 part")),
    # in ten minutes the thorium series stays below its threshold: not recognised, not wrong
    "thorium-bearing-norm-10min": (("thorium-vial", "radium-dial"), True, ("Ra-226 part",)),
    "potassium-fertiliser-12min": (("K-40",), True, ("K-40",)),
    "background-office-20min": (("room-background",), True, ()),
    "background-office-1h": (("room-background",), False, ()),
}


@cache
def _scale(name: str) -> EnergyScale:
    """Re-locked where the spectrum allows it, else that of another spectrum of the same epoch."""
    words, in_office, _ = SPECTRA[name]
    room = read_background(FOLDER / f"{_ROOM}.csv") if in_office else None
    old = base()[1].scales[0]
    try:
        return relock(
            count_of(FOLDER / f"{name}.csv", words, DEFAULT_DETECTOR, room).counted, old, crystal_of(DEFAULT_DETECTOR)
        ).scale
    except RefusedError:
        return _scale("radon-progeny-1h")


@cache
def _identified(name: str) -> Identified:
    in_office = SPECTRA[name][1]
    scale = _scale(name)
    room = read_spectrum(FOLDER / f"{_ROOM}.csv") if in_office else None
    ratio = _scale("radon-progeny-1h").pulse.gain / scale.pulse.gain if name.startswith("eu152") else 1.0
    spectrum = read_spectrum(FOLDER / f"{name}.csv")
    model = model_of(spectrum, scale, room, ratio, POINT_SAMPLE, DEFAULT_DETECTOR)
    return identify_spectrum(model, [one.name for one in candidates()])


@pytest.mark.parametrize("name", SPECTRA)
def test_what_is_there_is_recognised_and_nothing_else_is(name: str) -> None:
    must = set(SPECTRA[name][2])
    found = _identified(name)
    named = [{one.name, *one.instead} for one in found.recognised if one.name not in ROOM]
    assert all(any(wanted in answer for answer in named) for wanted in must)
    allowed = must | (set(NATURAL) if must <= NATURAL else set())
    assert all(answer & allowed for answer in named), named
    assert not found.unknown
