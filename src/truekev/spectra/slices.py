"""Slices: consecutive counts of one instrument, and their sum."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

import numpy as np

from truekev.errors import InputError
from truekev.spectra.spectrum import Spectrum

__all__ = ["sum_of_slices", "why_not_slices"]

# Clocks in files are often cut to whole seconds, at both ends.
_CLOCK_STEP = timedelta(seconds=2)


def why_not_slices(spectra: Sequence[Spectrum]) -> str:
    """Why `spectra` cannot be slices of one count, in words; empty if they can.

    Slices have the same number of channels, the same instrument and detector (where both are named), one role, the
    same claimed scale, and starts that follow each other without overlap (where starts and times are given).
    """
    if not spectra:
        return "there is no spectrum."
    first = spectra[0]
    for number, (before, after) in enumerate(pairwise(spectra), start=2):
        if after.n_channels != first.n_channels:
            return f"slice {number} has {after.n_channels} channels, slice 1 has {first.n_channels}."
        for name in ("instrument", "detector"):
            mine, other = getattr(after, name), getattr(first, name)
            if mine and other and mine != other:
                return f"slice {number} is of {name} {mine!r}, slice 1 of {other!r}."
        if after.role != first.role:
            return f"slice {number} is a {after.role or 'count of no said role'}, slice 1 {first.role or 'says none'}."
        if after.rebinned != first.rebinned:
            return f"slice {number} and slice 1 differ in that one was redistributed onto an energy axis."
        if before.start is not None and after.start is not None:
            if (before.start.tzinfo is None) != (after.start.tzinfo is None):
                return f"slices {number - 1} and {number}: only one start names its time zone."
            if after.start < before.start:
                return f"slice {number} starts before slice {number - 1}; give slices in the order of time."
            length = before.real_time_s or before.counting_time_s or before.live_time_s or 0.0
            if (after.start - before.start + _CLOCK_STEP).total_seconds() < length:
                return f"slice {number} starts while slice {number - 1} still counts."
    return ""


def sum_of_slices(slices: Sequence[Spectrum]) -> Spectrum:
    """The sum of consecutive slices of one count: counts, overflow, variances and times added; the slices kept in it.

    A time that one slice lacks is None in the sum; a claimed scale is kept where all slices agree in it.

    Raises
    ------
    InputError
        The spectra are not slices of one count; says which and why.
    """
    why = why_not_slices(slices)
    if why:
        raise InputError(f"These spectra cannot be added as slices of one count: {why}")
    first = slices[0]
    variance = None
    if any(s.variance is not None for s in slices):
        variance = np.sum([s.counts if s.variance is None else s.variance for s in slices], axis=0)
    same_scale = all(s.claimed_scale == first.claimed_scale for s in slices)
    same_correction = all(s.corrected_scale == first.corrected_scale for s in slices)
    notes = list(first.notes)
    if not same_scale:
        notes.append("the slices claim different energy scales; the sum claims none.")
    return Spectrum(
        counts=np.sum([s.counts for s in slices], axis=0),
        variance=variance,
        live_time_s=_total([s.live_time_s for s in slices]),
        real_time_s=_total([s.real_time_s for s in slices]),
        counting_time_s=_total([s.counting_time_s for s in slices]),
        start=first.start,
        overflow=sum(s.overflow for s in slices),
        claimed_scale=first.claimed_scale if same_scale else None,
        corrected_scale=first.corrected_scale if same_correction else None,
        slices=tuple(slices),
        title=first.title,
        remarks=first.remarks,
        instrument=first.instrument,
        detector=first.detector,
        role=first.role,
        rebinned=first.rebinned,
        notes=notes,
        file=first.file,
        sha256=first.sha256,
    )


def _total(times: list[float | None]) -> float | None:
    known = [time for time in times if time is not None]
    return float(sum(known)) if known and len(known) == len(times) else None
