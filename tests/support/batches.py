"""Batches for tests: the worked case, and random ones, absurd ones included."""

from __future__ import annotations

from typing import Any

import numpy as np

from truekev.bench.settings import BatchSettings, batch_from_mapping

__all__ = ["random_entries", "sound_entries", "worked_case", "worked_entries"]


def worked_entries(**supply: Any) -> dict[str, Any]:
    """The worked case as nested dictionaries: 60 g of 2.0 % rods, all dissolved, 40 g pure NaOH in 200 mL."""
    return {
        "name": "Worked case",
        "start": "2026-10-05T09:00:00",
        "rods": [{"count": 4, "diameter_mm": 2.4, "length_mm": 175, "mass_g": 60.0, "u_mass_g": 0.01, "class": "WT20"}],
        "anode": {"current_efficiency": 1.0, "u_current_efficiency": 0.02, "fines_percent": 0.0},
        "cell": {"volume_ml": 200, "vessel_diameter_mm": 90, "vessel_height_mm": 150},
        "hydroxide": {"mass_g": 40, "assay_percent": 100, "u_assay_percent": 0.1},
        "supply": {"current_a": 1.5, "voltage_cap_v": 6.0, "rating_a": 5.0} | supply,
        "room": {"temperature_degc": 20, "relative_humidity_percent": 50, "air": "still"},
    }


def worked_case(**supply: Any) -> BatchSettings:
    """The worked case; keyword arguments change the supply."""
    return batch_from_mapping(worked_entries(**supply))


def sound_entries(rng: np.random.Generator) -> dict[str, Any]:
    """A random batch that a sensible person could have written; it may still be refused (too hot, too weak)."""
    percent = rng.choice(["WT10", "WT20", "WT30", "WT40"])
    n_rods = int(rng.integers(1, 12))
    volume = float(rng.uniform(80, 800))
    entries: dict[str, Any] = {
        "name": "Random batch",
        "start": "2026-10-05T09:00:00",
        "rods": [
            {
                "count": n_rods,
                "diameter_mm": float(rng.choice([1.0, 1.6, 2.4, 3.2, 4.0])),
                "length_mm": float(rng.choice([75, 150, 175])),
                "class": str(percent),
            }
        ],
        "anode": {
            "holder": str(rng.choice(["basket", "basket", "dipped"])),
            "dipped_mm": float(rng.uniform(20, 120)),
            "current_efficiency": float(rng.uniform(0.6, 1.0)),
            "fines_percent": float(rng.uniform(0, 5)),
        },
        "cell": {
            "volume_ml": volume,
            "vessel_diameter_mm": float(rng.uniform(60, 150)),
            "vessel_height_mm": 400.0,
            "cover": str(rng.choice(["none", "vented splash cover"])),
            "cathode_area_cm2": float(rng.uniform(3, 40)),
            "gap_mm": float(rng.uniform(10, 60)),
            "stirring": str(rng.choice(["none", "gentle", "strong"])),
        },
        "hydroxide": {"mass_g": volume * float(rng.uniform(0.04, 0.28)), "assay_percent": float(rng.uniform(90, 100))},
        "supply": {
            "current_a": float(rng.uniform(0.2, 4.0)),
            "voltage_cap_v": float(rng.uniform(1.5, 12.0)),
            "rating_a": 5.0,
        },
        "room": {
            "temperature_degc": float(rng.uniform(10, 32)),
            "relative_humidity_percent": float(rng.uniform(10, 95)),
            "air": str(rng.choice(["still", "hood", "fan"])),
        },
        "attendance": {"top_up_every_h": float(rng.uniform(1, 24))},
        "cleanup": {
            "heel_ml": float(10 ** rng.uniform(0, 3)),
            "hydroxide_mol_l": float(rng.uniform(0, 2)),
            "temperature_degc": float(rng.uniform(5, 40)),
            "basket_out": True,
            "copper_out": True,
        }
        | ({"tungsten_left_g": float(10 ** rng.uniform(-3, 1))} if rng.random() < 0.7 else {}),
        "recovery": {
            "beaker_ml": float(rng.uniform(50, 1000)),
            "heel_ml": float(rng.uniform(2, 60)),
            "residual_salt_mg": float(10 ** rng.uniform(-2, 2)),
            "flocculant": str(rng.choice(["none", "alum", "aluminium sulfate", "organic"])),
            "flocculant_mg": float(rng.uniform(0, 300)),
            "oxide_dry_g": float(10 ** rng.uniform(-2, 1)),
        },
    }
    return entries


