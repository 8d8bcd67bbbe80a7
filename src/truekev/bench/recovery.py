"""From settled oxide to a sealed source: what is kept, the yield, and the dated separation the source takes as
history.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

from truekev.bench.settings import BatchSettings
from truekev.bench.stoichiometry import molar_mass_g_mol, thoria_activity_bq
from truekev.quantity import Measured

__all__ = [
    "KEPT",
    "dissolved_thoria_ug",
    "KeptFraction",
    "OxideYield",
    "oxide_yield",
    "separation_toml",
    "source_label",
]


@dataclass(frozen=True)
class KeptFraction:
    """Fraction of an element that stays with the thoria, relative to thorium: value, band, and why."""

    element: str
    value: float
    low: float
    high: float
    why: str


# Thorium dissolved over its amorphous surface in alkali, at most (Neck 2003; from memory) [mol/L].
DISSOLVED_THORIUM_MOL_L = 3e-9
# ThO2 (thorianite) + 4 H+ = Th(4+) + 2 H2O: 1.76 to 1.86 in the Thermoddem, SIT and LLNL databases.
THORIANITE_LOG_K = 1.81

KEPT = (
    KeptFraction("Th", 1.0, 1.0, 1.0, "the grains do not dissolve (dissolved thorium is at most some 3e-9 mol/L)"),
    KeptFraction(
        "Ra",
        0.97,
        0.85,
        1.0,
        "kept because the grains do not dissolve, not by precipitation; alpha recoil puts 1 to 4 % per step "
        "outside them",
    ),
    KeptFraction("Ac", 1.0, 0.9, 1.0, "insoluble in caustic; grows back in a day and a half"),
    KeptFraction("Pb", 0.8, 0.4, 1.0, "amphoteric, partly leaves; Pb-212 grows back in days"),
    KeptFraction("Bi", 0.8, 0.4, 1.0, "amphoteric, partly leaves; Bi-212 grows back in days"),
)
_POWDER_G_CM3, _VIAL_MM = 2.5, 16.0  # loose thoria powder in a small vial; to be measured
COUNT_AFTER_DAYS, COUNT_AGAIN_DAYS = 3, 21


@dataclass(frozen=True)
class OxideYield:
    """The dried, weighed oxide against what the rods held.

    `share` is above one where something else is still in it; `holds` names what that can be and how to tell.
    """

    expected_g: Measured
    weighed_g: Measured | None
    share: Measured | None
    activity_bq: Measured
    says: str
    holds: tuple[str, ...]


def dissolved_thoria_ug(volume_l: float) -> float:
    """Thoria that a volume of caustic can hold in solution, at most [µg]: nothing beside fines and colloid."""
    return 1e6 * DISSOLVED_THORIUM_MOL_L * volume_l * molar_mass_g_mol("ThO2")


def oxide_yield(expected_g: Measured, weighed_g: Measured | None) -> OxideYield:
    """Yield of a recovery, and the activity to take.

    The activity follows the smaller of weighed and expected mass: weighed oxide above the rods' content holds
    something else.
    """
    if weighed_g is None:
        bq = thoria_activity_bq(expected_g.value)
        return OxideYield(
            expected_g,
            None,
            None,
            Measured(bq, bq * expected_g.relative_u if expected_g.value else 0.0, "Bq"),
            "Not weighed yet: dry to constant mass, weigh, and write recovery.oxide_dry_g into the batch.",
            (),
        )
    if expected_g.value <= 0:
        share = Measured(0.0, 0.0, "")
    else:
        ratio = weighed_g.value / expected_g.value
        relative = (expected_g.relative_u**2 + weighed_g.relative_u**2) ** 0.5
        share = Measured(ratio, ratio * relative, "")
    holds: tuple[str, ...] = ()
    if share.value > 1.0:
        extra = weighed_g.value - expected_g.value
        sure = share.value > 1.0 + 2 * share.u
        says = (
            f"{100 * share.value:.0f} %: {extra:.3f} g more than the rods held; something else is still in it."
            if sure
            else f"{100 * share.value:.0f} %: above the expected mass, within its uncertainty (class limits)."
        )
        holds = (
            "water: dry at 110 °C to constant mass, weigh again",
            "sodium tungstate or carbonate: wash again; the wash water leaves a residue when dried",
            "tungsten fines: grey or black grains that sink first; clear with 'truekev cleanup'",
            "tungsten oxide or calcium tungstate: yellow or white, dissolves in warm hydroxide or stays",
            "aluminium hydroxide or organic residue of a flocculant",
        )
    else:
        says = f"{100 * share.value:.0f} % of what the rods held."
        if share.value < 0.8:
            says += (
                " The rest is in the decanted liquids, on filters, in the basket, or in undissolved rods: look there."
            )
    mass = min((weighed_g, expected_g), key=lambda m: m.value)
    bq = thoria_activity_bq(mass.value)
    return OxideYield(
        expected_g, weighed_g, share, Measured(bq, bq * mass.relative_u if mass.value else 0.0, "Bq"), says, holds
    )


def source_label(batch: BatchSettings, activity: Measured, on: date) -> str:
    """Text for the label: usual practice (IAEA; ISO 361 for the symbol), from memory."""
    form = "thorium oxide powder in a sealed vial" if batch.recovery.closure == "vial" else "thorium oxide set in resin"
    return (
        f"[trefoil] RADIOACTIVE · Th-232 with daughters · {activity} of Th-232 on {on.isoformat()} · {form} · "
        f"from: {batch.name} · owner ____ · do not open"
    )


def separation_toml(batch: BatchSettings, oxide: OxideYield, on: date) -> str:
    """A source file with the dated separation: TOML as `truekev new source` describes it, bands as remarks.

    The rods' own age is unknown: in sintering they may have lost radium, so the output of what descends from it lies
    between 0.42 and 1.00 of equilibrium until a count says otherwise.
    """
    mass_g = min((oxide.weighed_g or oxide.expected_g, oxide.expected_g), key=lambda mass: mass.value)
    if oxide.weighed_g is None:
        origin = "expected from the rods, not weighed"
    else:
        origin = "dried and weighed" if mass_g is oxide.weighed_g else "what the rods held; more was weighed"
    bands = "".join(f"#   {k.element:<2} {k.value:.2f}  ({k.low:.2f} to {k.high:.2f}): {k.why}\n" for k in KEPT)
    kept = ", ".join(f"{k.element} = {k.value:g}" for k in KEPT)
    # a band counts as a rectangle
    u_kept = ", ".join(f"{k.element} = {(k.high - k.low) / math.sqrt(12):.2g}" for k in KEPT if k.high > k.low)
    quoted = batch.name.replace("\\", "\\\\").replace('"', '\\"')
    first, again = on + timedelta(days=COUNT_AFTER_DAYS), on + timedelta(days=COUNT_AGAIN_DAYS)
    height_mm = max(mass_g.value, 1e-6) / _POWDER_G_CM3 / (math.pi / 4 * (_VIAL_MM / 10) ** 2) * 10
    return (
        f"# Written by 'truekev recover' for the batch {_one_line(batch.name)!r}.\n"
        f"# Count it no sooner than {first} (lead and bismuth grow back), and again after {again}, sealed.\n"
        "# How old the thorium was is not known: rods may have lost radium when they were sintered, so the "
        "daughters lie\n"
        "# between 0.42 and 1.00 of equilibrium until counts of rods and vial say more.\n\n"
        f'name = "{_one_line(quoted)}"\n'
        'kind = "thorium-vial"\n'
        f"reference_date = {on.isoformat()}\n"
        "aged = true\n\n"
        "# Fractions kept, relative to thorium, with their bands:\n"
        f"{bands}"
        "[[separation]]\n"
        f"on = {on.isoformat()}\n"
        f"kept = {{ {kept} }}\n"
        "others_kept = 1.0\n"
        f"u_kept = {{ {u_kept} }}\n\n"
        "[body]\n"
        'form = "vial"\n'
        f"oxide_mass_g = {max(mass_g.value, 1e-6):.6g}   # {origin}\n"
        f"u_oxide_mass_g = {mass_g.u:.2g}\n"
        "# Vial as assumed; measure yours and correct:\n"
        f"fill_height_mm = {height_mm:.3g}\n"
        f"inner_diameter_mm = {_VIAL_MM:g}\n"
        "wall_mm = 1.0\n"
    )


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
