"""Sources by word and by nuclide."""

from __future__ import annotations

from datetime import date

import pytest

from truekev.errors import InputError, OutOfRangeError, UnknownNameError
from truekev.sources.components import components_of
from truekev.sources.described import resolve_source, source_words
from truekev.sources.source import Body, Source, SourceComponent
from truekev.sources.stock import electrode_class, electrode_mass_g, th232_bq_of_rods


@pytest.mark.parametrize("word", source_words())
def test_every_word_gives_a_source(word: str) -> None:
    source = resolve_source(word.upper())
    assert source.kind == word
    assert source.distance_mm == 0.0
    assert not source.activity_known
    assert any(line.energy_kev >= 30 for lines in source.lines().values() for line in lines)
    assert all(component.strength in {"free", "tied"} for component in source.components)
    assert any(component.strength == "free" for component in source.components)
    names = [component.name for component in source.components]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("word", ["thoriated-rods", "thorium-vial", "gas-mantle", "thoriated-lens"])
def test_thorium_has_two_parts_that_grow_in_apart(word: str) -> None:
    parts = {component.name: component for component in resolve_source(word).components}
    assert set(parts["Ra-228 part"].activities_bq) == {"Ra-228", "Ac-228"}
    th228 = {"Th-228", "Ra-224", "Rn-220", "Po-216", "Pb-212", "Bi-212", "Po-212", "Tl-208"}
    assert set(parts["Th-228 part"].activities_bq) == th228
    assert parts["Ra-228 part"].strength == parts["Th-228 part"].strength == "free"
    assert parts["Th-232"].tied_to == "Ra-228 part"


def test_rods_make_tungsten_x_rays_of_unknown_strength() -> None:
    rods = resolve_source("thoriated-rods")
    x_rays = rods.components[-1]
    assert x_rays.name == "tungsten K X-rays"
    assert x_rays.strength == "free"
    assert not x_rays.activities_bq
    lines = rods.lines()["tungsten K X-rays"]
    assert sum(line.photons_per_s for line in lines) == pytest.approx(1.0)
    assert {line.kind for line in lines} == {"x-ray made in the body"}
    assert {line.nuclide for line in lines} == {""}
    assert max(lines, key=lambda line: line.photons_per_s).energy_kev == pytest.approx(59.318, abs=0.01)


def test_uranium_glass_has_no_radium() -> None:
    glass = resolve_source("uranium-glass").activities_bq
    assert set(glass) == {"U-238", "Th-234", "Pa-234m", "Pa-234", "U-234", "U-235", "Th-231"}
    assert glass["U-235"] / glass["U-238"] == pytest.approx(0.0461, rel=0.01)
    assert "Bi-214" in resolve_source("uranium-ore").activities_bq


def test_a_bare_nuclide_is_a_point_ten_centimetres_away() -> None:
    source = resolve_source("cs137")
    assert (source.name, source.kind, source.body.form, source.distance_mm) == ("Cs-137", "nuclide", "point", 100.0)
    assert source.activities_bq == {"Cs-137": 1.0}


def test_a_bare_nuclide_brings_what_follows_it_within_a_year() -> None:
    assert set(resolve_source("Ge-68").activities_bq) == {"Ge-68", "Ga-68"}
    radium = resolve_source("Ra-226").activities_bq
    assert "Bi-214" in radium
    assert "Pb-210" not in radium
    assert set(resolve_source("Am-241").activities_bq) == {"Am-241"}
    assert set(resolve_source("Th-232").activities_bq) == {"Th-232"}


def test_unknown_word_offers_near_ones() -> None:
    with pytest.raises(UnknownNameError, match="thorium-vial"):
        resolve_source("thorium-vail")


@pytest.mark.parametrize("name", ["Sr-90", "P-32", "Fe-55"])
def test_a_source_without_lines_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="no photon line"):
        resolve_source(name)


def test_lines_scale_with_activity_and_are_cut_by_rate() -> None:
    component = SourceComponent("Co-60", {"Co-60": 200.0})
    lines = component.lines(100.0)
    assert [round(line.energy_kev) for line in lines] == [1173, 1332]
    assert lines[1].photons_per_s == pytest.approx(200 * 0.999826, rel=1e-6)
    assert lines[1].u_photons_per_s == pytest.approx(200 * 6e-6, rel=1e-3)


def test_components_pass_over_what_is_gone() -> None:
    parts = components_of({"Th-232": 1.0, "Ra-228": 0.0, "Th-228": 1.0}, tied_to={"Th-232": "Ra-228"})
    assert [part.name for part in parts] == ["Th-232", "Th-228"]
    assert parts[0].tied_to is None


def test_a_source_refuses_a_negative_distance_and_a_loose_tie() -> None:
    component = SourceComponent("Co-60", {"Co-60": 1.0}, tied_to="Cs-137")
    with pytest.raises(OutOfRangeError, match="tied"):
        Source("a", "nuclide", (component,), Body("point"), 0.0)
    with pytest.raises(OutOfRangeError, match="distance_mm"):
        Source("a", "nuclide", (), Body("point"), -1.0)


@pytest.mark.parametrize(
    ("length", "mass", "thorium", "bq"), [(150.0, 12.83, 0.2254, 917.0), (175.0, 14.96, 0.2630, 1070.0)]
)
def test_one_electrode_2_percent(length: float, mass: float, thorium: float, bq: float) -> None:
    """Own computation from 19.25 and 10.0 g/cm3, 2.0 % ThO2, beside ORAU's "typical rod" of 0.23 g thorium."""
    got = electrode_mass_g(diameter_mm=2.4, length_mm=length, thoria_fraction=0.02)
    assert got == pytest.approx(mass, rel=0.01)
    assert got * 0.02 * 0.8788 == pytest.approx(thorium, rel=0.01)
    rods = th232_bq_of_rods(n_rods=1, diameter_mm=2.4, length_mm=length, thoria_fraction=0.02)
    assert rods.value == pytest.approx(bq, rel=0.01)


def test_electrode_classes() -> None:
    """Bounds and colours of WT10 to WT40 after ISO 6848, as an encyclopedia page gives them; standard not seen."""
    assert [electrode_class(n).colour for n in ("WT10", "wt20", "WT30", "WT40")] == [
        "yellow",
        "red",
        "violet",
        "orange",
    ]
    wt20 = electrode_class("WT20")
    assert (wt20.lowest, wt20.highest, wt20.fraction) == (0.0170, 0.0220, 0.020)
    assert wt20.u_fraction == pytest.approx(0.005 / 12**0.5)
    with pytest.raises(UnknownNameError, match="WT20"):
        electrode_class("WT25")


@pytest.mark.parametrize(("diameter", "length", "fraction"), [(0, 150, 0.02), (2.4, -1, 0.02), (2.4, 150, 1.0)])
def test_an_impossible_electrode(diameter: float, length: float, fraction: float) -> None:
    with pytest.raises(OutOfRangeError, match="electrode"):
        electrode_mass_g(diameter_mm=diameter, length_mm=length, thoria_fraction=fraction)


def test_words_have_no_date() -> None:
    assert resolve_source("gas-mantle", on=date(2026, 1, 1)).on is None
