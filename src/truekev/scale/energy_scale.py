"""An energy scale with its uncertainty: what calibration and re-lock give, and what is stored."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from truekev.errors import FileFormatError, OutOfRangeError
from truekev.files import write_whole
from truekev.quantity import Measured
from truekev.record import InputFile, Record
from truekev.scale.light import KNOTS_KEV, LightCurve, Pulse

__all__ = ["EnergyScale", "UsedGroup", "read_scale", "write_scale"]

Array = npt.NDArray[np.float64]
_FORMAT = "truekev energy scale 1"


@dataclass(frozen=True)
class UsedGroup:
    """A line group behind a scale: where it was found and how far it lies from the scale.

    Parameters
    ----------
    name : str
    energy_kev, u_energy_kev : float
        Centroid of its lines.
    channel, u_channel : float
        Where it was found.
    net_counts, u_net_counts : float
    fwhm_channels : float
    pull : float
        (found - scale) over the uncertainty of the difference.
    used : bool
        False where it was left out as an outlier.
    """

    name: str
    energy_kev: float
    u_energy_kev: float
    channel: float
    u_channel: float
    net_counts: float
    u_net_counts: float
    fwhm_channels: float
    pull: float
    used: bool


@dataclass(frozen=True)
class EnergyScale:
    """ch(E) of an instrument with covariance, and its inverse.

    Parameters
    ----------
    pulse : Pulse
        The fitted light model.
    covariance : ndarray, shape (12, 12)
        Of (c0 [channels], ln g, kappa, s, psi); single parameters mean nothing, only ch(E) does.
    n_channels : int
        Channels of the spectrum it belongs to.
    fwhm_662, fwhm_slope : float
        FWHM/E at 661.655 keV, and how the width departs from the square root of the light.
    groups : tuple of UsedGroup
    method, source, detector : str
        How, with what and on what it was made.
    claimed_coefficients_kev : tuple of float
        The polynomial that the instrument held when the spectrum was taken; empty if the file has none.
    spectrum_start : str
        Start of the count, ISO 8601; empty if unknown.
    history : tuple of str
        The calibration and every re-lock since, in words.
    record : Record
    width_law : tuple of float
        ln R, f0, f2 of scale/whole/smear.py where the whole spectrum was fitted; empty otherwise.
    part_shares : tuple of (str, float)
        Parts of the source's spectrum and their shares of its counts, background left out, where the whole spectrum
        was fitted; empty otherwise.
    """

    pulse: Pulse
    covariance: Array
    n_channels: int
    fwhm_662: float
    fwhm_slope: float
    groups: tuple[UsedGroup, ...]
    method: str
    source: str
    detector: str
    claimed_coefficients_kev: tuple[float, ...] = ()
    spectrum_start: str = ""
    history: tuple[str, ...] = ()
    record: Record = field(default_factory=Record)
    width_law: tuple[float, ...] = ()
    part_shares: tuple[tuple[str, float], ...] = ()

    def channel(self, energy_kev: npt.ArrayLike) -> Array:
        """Pulse coordinate of full-energy peaks; channel i covers [i - 1/2, i + 1/2)."""
        return self.pulse.channel(energy_kev)

    def energy_kev(self, channel: npt.ArrayLike) -> Array:
        """Energy [keV] at a pulse coordinate; NaN outside 1 keV to 4 MeV."""
        return self.pulse.energy_kev(channel)

    def u_energy_kev(self, energy_kev: npt.ArrayLike) -> Array:
        """Standard uncertainty of the scale at `energy_kev` [keV]."""
        jacobian = self.pulse.jacobian(energy_kev)
        variance = np.einsum("ij,jk,ik->i", jacobian, self.covariance, jacobian)
        slope = self.pulse.slope_per_kev(np.atleast_1d(np.asarray(energy_kev, float)))
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)) / slope).reshape(np.shape(energy_kev))

    def at(self, channel: float) -> Measured:
        """Energy at one pulse coordinate with its standard uncertainty."""
        energy = float(self.energy_kev(channel))
        return Measured(energy, float(self.u_energy_kev(energy)), "keV")

    def edges_kev(self) -> Array:
        """Energies of all channel edges, shape (n + 1,).

        Pulses below that of 1 keV, and above that of 4 MeV, lie on straight lines that continue the scale.
        """
        edges = np.arange(self.n_channels + 1, dtype=np.float64) - 0.5
        energy = self.energy_kev(edges)
        for limit, outside in ((1.0, edges < self.channel(1.0)), (4000.0, edges > self.channel(4000.0))):
            line = limit + (edges - self.channel(limit)) / self.pulse.slope_per_kev(limit)
            energy = np.where(outside, line, energy)
        return np.asarray(energy, dtype=np.float64)

    def with_gain(self, ratio: float, covariance: Array, **changes: Any) -> EnergyScale:
        """The same shape with the gain multiplied by `ratio`."""
        return replace(self, pulse=replace(self.pulse, gain=self.pulse.gain * ratio), covariance=covariance, **changes)


class _CurveModel(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    crystal: str
    energy_kev: tuple[float, ...] = Field(min_length=2)
    d_kev: tuple[float, ...] = Field(min_length=2)


class _PulseModel(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    curve: _CurveModel
    c0: float
    gain: float = Field(gt=0)
    kappa: float
    s_per_mev: float
    psi: tuple[float, ...] = Field(min_length=KNOTS_KEV.size, max_length=KNOTS_KEV.size)


class _GroupModel(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    name: str
    energy_kev: float
    u_energy_kev: float
    channel: float
    u_channel: float
    net_counts: float
    u_net_counts: float
    fwhm_channels: float
    pull: float
    used: bool


class _InputModel(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str
    sha256: str


class _RecordModel(BaseModel):
    model_config = ConfigDict(extra="forbid")
    inputs: tuple[_InputModel, ...]
    settings: dict[str, Any]
    tables: dict[str, str]
    program: str


class _ScaleModel(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    format: str
    pulse: _PulseModel
    covariance: tuple[tuple[float, ...], ...] = Field(min_length=12, max_length=12)
    n_channels: int = Field(gt=0)
    fwhm_662: float = Field(gt=0)
    fwhm_slope: float
    groups: tuple[_GroupModel, ...]
    method: str
    source: str
    detector: str
    width_law: tuple[float, ...] = Field(default=(), max_length=3)
    part_shares: tuple[tuple[str, float], ...] = ()
    claimed_coefficients_kev: tuple[float, ...]
    spectrum_start: str
    history: tuple[str, ...]
    record: _RecordModel


def scale_as_dict(scale: EnergyScale) -> dict[str, Any]:
    """Plain types of a scale, as they stand in its file."""
    entries = asdict(replace(scale, record=replace(scale.record, settings=dict(scale.record.settings))))
    entries["covariance"] = scale.covariance.tolist()
    return {"format": _FORMAT, **entries}


def write_scale(scale: EnergyScale, path: str | Path) -> Path:
    """Write a scale as JSON, whole or not at all."""
    return write_whole(path, json.dumps(scale_as_dict(scale), indent=1, allow_nan=False) + "\n")


def read_scale(path: str | Path) -> EnergyScale:
    """Read a scale that `write_scale` wrote.

    Raises
    ------
    FileFormatError
        The file is missing, is not JSON, is of another format, or a field is missing or wrong.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise FileFormatError(f"cannot be read as a scale ({error}).", file=path) from error
    try:
        entries = json.loads(text)
    except json.JSONDecodeError as error:
        raise FileFormatError(
            "is not JSON; give a scale written by this program.", file=path, line=error.lineno
        ) from error
    if not isinstance(entries, dict) or entries.get("format") != _FORMAT:
        raise FileFormatError(f"is not a {_FORMAT!r} file.", file=path, field="format")
    try:
        model = _ScaleModel.model_validate(entries)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise FileFormatError(f"{first['msg']}.", file=path, field=where) from error
    covariance = np.array([row for row in model.covariance if len(row) == 12], dtype=np.float64)
    symmetric = covariance.shape == (12, 12) and np.allclose(covariance, covariance.T, rtol=1e-6, atol=1e-18)
    if not symmetric or np.linalg.eigvalsh(covariance).min() < -1e-9 * np.trace(covariance):
        raise FileFormatError("must be 12 by 12 and not negative.", file=path, field="covariance")
    pulse = model.pulse
    try:
        curve = LightCurve(pulse.curve.crystal, pulse.curve.energy_kev, pulse.curve.d_kev)
    except OutOfRangeError as error:
        raise FileFormatError(str(error), file=path, field="pulse.curve") from error
    record = model.record
    return EnergyScale(
        Pulse(
            curve,
            pulse.c0,
            pulse.gain,
            pulse.kappa,
            pulse.s_per_mev,
            pulse.psi,
        ),
        covariance,
        model.n_channels,
        model.fwhm_662,
        model.fwhm_slope,
        tuple(UsedGroup(**group.model_dump()) for group in model.groups),
        model.method,
        model.source,
        model.detector,
        model.claimed_coefficients_kev,
        model.spectrum_start,
        model.history,
        Record(
            tuple(InputFile(one.name, one.sha256) for one in record.inputs),
            record.settings,
            record.tables,
            record.program,
        ),
        model.width_law,
        model.part_shares,
    )
