"""What the bath exchanges with the room: heat, water vapour, carbon dioxide, and mist carried by the gas.

Film coefficients are textbook magnitudes for small vessels (natural convection 4 to 6 W/(m2 K), radiation 5.5),
from memory;
mass transfer follows from heat transfer by the analogy of Chilton and Colburn. Evaporation is good to a factor 1.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from truekev.bench.settings import BatchSettings
from truekev.bench.solution import vapour_pressure_pa
from truekev.bench.stoichiometry import GAS_CONSTANT_J_MOL_K, PRESSURE_PA

__all__ = ["Room", "evaporation_mol_s", "room_of"]

_FILM_W_M2_K = {"still": 5.0, "hood": 6.5, "fan": 18.0}
_RADIATION_W_M2_K = 5.5
_COVER_PASSES = {"none": 1.0, "vented splash cover": 0.5, "lid": 0.0}
_CO2_MOL_M3 = 0.0175  # 420 ppm
# The liquid film holds back part of the carbon dioxide; 0.4 puts a two-day run of 200 mL inside 0.01 to 0.13 mol OH-.
_CO2_UPTAKE = 0.4
VESSEL_G_CM2 = 0.25  # wall of a beaker, 2.5 mm of plastic or glass
VESSEL_J_G_K = 1.2


@dataclass(frozen=True)
class Room:
    """Exchange of one vessel with its room.

    `loss_w_k` is the heat loss per kelvin without evaporation; `vapour_m3_s` and `carbon_dioxide_m3_s` are mass
    transfer
    coefficients times surface.
    """

    temperature_degc: float
    vapour_in_room_mol_m3: float
    loss_w_k: float
    vapour_m3_s: float
    carbon_dioxide_mol_s: float
    vessel_j_k: float


def room_of(batch: BatchSettings, *, cooling: float = 1.0) -> Room:
    """Exchange coefficients of a batch's vessel; `cooling` scales all heat loss (for sensitivities)."""
    diameter = batch.cell.vessel_diameter_mm / 1000
    surface = math.pi / 4 * diameter**2
    wet = batch.cell.volume_ml * 1e-6 / surface
    height = max(batch.cell.vessel_height_mm / 1000, wet)
    wall = math.pi * diameter * (wet + min(0.3 * wet, height - wet))  # the dry rim above the liquid works as a fin
    film = _FILM_W_M2_K[batch.room.air]
    passes = _COVER_PASSES[batch.cell.cover]
    transfer_m_s = film / (1200.0 * 0.92)
    temperature = batch.room.temperature_degc
    humid = batch.room.relative_humidity_percent / 100 * vapour_pressure_pa(temperature)
    return Room(
        temperature_degc=temperature,
        vapour_in_room_mol_m3=humid / (GAS_CONSTANT_J_MOL_K * (temperature + 273.15)),
        # the bottom stands on a tray: half the film
        loss_w_k=cooling * (film + _RADIATION_W_M2_K) * (surface * (0.5 + 0.5 * passes) + wall + 0.5 * surface),
        vapour_m3_s=cooling * transfer_m_s * surface * passes,
        carbon_dioxide_mol_s=_CO2_UPTAKE * transfer_m_s * surface * passes * _CO2_MOL_M3,
        vessel_j_k=VESSEL_J_G_K * VESSEL_G_CM2 * 1e4 * (surface + math.pi * diameter * height),
    )


def evaporation_mol_s(room: Room, temperature_degc: float, activity: float, gas_mol_s: float) -> tuple[float, float]:
    """Water leaving [mol/s]: from the open surface, and with the gas that bubbles up saturated.

    Never negative: a bath colder than the dew point is not wetted here.
    """
    # a trial step of the solver may stray far outside; it is thrown away, but must not raise
    degc = min(max(temperature_degc, -40.0), 140.0)
    pressure = min(activity * vapour_pressure_pa(degc), 0.97 * PRESSURE_PA)
    at_surface = pressure / (GAS_CONSTANT_J_MOL_K * (degc + 273.15))
    open_surface = max(room.vapour_m3_s * (at_surface - room.vapour_in_room_mol_m3), 0.0)
    return open_surface, gas_mol_s * pressure / (PRESSURE_PA - pressure)
