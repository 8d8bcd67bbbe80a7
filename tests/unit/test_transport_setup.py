from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.matter.materials import material
from truekev.transport.setup import (
    DetectorGeometry,
    Layer,
    Part,
    Setup,
    SourceBody,
    packed,
    point_source,
    shell,
    slab,
)
from truekev.transport.solids import Ball, Box, Cylinder, Solid, holds, overlaps

AL = material("Al")
CUBE = DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0))


@pytest.mark.parametrize("size", [0.0, -1.0, float("nan"), 2e5])
def test_sizes_that_cannot_be(size: float) -> None:
    with pytest.raises(OutOfRangeError, match="size"):
        Box((size, 1.0, 1.0))
    with pytest.raises(OutOfRangeError, match="size"):
        Cylinder(size, 1.0)
    with pytest.raises(OutOfRangeError, match="size"):
        DetectorGeometry("CsI(Tl)", (size, 10.0, 10.0))


def test_crystal_that_cannot_be() -> None:
    with pytest.raises(UnknownNameError, match="scintillator"):
        DetectorGeometry("CsJ", (10.0, 10.0, 10.0))
    with pytest.raises(InputError, match="three"):
        DetectorGeometry("CsI(Tl)", (10.0,))
    with pytest.raises(OutOfRangeError, match="thickness"):
        Layer(AL, -0.5)


def test_source_inside_the_crystal() -> None:
    with pytest.raises(InputError, match="reaches into the crystal"):
        Setup(CUBE, point_source(-5.0))
    with pytest.raises(InputError, match="reaches into the crystal"):
        Setup(CUBE, SourceBody((Cylinder(2.4, 30.0, (0.0, 0.0, -1.0), "x"),)))
    assert Setup(CUBE, SourceBody((Cylinder(2.4, 30.0, (0.0, 0.0, -1.2), "x"),))).parts()


def test_source_without_a_body_or_with_bad_shares() -> None:
    with pytest.raises(InputError, match="no body"):
        SourceBody(())
    with pytest.raises(InputError, match="shares"):
        SourceBody((Ball(0.0), Ball(0.0)), (1.0,))
    with pytest.raises(InputError, match="shares"):
        SourceBody((Ball(0.0),), (0.0,))


def test_overlapping_bodies_are_named() -> None:
    rod = Cylinder(2.4, 20.0, (0.0, 0.0, -0.6), "x")
    with pytest.raises(InputError, match=r"rod.*layer|layer.*rod"):
        Setup(
            DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), (Layer(AL, 1.0),)),
            SourceBody((Ball(0.0, (0.0, 0.0, -9.0)),), (), (Part("rod", rod, material("tungsten")),)),
        )


def test_hidden_body_is_named() -> None:
    inner = Part("seed", Ball(1.0, (0.0, 0.0, -20.0)), AL)
    outer = Part("vial", Ball(5.0, (0.0, 0.0, -20.0)), AL)
    with pytest.raises(InputError, match="vanish"):
        Setup(CUBE, point_source(10.0), (inner, outer))
    assert Setup(CUBE, point_source(10.0), (outer, inner)).parts()


def test_hollow_must_lie_inside() -> None:
    with pytest.raises(InputError, match="hollow"):
        shell("shield", Ball(50.0), Ball(60.0), material("lead"), material("air"))


def test_layers_grow_around_crystal_and_slabs() -> None:
    detector = DetectorGeometry(
        "NaI(Tl)", (25.4, 25.4), (Layer(material("PTFE"), 1.0), Layer(AL, 2.0, 0.5)), ((material("silicon"), 3.0),)
    )
    parts = detector.parts()
    assert [p.material.name for p in parts] == ["aluminium", "PTFE", "silicon", "NaI"]
    assert detector.front_mm == 1.5
    outer = parts[0].solid
    assert isinstance(outer, Cylinder)
    assert outer.diameter_mm == pytest.approx(25.4 + 2 * 3.0)
    assert outer.length_mm == pytest.approx(25.4 + 3.0 + 3.0 + 1.5)
    assert outer.centre_mm[2] - outer.length_mm / 2 == pytest.approx(-1.5)


def test_nest_knows_parents_and_children() -> None:
    lead, air = shell("shield", Box((300.0,) * 3), Box((200.0,) * 3), material("lead"), material("air"))
    setup = Setup(CUBE, point_source(10.0), (lead, air, slab("table", AL, -60.0, 10.0, 150.0)))
    nest = packed(setup).nest
    assert nest[:, 0].tolist() == [-1, -1, 0, 1, 1]
    assert nest[0, 1:].tolist() == [0, -1, -1]
    assert nest[2, 1:].tolist() == [2, 3, -1]


def test_reach_is_the_energy_that_the_layers_take() -> None:
    """An electron needs about 0.46 MeV to cross 0.5 mm of aluminium (range 0.135 g/cm2, ESTAR, from memory)."""
    detector = DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), (Layer(AL, 1.0, 0.5),))
    setup = Setup(detector, point_source(10.0), (slab("table", AL, -60.0, 10.0, 150.0),))
    table, layer, crystal = packed(setup).reach
    assert crystal == 0
    assert layer == pytest.approx(15.0)
    assert table == pytest.approx(400.0, rel=0.2)


centres = st.tuples(*[st.floats(-10, 10)] * 3)
sizes = st.floats(0.5, 8)
solids = st.one_of(
    st.builds(Box, st.tuples(sizes, sizes, sizes), centres),
    st.builds(Cylinder, sizes, sizes, centres, st.sampled_from(("x", "y", "z"))),
    st.builds(Ball, sizes, centres),
)


@given(solids, solids)
def test_overlap_is_symmetric_and_true_for_shared_points(one: Solid, other: Solid) -> None:
    assert overlaps(one, other) == overlaps(other, one)
    if holds(one, other):
        assert overlaps(one, other)
    a = np.array(one.centre_mm)
    nearest = np.array(other.nearest(one.centre_mm))
    if np.array_equal(a, nearest):
        assert overlaps(one, other)


@given(solids)
def test_a_solid_holds_itself_and_touching_is_no_overlap(one: Solid) -> None:
    assert holds(one, one)
    x, y, z = one.centre_mm
    half = one.half_extent_mm[2]
    assert not overlaps(one, Box((30.0, 30.0, 2.0), (x, y, z + half + 1.0)))
    assert overlaps(one, Box((30.0, 30.0, 2.0), (x, y, z + half + 0.9)))
