"""Materials: density and mass fractions, by name, by formula, or declared."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.matter.elements import atomic_number, element

__all__ = ["Material", "compound", "formula_mass_fractions", "known_materials", "material", "mixture"]

MAX_DENSITY_G_CM3 = 22.7  # osmium, the densest element, has 22.59 g/cm3


@dataclass(frozen=True)
class Material:
    """Density [g/cm3] and mass fractions by atomic number, sorted, summing to 1.

    Raises
    ------
    OutOfRangeError
        A density that no material has, a fraction that is not positive, fractions that do not sum to 1.
    """

    name: str
    density_g_cm3: float
    mass_fractions: tuple[tuple[int, float], ...]

    def __post_init__(self) -> None:
        if not 0 < self.density_g_cm3 <= MAX_DENSITY_G_CM3:
            raise OutOfRangeError(
                f"material {self.name}: density {self.density_g_cm3:g} g/cm3 must lie above 0 and not above "
                f"{MAX_DENSITY_G_CM3:g} g/cm3, the densest element."
            )
        if not self.mass_fractions or any(not w > 0 for _, w in self.mass_fractions):
            raise OutOfRangeError(f"material {self.name}: every mass fraction must be positive.")
        total = math.fsum(w for _, w in self.mass_fractions)
        if abs(total - 1) > 1e-6:
            raise OutOfRangeError(f"material {self.name}: mass fractions sum to {total:g}; they must sum to 1.")
        for z, _ in self.mass_fractions:
            element(z)

    @property
    def electrons_per_gram(self) -> float:
        """Sum of w Z / A [mol/g]."""
        return math.fsum(w * z / element(z).atomic_weight for z, w in self.mass_fractions)

    def with_density(self, density_g_cm3: float) -> Material:
        """The same composition at another density, as a loose powder; not above the density of the solid.

        Raises
        ------
        OutOfRangeError
            The density is not positive or more than 1 % above that of the solid.
        """
        if not 0 < density_g_cm3 <= 1.01 * self.density_g_cm3:
            raise OutOfRangeError(
                f"a powder of {self.name} cannot have {density_g_cm3:g} g/cm3: the solid has "
                f"{self.density_g_cm3:g} g/cm3 and a loose powder a fifth to a half of it. Give the weighed mass over "
                "the filled volume."
            )
        return Material(self.name, density_g_cm3, self.mass_fractions)


def formula_mass_fractions(formula: str) -> tuple[tuple[int, float], ...]:
    """Mass fractions by atomic number of a chemical formula such as `Bi4Ge3O12` or `Gd3(AlGa)2O12`.

    Raises
    ------
    InputError
        The formula cannot be read.
    UnknownNameError
        It holds an unknown element.
    """
    tokens = re.findall(r"[A-Z][a-z]?|\d+\.?\d*|[()]", formula)
    if not tokens or "".join(tokens) != formula:
        raise InputError(f"formula {formula!r} cannot be read; write it as Bi4Ge3O12 or Na2WO4.")
    stack: list[dict[int, float]] = [{}]
    last: dict[int, float] = {}
    for token in tokens:
        if token == "(":
            stack.append({})
        elif token == ")":
            if len(stack) < 2:
                raise InputError(f"formula {formula!r}: a bracket closes that was never opened.")
            last = stack.pop()
            _add(stack[-1], last, 1.0)
        elif token[0].isdigit():
            # one unit of the last atom or group is counted already
            _add(stack[-1], last, float(token) - 1.0)
            last = {}
        else:
            last = {atomic_number(token): 1.0}
            _add(stack[-1], last, 1.0)
    if len(stack) != 1:
        raise InputError(f"formula {formula!r}: a bracket is left open.")
    mass = {z: n * element(z).atomic_weight for z, n in stack[0].items() if n > 0}
    total = math.fsum(mass.values())
    return tuple((z, m / total) for z, m in sorted(mass.items()))


def _add(target: dict[int, float], part: Mapping[int, float], times: float) -> None:
    for z, n in part.items():
        target[z] = target.get(z, 0.0) + n * times


def compound(formula: str, density_g_cm3: float, name: str | None = None) -> Material:
    """A material from its chemical formula and density [g/cm3]."""
    return Material(name or formula, density_g_cm3, formula_mass_fractions(formula))


def mixture(name: str, density_g_cm3: float, parts: Mapping[str, float]) -> Material:
    """A material from parts by mass: keys are formulas or element symbols, values are scaled to sum 1."""
    total = math.fsum(parts.values())
    if not parts or not total > 0 or any(not w > 0 for w in parts.values()):
        raise OutOfRangeError(f"mixture {name}: every part must be positive, given {dict(parts)}.")
    fractions: dict[int, float] = {}
    for formula, weight in parts.items():
        _add(fractions, dict(formula_mass_fractions(formula)), weight / total)
    return Material(name, density_g_cm3, tuple(sorted(fractions.items())))


# Densities and compositions from handbooks, from memory unless said otherwise. Dopants (about 0.1 % by mass)
# change no cross section by more than 0.1 % and are left out.
_COMPOUNDS = {
    "CsI": ("CsI", 4.51),
    "NaI": ("NaI", 3.67),
    "LaBr3": ("LaBr3", 5.08),
    "CeBr3": ("CeBr3", 5.18),
    "BGO": ("Bi4Ge3O12", 7.13),
    "GAGG": ("Gd3Al2Ga3O12", 6.6),
    "LYSO": ("Lu1.8Y0.2SiO5", 7.1),
    "tungsten": ("W", 19.3),
    "thoria": ("ThO2", 10.0),
    "aluminium": ("Al", 2.70),
    "copper": ("Cu", 8.96),
    "iron": ("Fe", 7.87),
    "lead": ("Pb", 11.35),
    "bismuth": ("Bi", 9.79),
    "silicon": ("Si", 2.33),
    "tin": ("Sn", 7.29),
    "nickel": ("Ni", 8.90),
    "KCl": ("KCl", 1.98),
    "NaCl": ("NaCl", 2.16),
    "water": ("H2O", 1.0),
    "PTFE": ("C2F4", 2.20),
    "polycarbonate": ("C16H14O3", 1.20),
    "ABS": ("C15H17N", 1.05),
    "polyethylene": ("C2H4", 0.94),
    "polystyrene": ("C8H8", 1.05),
    "acrylic": ("C5H8O2", 1.19),
    "epoxy": ("C21H25ClO5", 1.2),
    "quartz": ("SiO2", 2.65),
    "alumina": ("Al2O3", 3.97),
    "tungstate": ("Na2WO4", 4.18),
    "scheelite": ("CaWO4", 6.1),
    "paper": ("C6H10O5", 0.8),
    "wood": ("C6H9O4", 0.6),
    "vacuum": ("H", 1e-12),
}
_MIXTURES: dict[str, tuple[float, dict[str, float]]] = {
    "air": (0.001205, {"N": 0.7553, "O": 0.2318, "Ar": 0.0128, "C": 0.0001}),
    # borosilicate glass as in NIST SRD 126
    "glass": (2.23, {"B": 0.0401, "O": 0.5396, "Na": 0.0282, "Al": 0.0116, "Si": 0.3772, "K": 0.0033}),
    "soda-lime glass": (2.5, {"SiO2": 0.72, "Na2O": 0.14, "CaO": 0.10, "MgO": 0.03, "Al2O3": 0.01}),
    "FR4 board": (1.85, {"SiO2": 0.60, "C21H25ClO5": 0.40}),
    "steel": (7.85, {"Fe": 0.99, "C": 0.002, "Mn": 0.008}),
    "stainless steel": (7.93, {"Fe": 0.70, "Cr": 0.19, "Ni": 0.09, "Mn": 0.02}),
    "thoriated tungsten": (19.0, {"W": 0.98, "ThO2": 0.02}),
    "lithium cell": (2.2, {"C": 0.25, "CoO2": 0.30, "Al": 0.15, "Cu": 0.15, "LiPF6": 0.03, "C2H4": 0.12}),
    "concrete": (2.3, {"SiO2": 0.65, "CaCO3": 0.25, "H2O": 0.06, "Al2O3": 0.04}),
}
_OTHER_NAMES = {
    "CsI(Tl)": "CsI",
    "NaI(Tl)": "NaI",
    "W": "tungsten",
    "ThO2": "thoria",
    "Al": "aluminium",
    "Cu": "copper",
    "Fe": "iron",
    "Pb": "lead",
    "Si": "silicon",
    "PE": "polyethylene",
    "PC": "polycarbonate",
    "borosilicate": "glass",
    "FR4": "FR4 board",
}


def known_materials() -> tuple[str, ...]:
    """Names that `material` knows, sorted."""
    return tuple(sorted({*_COMPOUNDS, *_MIXTURES, *_OTHER_NAMES}))


def material(name: str) -> Material:
    """The material of that name with its usual density.

    Raises
    ------
    UnknownNameError
        The name is not known; a formula needs `compound(formula, density)`.
    """
    own_name = _OTHER_NAMES.get(name, name)
    if own_name in _COMPOUNDS:
        formula, density = _COMPOUNDS[own_name]
        return compound(formula, density, own_name)
    if own_name in _MIXTURES:
        density, parts = _MIXTURES[own_name]
        return mixture(own_name, density, parts)
    raise UnknownNameError("material", name, known_materials(), "For another, give its formula and density.")
