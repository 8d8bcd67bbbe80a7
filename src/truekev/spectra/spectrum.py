"""The frozen Spectrum.

Channel convention everywhere in the program: channel i covers [i - 1/2, i + 1/2) of the pulse
coordinate, so the middle of channel i is the number i. Files that say otherwise are converted on
import and export.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError

__all__ = ["ROLES", "ClaimedScale", "Spectrum"]

ROLES = ("", "foreground", "background", "calibration", "intrinsic")


@dataclass(frozen=True)
class ClaimedScale:
    """The energy scale that the instrument or file claims: E/keV = sum of c_k * ch**k.

    `coefficients_kev` has c_0 first and belongs to the program's channel convention. `origin` says
    in words where it came from. A claimed scale is never used to fit; it is kept for comparison and so
    that a correction is never applied twice.

    `points`, pairs of (pulse coordinate, energy [keV]), both rising, are there only where no polynomial
    reproduces what the file says; then they are the claim (straight lines between and beyond them), and
    the coefficients are the nearest polynomial.
    """

    coefficients_kev: tuple[float, ...]
    origin: str = ""
    points: tuple[tuple[float, float], ...] = ()

    def energy_kev(self, channel: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Energy [keV] at pulse coordinate `channel`, same shape."""
        at = np.asarray(channel, float)
        if len(self.points) < 2:
            return np.asarray(np.polynomial.polynomial.polyval(at, self.coefficients_kev), dtype=np.float64)
        x, energy = np.array(self.points).T
        low = energy[0] + (at - x[0]) * (energy[1] - energy[0]) / (x[1] - x[0])
        high = energy[-1] + (at - x[-1]) * (energy[-1] - energy[-2]) / (x[-1] - x[-2])
        return np.asarray(np.where(at < x[0], low, np.where(at > x[-1], high, np.interp(at, x, energy))), np.float64)


@dataclass(frozen=True, eq=False)
class Spectrum:
    """One measured spectrum.

    Parameters
    ----------
    counts : ndarray, shape (n,)
        Counts per channel, not negative; whole numbers unless the spectrum was rebinned. Stored
        read-only. The overflow is not in it.
    live_time_s, real_time_s : float or None
        Live and real (clock) counting time [s]; None where the file does not say.
    counting_time_s : float or None
        A counting time of which the file does not say whether it is real or live [s].
    start : datetime or None
        Start of the count.
    overflow : float
        Counts above the range (where an instrument puts them into its last channel, the reader
        moves them here only if the file says so).
    claimed_scale : ClaimedScale or None
        The scale the instrument claimed.
    corrected_scale : ClaimedScale or None
        The scale that this program has already written into the file in place of the claimed one. Where
        it is there, the file was corrected before.
    variance : ndarray or None
        Variance per channel where it differs from the counts (rebinned or summed with weights).
    slices : tuple of Spectrum
        The consecutive parts that this spectrum is the sum of, if the file holds them.
    background : Spectrum or None
        The background that the same file holds for this spectrum.
    role : str
        One of ROLES: what the count was for, as the file says; empty where it does not.
    title, remarks, instrument, detector
        Words from the file.
    notes : sequence of str
        What a reader decided or noticed: gaps filled, numbering from one, a time of unsaid kind.
    file, sha256 : str
        Name and sha256 of the file that it was read from; empty if none.
    rebinned : bool
        True where the counts themselves prove that they were redistributed onto an energy axis.

    Raises
    ------
    OutOfRangeError
        Counts not one-dimensional, empty, negative or not finite; negative times or overflow; an
        unknown role.
    """

    counts: npt.NDArray[np.float64]
    live_time_s: float | None = None
    real_time_s: float | None = None
    counting_time_s: float | None = None
    start: datetime | None = None
    overflow: float = 0.0
    claimed_scale: ClaimedScale | None = None
    variance: npt.NDArray[np.float64] | None = None
    slices: tuple[Spectrum, ...] = ()
    title: str = ""
    remarks: Sequence[str] = field(default_factory=tuple)
    instrument: str = ""
    file: str = ""
    sha256: str = ""
    rebinned: bool = False
    background: Spectrum | None = None
    role: str = ""
    detector: str = ""
    notes: Sequence[str] = field(default_factory=tuple)
    corrected_scale: ClaimedScale | None = None

    def __post_init__(self) -> None:
        counts = np.array(self.counts, dtype=np.float64)
        if counts.ndim != 1 or counts.size == 0:
            raise OutOfRangeError("counts: a spectrum needs one row of at least one channel.")
        if not np.all(np.isfinite(counts)) or np.any(counts < 0):
            bad = int(np.flatnonzero(~(np.isfinite(counts) & (counts >= 0)))[0])
            raise OutOfRangeError(f"counts: channel {bad} holds {counts[bad]}; counts are finite and not negative.")
        counts.setflags(write=False)
        object.__setattr__(self, "counts", counts)
        object.__setattr__(self, "remarks", tuple(self.remarks))
        object.__setattr__(self, "notes", tuple(self.notes))
        object.__setattr__(self, "slices", tuple(self.slices))
        if self.role not in ROLES:
            raise OutOfRangeError(f"role: {self.role!r} was given; it is one of {', '.join(filter(None, ROLES))}.")
        if self.variance is not None:
            variance = np.array(self.variance, dtype=np.float64)
            if variance.shape != counts.shape or not np.all(np.isfinite(variance)) or np.any(variance < 0):
                raise OutOfRangeError("variance: one finite, not negative value per channel is needed.")
            variance.setflags(write=False)
            object.__setattr__(self, "variance", variance)
        for name in ("live_time_s", "real_time_s", "counting_time_s", "overflow"):
            value = getattr(self, name)
            if value is not None and not (np.isfinite(value) and value >= 0):
                raise OutOfRangeError(f"{name}: {value} was given; it must be finite and not negative.")

    def __eq__(self, other: object) -> bool:
        """Equal in every field, arrays element by element."""
        if not isinstance(other, Spectrum):
            return NotImplemented
        for item in fields(self):
            mine, its = getattr(self, item.name), getattr(other, item.name)
            if isinstance(mine, np.ndarray) and isinstance(its, np.ndarray):
                if not np.array_equal(mine, its):
                    return False
            elif isinstance(mine, np.ndarray) or isinstance(its, np.ndarray) or mine != its:
                return False
        return True

    @property
    def n_channels(self) -> int:
        """Number of channels."""
        return int(self.counts.size)

    @property
    def best_live_time_s(self) -> float | None:
        """Live time if known, else the counting time of unsaid kind, else the real time [s]."""
        for value in (self.live_time_s, self.counting_time_s, self.real_time_s):
            if value is not None:
                return value
        return None

    @property
    def edges(self) -> npt.NDArray[np.float64]:
        """Channel edges in the pulse coordinate, shape (n + 1,): -1/2, 1/2, ..."""
        return np.arange(self.n_channels + 1, dtype=np.float64) - 0.5

    @property
    def last_channel_stands_out(self) -> bool:
        """True where the last channel holds far more than the ones before it foretell.

        Many instruments put every pulse above their range into the last channel without saying so. The
        counts are left where they are; a fit should leave that channel out when this is true. Judged
        against the mean of the eight channels before: more than four times it and five standard deviations above.
        """
        if self.n_channels < 16:
            return False
        expected = float(np.mean(self.counts[-9:-1]))
        last = float(self.counts[-1])
        return last > 4 * expected and last - expected > 5 * float(np.sqrt(expected + 1))
