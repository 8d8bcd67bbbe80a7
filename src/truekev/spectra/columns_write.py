"""Plain columns: writing."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError
from truekev.record import Record
from truekev.spectra.claims import polynomial_text
from truekev.spectra.limits import check_rising
from truekev.spectra.spectrum import ClaimedScale, Spectrum
from truekev.version import __version__

__all__ = ["columns_text"]

_SEPARATORS = (",", ";", "\t", " ")
# The reader refuses lines above 10,000 characters.
_MAX_WORDS = 9_000
_POINTS_A_LINE = 40


def columns_text(
    spectrum: Spectrum,
    *,
    energy_edges_kev: npt.ArrayLike | None = None,
    separator: str = ",",
    decimal: str = ".",
    record: Record | None = None,
) -> str:
    """`spectrum` as plain columns with its facts as comment lines; the reader gives the same spectrum back.

    Parameters
    ----------
    spectrum : Spectrum
        What is written.
    energy_edges_kev : array, shape (n + 1,), or None
        Corrected energies of the channel edges [keV], rising. With them the columns are channel,
        energy_low_kev, energy_high_kev, counts, and the file says that it was corrected; without them channel, counts.
    separator, decimal
        One of comma, semicolon, tab, blank; point or comma, never comma for both.
    record : Record or None
        What the result rests on, written as a comment.

    Raises
    ------
    OutOfRangeError
        Edges of another number than n + 1; separator or decimal mark not allowed.
    FileFormatError
        Edges that do not rise.

    Notes
    -----
    One spectrum a file: its background and slices are left out (N42.42 keeps them). Words are put on
    one line, and remarks above 9,000 characters are cut into several.
    """
    if separator not in _SEPARATORS or decimal not in (".", ",") or separator == decimal:
        raise OutOfRangeError(
            f"separator {separator!r} with decimal mark {decimal!r}: choose comma, semicolon, tab or blank, and point "
            "or comma, not comma for both."
        )
    columns: dict[str, list[str]] = {"channel": [str(i) for i in range(spectrum.n_channels)]}
    if energy_edges_kev is not None:
        edges = np.asarray(energy_edges_kev, dtype=np.float64)
        if edges.shape != (spectrum.n_channels + 1,):
            raise OutOfRangeError(
                f"{edges.size} energy edges for {spectrum.n_channels} channels: {spectrum.n_channels + 1} are needed."
            )
        texts = [_number(value) for value in check_rising(edges, file="", field="energy edges")]
        columns["energy_low_kev"], columns["energy_high_kev"] = texts[:-1], texts[1:]
    columns["counts"] = [_number(value) for value in spectrum.counts]
    if spectrum.variance is not None:
        columns["variance"] = [_number(value) for value in spectrum.variance]
    lines = [f"# {fact}" for fact in _facts(spectrum, energy_edges_kev is not None, record)]
    lines.append(separator.join(columns))
    for row in zip(*columns.values(), strict=True):
        lines.append(separator.join(row).replace(".", decimal) if decimal == "," else separator.join(row))
    return "\n".join(lines) + "\n"


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _words(text: str) -> list[str]:
    """`text` on one line without control characters, cut where the reader would refuse the line."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return [line[i : i + _MAX_WORDS].strip() for i in range(0, len(line), _MAX_WORDS)]


def _facts(spectrum: Spectrum, corrected: bool, record: Record | None) -> list[str]:
    facts = [f"written by: truekev {__version__}", "channel convention: channel i covers i - 1/2 to i + 1/2"]
    for name in ("title", "instrument", "detector", "role"):
        facts += [f"{name}: {words}" for words in _words(getattr(spectrum, name))[:1]]
    if spectrum.start is not None:
        facts.append(f"start: {spectrum.start.isoformat()}")
    for name in ("live_time_s", "real_time_s", "counting_time_s"):
        value = getattr(spectrum, name)
        if value is not None:
            facts.append(f"{name.removesuffix('_s').replace('_', ' ')}: {_number(value)} s")
    if spectrum.overflow:
        facts.append(f"overflow: {_number(spectrum.overflow)}")
    if spectrum.rebinned:
        facts.append("counts were rebinned: yes")
    facts += _scale("claimed", spectrum.claimed_scale) + _scale("corrected", spectrum.corrected_scale)
    if corrected:
        facts.append("energy columns: corrected by truekev")
    facts += [f"remark: {words}" for remark in spectrum.remarks for words in _words(remark)]
    facts += [f"note: {words}" for note in spectrum.notes for words in _words(note)]
    if record is not None:
        text = json.dumps(asdict(record), default=str)
        facts += [f"record: {text[i : i + _MAX_WORDS]}" for i in range(0, len(text), _MAX_WORDS)]
    return facts


def _scale(which: str, scale: ClaimedScale | None) -> list[str]:
    if scale is None:
        return []
    facts = [f"{which} energy scale, keV: {polynomial_text(scale.coefficients_kev)}"]
    facts += [f"{which} energy scale origin: {words}" for words in _words(scale.origin)[:1]]
    pairs = [f"{x!r}:{energy!r}" for x, energy in scale.points]
    for i in range(0, len(pairs), _POINTS_A_LINE):
        facts.append(f"{which} energy points: {' '.join(pairs[i : i + _POINTS_A_LINE])}")
    return facts
