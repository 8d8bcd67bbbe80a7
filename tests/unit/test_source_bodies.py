"""Bodies in front of a detector, self-absorption, short forms of sources, and what a source emits."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from truekev.errors import InputError, TruekevError
from truekev.matter.materials import material
from truekev.matter.photons import partial_cross_sections
from truekev.sources.bodies import body_parts, strata_of, thoria_powder
from truekev.sources.described import resolve_source
from truekev.sources.emission import emission_of
from truekev.sources.escape import escape_rays
from truekev.sources.short_forms import SHORT_FORMS, potassium_40_bq, source_in_words
from truekev.sources.source import Body
from truekev.sources.words import source_words
from truekev.transport.detector import DEFAULT_DETECTOR
from truekev.transport.setup import Part, SourceBody, slab
from truekev.transport.solids import Ball, Box, Cylinder


@pytest.mark.parametrize("word", [word for word in source_words() if word != "room-background"])
def test_every_word_has_a_body_at_the_crystal(word: str) -> None:
    source = resolve_source(word)
    strata = strata_of(source, DEFAULT_DETECTOR)
    assert sum(one.share for one in strata) == pytest.approx(1.0)
    front = -DEFAULT_DETECTOR.window_mm - source.distance_mm
    for one in strata:
        assert all(s.centre_mm[2] + s.half_extent_mm[2] <= front + 1e-9 for s in one.setup.source.solids)


def test_rods_side_by_side_and_bundled() -> None:
    flat = strata_of(source_in_words("rods:WT20,2.4x175,7"), DEFAULT_DETECTOR)
    packed = strata_of(source_in_words("rods:WT20,2.4x175,7,bundled"), DEFAULT_DETECTOR)
    for strata, rows in ((flat, 1), (packed, 3)):
        depths = {round(part.solid.centre_mm[2], 3) for part in strata[0].setup.source.parts}
        assert len(depths) == rows
    near, *far = flat
    assert near.share < 0.2
    assert all(abs(s.centre_mm[0]) > 10 for one in far for s in one.setup.source.solids)


def test_only_the_middles_counted() -> None:
    source = source_in_words("rods:WT20,2.4x175,5")
    middle = replace(source, body=replace(source.body, counted_length_mm=35.0))
    strata = strata_of(middle, DEFAULT_DETECTOR)
    assert sum(one.share for one in strata) == pytest.approx(35 / 175)


def test_a_vial_s_powder() -> None:
    body = Body("vial", oxide_mass_g=3.0, fill_height_mm=6.0, inner_diameter_mm=16.0, wall_mm=1.0)
    volume = math.pi / 4 * 1.6**2 * 0.6
    assert thoria_powder(body).density_g_cm3 == pytest.approx(3.0 / volume)
    fines = thoria_powder(replace(body, tungsten_fraction=0.25))
    assert fines.density_g_cm3 == pytest.approx(4.0 / volume)
    assert dict(fines.mass_fractions)[74] == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (Body("vial", oxide_mass_g=30.0, fill_height_mm=6.0, inner_diameter_mm=16.0, wall_mm=1.0), "powder"),
        (Body("vial", oxide_mass_g=0.001, fill_height_mm=60.0, inner_diameter_mm=16.0, wall_mm=1.0), "loose powder"),
        (Body("vial", oxide_mass_g=3.0, fill_height_mm=0.0, inner_diameter_mm=16.0, wall_mm=1.0), "above zero"),
        (Body("vial", oxide_mass_g=3.0, fill_height_mm=-2.0, inner_diameter_mm=16.0, wall_mm=1.0), "above zero"),
        (Body("vial", oxide_mass_g=3.0, inner_diameter_mm=16.0, wall_mm=1.0), "fill_height_mm is missing"),
        (Body("disc", "unobtainium", diameter_mm=20.0, length_mm=2.0), "unobtainium"),
        (Body("disc", "water", diameter_mm=0.0, length_mm=2.0), "above zero"),
        (Body("resin", diameter_mm=5.0, length_mm=2.0, oxide_mass_g=5.0), "cannot be set"),
        (Body("bag", "potassium chloride", diameter_mm=20.0, length_mm=2.0, salt_mass_g=50.0), "powder"),
        (Body("rods", n_rods=3, diameter_mm=2.4, length_mm=175.0, counted_length_mm=200.0), "longer than the rods"),
        (Body("rods", n_rods=300, diameter_mm=2.4, length_mm=175.0), "at most"),
        (Body("surroundings"), "background"),
    ],
)
def test_bodies_that_cannot_be(body: Body, says: str) -> None:
    with pytest.raises(InputError, match=says):
        strata_of(replace(resolve_source("gas-mantle"), body=body), DEFAULT_DETECTOR)


def test_what_stands_in_the_way_is_named() -> None:
    """A slab through the vial, a source pushed into the crystal, a negative distance."""
    vial = source_in_words("vial:2g")
    through = slab("table", material("Al"), -5.0, 1.0, 100.0)
    with pytest.raises(InputError, match=r"table.*vial|vial.*table"):
        strata_of(vial, DEFAULT_DETECTOR, (through,))
    with pytest.raises(InputError, match="must not be negative"):
        replace(vial, distance_mm=-20.0)
    inside = Part("plate", Box((4.0, 4.0, 4.0), (0.0, 0.0, 5.0)), material("Al"))
    with pytest.raises(InputError, match="plate"):
        strata_of(vial, DEFAULT_DETECTOR, (inside,))


@pytest.mark.parametrize("solid", [Box((8.0, 8.0, 8.0)), Cylinder(8.0, 8.0), Cylinder(8.0, 8.0, axis="x"), Ball(8.0)])
def test_mean_length_to_the_outside(solid: Box | Cylinder | Ball) -> None:
    """Births all through a body; the ball's escape in closed form (K. M. Case and others, 1953, from memory)."""
    water = material("water")
    rays = escape_rays(SourceBody((solid,), (), (Part("body", solid, water),)), n_rays=60_000)
    share, u = rays.escape([662.0])
    first = 1.0 - rays.first_in([662.0])[0]
    assert share[0] == pytest.approx(first[0], abs=1e-12)
    if isinstance(solid, Ball):
        x = float(partial_cross_sections(water, 662.0).total) * 0.8
        exact = 3 / (4 * (x / 2) ** 3) * ((x / 2) ** 2 - 0.5 + (0.5 + x / 2) * math.exp(-x))
        assert share[0] == pytest.approx(exact, abs=4 * u[0])