_ABSURD: tuple[Any, ...] = (
    0, -1, 1e-9, 1e9, 1e300, -1e300, float("nan"), float("inf"), "", "lid", "aluminium", "stainless "
    "steel", None, True, [],
    {}, "2026-13-45", "x" * 500,
)  # fmt: skip


_EDGES: tuple[tuple[str, str, tuple[Any, ...]], ...] = (
    ("anode", "current_efficiency", (0.06, 1.0)),
    ("anode", "fines_percent", (0.0, 50.0)),
    ("cell", "cathode_area_cm2", (1e-3, 1e4)),
    ("cell", "gap_mm", (1.0, 500.0)),
    ("cell", "volume_ml", (10.0, 3000.0)),
    ("cell", "vessel_diameter_mm", (25.0, 1000.0)),
    ("supply", "current_a", (1e-4, 0.01, 5.0, 900.0)),
    ("supply", "voltage_cap_v", (1e-3, 0.3, 100.0)),
    ("room", "temperature_degc", (-5.0, 45.0)),
    ("room", "relative_humidity_percent", (0.0, 100.0)),
    ("attendance", "top_up_every_h", (0.25, 48.0)),
    ("hydroxide", "assay_percent", (11.0, 100.0)),
    ("cleanup", "heel_ml", (1e-3, 10_000.0)),
    ("recovery", "oxide_dry_g", (1e-9, 1e6)),
)


def _at_the_edges(entries: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """A sound batch with a few fields at the edge of what is allowed."""
    entries["supply"]["rating_a"] = 1000.0
    for place in rng.choice(len(_EDGES), size=int(rng.integers(1, 5)), replace=False):
        section, field, values = _EDGES[int(place)]
        entries[section][field] = values[int(rng.integers(0, len(values)))]
    volume = entries["cell"]["volume_ml"]
    entries["hydroxide"]["mass_g"] = volume * float(rng.choice([0.015, 0.1, 0.2, 0.45]))
    entries["rods"][0]["mass_g"] = float(10 ** rng.uniform(-4, 4))
    return entries


def random_entries(rng: np.random.Generator) -> dict[str, Any]:
    """A random batch: sound, extreme within what is allowed, or with some fields made absurd."""
    entries = sound_entries(rng)
    kind = rng.integers(0, 5)
    if kind == 4:
        return _at_the_edges(entries, rng)
    if kind == 1:
        entries["supply"]["current_a"] = float(10 ** rng.uniform(-4, 3))
        entries["supply"]["rating_a"] = 1000.0
        entries["supply"]["voltage_cap_v"] = float(10 ** rng.uniform(-2, 2))
        entries["cell"]["volume_ml"] = float(10 ** rng.uniform(1, 5))
        entries["cell"]["vessel_diameter_mm"] = float(rng.uniform(20, 1000))
        entries["hydroxide"]["mass_g"] = float(10 ** rng.uniform(-2, 5))
        entries["rods"][0]["count"] = int(10 ** rng.uniform(0, 4))
        entries["rods"][0]["mass_g"] = float(10 ** rng.uniform(-6, 6))
    elif kind >= 2:
        for _ in range(int(rng.integers(1, 4))):
            section = str(rng.choice([key for key in entries if key != "rods"]))
            value = _ABSURD[int(rng.integers(0, len(_ABSURD)))]
            table = entries[section]
            if isinstance(table, dict) and rng.random() < 0.8:
                if table:
                    table[str(rng.choice(list(table)))] = value
            elif rng.random() < 0.5:
                entries[section] = value
            else:
                entries["rods"][0][str(rng.choice(list(entries["rods"][0])))] = value
    return entries
