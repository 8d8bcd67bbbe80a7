"""The basic ionising-radiation symbol, drawn as vectors from its measures."""

from __future__ import annotations

import math

__all__ = ["BLADE_INNER", "BLADE_OUTER", "blade_path", "trefoil_svg"]

# Measures of ISO 361 (from memory; the same are in 10 CFR 20.1901 and IAEA SSR-6, figure 1): a disc of radius 1, three
# blades of 60 degrees from 1.5 to 5 around it, one of them pointing down.
BLADE_INNER, BLADE_OUTER = 1.5, 5.0
_MIDDLES_DEG = (90.0, 210.0, 330.0)  # clockwise from the right, as pictures count downwards


def blade_path(middle_deg: float) -> str:
    """SVG path of the blade around a direction, in radii of the disc."""
    first, last = (math.radians(middle_deg + half) for half in (-30.0, 30.0))

    def at(radius: float, angle: float) -> str:
        return f"{radius * math.cos(angle):.5f} {radius * math.sin(angle):.5f}"

    return (
        f"M {at(BLADE_INNER, first)} L {at(BLADE_OUTER, first)} "
        f"A {BLADE_OUTER:g} {BLADE_OUTER:g} 0 0 1 {at(BLADE_OUTER, last)} L {at(BLADE_INNER, last)} "
        f"A {BLADE_INNER:g} {BLADE_INNER:g} 0 0 0 {at(BLADE_INNER, first)} Z"
    )


def trefoil_svg(size_mm: float = 20.0, *, background: str = "#ffd500", ink: str = "#000000") -> str:
    """The symbol as an SVG picture of that width and height [mm], black on yellow."""
    blades = "".join(f'<path d="{blade_path(middle)}"/>' for middle in _MIDDLES_DEG)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size_mm:g}mm" height="{size_mm:g}mm" viewBox="-5.6 -5.6 11.2 '
        f'11.2" role="img" aria-label="ionising radiation"><rect x="-5.6" y="-5.6" width="11.2" height="11.2" '
        f'fill="{background}"/><g fill="{ink}"><circle r="1"/>{blades}</g></svg>'
    )
