"""Doses from a little of the oxide taken in, and from thoron: information, not permission."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from truekev.errors import UnknownNameError
from truekev.tables.loader import table_rows

__all__ = [
    "RESPIRABLE_SHARE_OF_SPILL",
    "IntakeDose",
    "dose_coefficient_sv_bq",
    "intake_dose_msv",
    "spill_respirable_mg",
    "thoron_dose_usv_h",
]

# Airborne times respirable share of a dry powder that is spilled: DOE-HDBK-3010, from memory.
RESPIRABLE_SHARE_OF_SPILL = 6e-4
_PB212_DECAY_PER_S = math.log(2) / (10.64 * 3600)
_RN220_DECAY_PER_S = math.log(2) / 55.8
# 107 nSv per Bq h/m3 of equilibrium-equivalent thoron: ICRP 137.
_THORON_SV_PER_BQ_H_M3 = 107e-9
_CHAIN = ("Th-232", "Ra-228", "Th-228", "Ra-224")


@cache
def _coefficients() -> dict[tuple[str, str, str], float]:
    return {
        (row["route"], row["nuclide"], row["type"]): float(row["sv_per_bq"])
        for row in table_rows("dose_coefficients.csv")
    }


def dose_coefficient_sv_bq(route: str, nuclide: str, absorption_type: str = "") -> float:
    """Committed effective dose per activity taken in, adult member of the public [Sv/Bq].

    Parameters
    ----------
    route : str
        "inhalation" or "ingestion".
    nuclide : str
        As Th-232.
    absorption_type : str
        F, M or S for inhalation; empty for ingestion.

    References
    ----------
    ICRP Publication 119, Annexes F and G. Checked by tests/published/test_icrp_119.py.
    """
    key = (route, nuclide, absorption_type)
    if key not in _coefficients():
        known = {" ".join(k).strip() for k in _coefficients()}
        raise UnknownNameError("dose coefficient", " ".join(key).strip(), known)
    return _coefficients()[key]


@dataclass(frozen=True)
class IntakeDose:
    """Committed effective dose of an amount of oxide: how taken in, mass [mg], dose [mSv], and what was counted."""

    route: str
    mass_mg: float
    dose_msv: float
    counted: tuple[str, ...]


def intake_dose_msv(route: str, mass_mg: float, bq_per_mg: Mapping[str, float]) -> IntakeDose:
    """Dose of `mass_mg` of oxide taken in; insoluble oxide, so type S when inhaled.

    Counts Th-232, Ra-228, Th-228 and Ra-224, which make up nearly all of it.
    """
    absorption = "S" if route == "inhalation" else ""
    per_mg = sum(
        dose_coefficient_sv_bq(route, name, absorption) * bq_per_mg[name] for name in _CHAIN if name in bq_per_mg
    )
    counted = tuple(name for name in _CHAIN if name in bq_per_mg)
    return IntakeDose(route, mass_mg, 1000 * per_mg * mass_mg, counted)


def spill_respirable_mg(spilled_g: float) -> float:
    """Oxide that gets into the air in respirable form when dry powder is spilled [mg]; order of magnitude."""
    return 1000 * spilled_g * RESPIRABLE_SHARE_OF_SPILL


def thoron_dose_usv_h(
    ra224_bq: float, *, escaping: float = 0.10, room_m3: float = 30.0, air_changes_per_h: float = 1.0
) -> float:
    """Dose rate from thoron of an open powder in a room, well mixed, steady state [µSv/h].

    Every escaping atom of Rn-220 becomes one of Pb-212 in the room's air, which ventilation and decay remove; its
    activity concentration stands for the equilibrium-equivalent one. ICRP 137.
    """
    atoms_per_s = ra224_bq * escaping
    ventilation = air_changes_per_h / 3600
    in_air = atoms_per_s * _RN220_DECAY_PER_S / (_RN220_DECAY_PER_S + ventilation)
    concentration = in_air * _PB212_DECAY_PER_S / (_PB212_DECAY_PER_S + ventilation) / room_m3
    return 1e6 * concentration * _THORON_SV_PER_BQ_H_M3
