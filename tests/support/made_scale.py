"""A scale with known figures, for tests of what is done with scales."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from truekev.record import InputFile, Record
from truekev.scale.energy_scale import EnergyScale, UsedGroup
from truekev.scale.light import LightCurve, Pulse, psi_prior_covariance

__all__ = ["CURVE", "PULSE", "made_scale", "used_group"]

CURVE = LightCurve("made up", (15.0, 60.0, 122.0, 662.0, 1400.0, 2700.0), (1.8, 5.4, 8.0, 0.0, -20.0, -50.0))
PULSE = Pulse(CURVE, -1.0, 330.0, 1.0, 0.012)
U_LN_GAIN = 0.002


def used_group(energy_kev: float, pulse: Pulse = PULSE, *, used: bool = True, shift: float = 0.0) -> UsedGroup:
    """A group that stands where `pulse` puts it, moved by `shift` channels."""
    channel = float(pulse.channel(energy_kev)) + shift
    return UsedGroup(f"made {energy_kev:g} keV", energy_kev, 0.1, channel, 0.2, 5000.0, 90.0, 12.0, 0.3, used)


def made_scale(n_channels: int = 1024, pulse: Pulse = PULSE) -> EnergyScale:
    """A scale with priors' shape uncertainty, c0 known to 0.3 channels and the gain to 0.2 %."""
    covariance = np.zeros((12, 12))
    covariance[:4, :4] = np.diag([0.3**2, U_LN_GAIN**2, 0.05**2, 0.003**2])
    covariance[4:, 4:] = 0.1 * psi_prior_covariance()
    record = Record.make([InputFile("made.csv", "0" * 64)], {"sources": ["thoriated-rods"]}, {"nuclides.csv": "1"})
    scale = EnergyScale(
        pulse,
        covariance,
        n_channels,
        0.075,
        0.02,
        tuple(used_group(e, pulse) for e in (77.0, 238.6, 338.3, 583.2, 911.2, 2614.5)),
        "peaks",
        "thoriated-rods",
        "CsI(Tl) cube of 10 mm",
        (0.0, 3.0),
        "2026-11-25T10:00:00",
        ("calibrated by peaks",),
    )
    return replace(scale, record=record, part_shares=(("Th-228 part", 0.6), ("pile-up", 0.001)))