def test_short_forms_say_what_they_hold() -> None:
    for text in SHORT_FORMS:
        if not text.endswith(".toml"):
            assert source_in_words(text).activity_known
    rods = source_in_words("rods:WT20,2.4x175,5,refined=2018-05-01,10mm", on=date(2026, 11, 25))
    assert rods.distance_mm == 10.0
    assert rods.activities_bq["Ra-228"] / rods.activities_bq["Th-232"] == pytest.approx(0.644, abs=0.01)
    assert potassium_40_bq(1.0) == pytest.approx(16.6, rel=0.01)  # 31.6 Bq per gram of potassium
    assert "assumed" in source_in_words("gas-mantle").remarks[0]


def test_weighed_rods() -> None:
    full = source_in_words("rods:WT20,2.4x175,5")
    weighed = source_in_words("rods:WT20,2.4x175,5,72.0g")
    assert weighed.activities_bq["Th-232"] == pytest.approx(72.0 * 0.020 * 3574, rel=0.01)
    assert weighed.activities_bq["Th-232"] < full.activities_bq["Th-232"]
    with pytest.raises(InputError, match=r"would weigh 74\.8 g, not 15 g"):
        source_in_words("rods:WT20,2.4x175,5,15g")


@pytest.mark.parametrize(
    "text",
    [
        *("vial:2g,bundled", "vial:2g,75g", "salt:500g,d16", "rods:WT20,2.4x175,5,d16", "Cs-137:1kBq,bundled"),
        *("rods:WT20,0x175,5", "rods:WT99,2.4x175,5", "rods:WT20,2.4,5", "rods:WT20,2.4x175,0", "vial:0g", "vial:2"),
        *("vial:2g,foo", "salt:-5g", "Xx-12:3Bq", "Cs-137", "Cs-137:3", "rods:WT20,2.4x175,5,refined=yesterday"),
        *("nowhere.toml", "room-background", "", ":", "rods:", "vial:1000g", "vial:3g,d1"),
    ],
)
def test_short_forms_that_cannot_be_read(text: str) -> None:
    with pytest.raises(InputError) as caught:
        source_in_words(text)
    assert isinstance(caught.value, TruekevError)
    assert len(str(caught.value)) > 20


def test_emission_of_rods() -> None:
    emission = emission_of(source_in_words("rods:WT20,2.4x175,5"))
    line = min(emission.lines, key=lambda one: abs(one.energy_kev - 2614.5))
    assert line.born_per_s.value == pytest.approx(5 * 1070 * 0.3584, rel=0.01)
    assert 0.8 < line.escape < 0.88
    assert line.outside_per_s.value == pytest.approx(line.escape * line.born_per_s.value)
    assert {one.element for one in emission.made} >= {"W"}
    assert all(one.outside_per_s.value < one.born_per_s.value for one in emission.made)
    # About 1.1 MeV of beta energy for each decay of Th-232 in equilibrium, a twentieth of it radiated in tungsten.
    assert emission.betas.power_kev_per_s / 5348 == pytest.approx(1180, rel=0.1)
    assert 0.03 < emission.betas.bremsstrahlung_kev_per_s / emission.betas.power_kev_per_s < 0.08


def test_a_body_of_nothing_lets_all_through() -> None:
    rays = escape_rays(body_parts(Body("point")))
    assert np.all(rays.escape([10.0, 3000.0])[0] == 1.0)
    assert emission_of(source_in_words("Cs-137:10kBq")).made == ()
