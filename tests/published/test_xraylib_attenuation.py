"""xraylib 4.3.0 (T. Schoonjans et al., Spectrochim. Acta B 66 (2011) 776): cross sections, edges and lines.

Its partial cross sections (to 800 keV) come from the same NIST family; edges and lines are compared with literature
values of the check list (DDEP agrees with them within 0.005 keV).
"""

from __future__ import annotations

import numpy as np
import pytest

from truekev.matter.elements import atomic_number, shells, xray_lines
from truekev.matter.materials import compound
from truekev.matter.photons import absorption_edges_kev, partial_cross_sections

xraylib = pytest.importorskip("xraylib")


@pytest.mark.parametrize("symbol", "H C O Na Al Si Cl K Fe Cu Ge I Cs Gd W Pb Bi Th U".split())
def test_partial_cross_sections_from_10_to_600_kev(symbol: str) -> None:
    z = atomic_number(symbol)
    kev = np.geomspace(10, 600, 80)
    near_edge = [np.abs(kev / edge - 1) < 0.01 for edge in absorption_edges_kev(z)]
    kev = kev[~np.any(near_edge, axis=0)] if near_edge else kev
    ours = partial_cross_sections(compound(symbol, 1.0), kev)
    for values, name, tolerance in (
        (ours.photoelectric, "CS_Photo", 0.02),
        (ours.incoherent, "CS_Compt", 0.02),
        (ours.coherent, "CS_Rayl", 0.03),
        (ours.total, "CS_Total", 0.01),
    ):
        theirs = np.array([getattr(xraylib, name)(z, e) for e in kev])
        np.testing.assert_allclose(values, theirs, rtol=tolerance, err_msg=name)


@pytest.mark.parametrize(
    ("symbol", "edge_kev"),
    [
        ("I", 33.169),
        ("Cs", 35.985),
        ("Ba", 37.441),
        ("W", 69.525),
        ("Pb", 88.005),
        ("Bi", 90.526),
        ("Th", 109.65),
        ("U", 115.60),
    ],
)
def test_k_edges(symbol: str, edge_kev: float) -> None:
    z = atomic_number(symbol)
    assert absorption_edges_kev(z)[-1] == pytest.approx(edge_kev, abs=0.05)
    assert shells(z)[0].edge_kev == pytest.approx(edge_kev, abs=0.05)


@pytest.mark.parametrize(
    ("symbol", "line_kev"),
    [("W", 59.318), ("Pb", 74.969), ("Bi", 77.107), ("Th", 93.350), ("I", 28.612), ("Cs", 30.973), ("Ba", 32.194)],
)
def test_k_alpha1(symbol: str, line_kev: float) -> None:
    lines = [x for x in xray_lines(atomic_number(symbol)) if (x.vacancy, x.filled_from) == ("K", "L3")]
    assert lines[0].energy_kev == pytest.approx(line_kev, abs=0.02)
