"""The frozen Spectrum.

Channel convention everywhere in the program: channel i covers [i - 1/2, i + 1/2) of the pulse
coordinate, so the middle of channel i is the number i. Files that say otherwise are converted on
import and export.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import numpy.typing as npt

from truekev.errors import OutOfRangeError

__all__ = ["ClaimedScale", "Spectrum"]


@dataclass(frozen=True)
class ClaimedScale:
    """The energy scale that the instrument or file claims: E/keV = sum of c_k * ch**k.

    `coefficients_kev` has c_0 first and belongs to the program's channel convention. `origin` says
    in words where it came from. A claimed scale is never used to fit; it is kept for comparison and so
    that a correction is never applied twice.
    """

    coefficients_kev: tuple[float, ...]
    origin: str = ""

    def energy_kev(self, channel: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Energy [keV] at pulse coordinate `channel`."""
        return np.asarray(
            np.polynomial.polynomial.polyval(np.asarray(channel, float), self.coefficients_kev), dtype=np.float64
        )


@dataclass(frozen=True)
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
    variance : ndarray or None
        Variance per channel where it differs from the counts (rebinned or summed with weights).
    slices : tuple of Spectrum
        The consecutive parts that this spectrum is the sum of, if the file holds them.
    title, remarks, instrument
        Words from the file.
    file, sha256 : str
        Name and sha256 of the file that it was read from; empty if none.
    rebinned : bool
        True where the counts themselves prove that they were redistributed onto an energy axis.

    Raises
    ------
    OutOfRangeError
        Counts not one-dimensional, empty, negative or not finite; negative times or overflow.
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
