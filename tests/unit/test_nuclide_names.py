"""Names of nuclides as people write them, and the lines by name."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from truekev.errors import UnknownNameError
from truekev.nuclides.lines import photon_lines
from truekev.nuclides.names import known_nuclides, nuclide_name


@pytest.mark.parametrize("text", ["Tl-208", "tl208", "TL-208", "208Tl", "208-tl", " Tl 208 ", "tl_208", "208 TL"])
def test_ways_to_write_tl208(text: str) -> None:
    assert nuclide_name(text) == "Tl-208"


@pytest.mark.parametrize("text", ["Pa-234m", "pa234m", "234mPa", "234m-pa", "PA234M"])
def test_ways_to_write_an_isomer(text: str) -> None:
    assert nuclide_name(text) == "Pa-234m"


@pytest.mark.parametrize(
    ("text", "name"), [("99mo", "Mo-99"), ("99mtc", "Tc-99m"), ("54mn", "Mn-54"), ("99m-Tc", "Tc-99m")]
)
def test_an_m_after_the_mass_may_belong_to_the_element(text: str, name: str) -> None:
    assert nuclide_name(text) == name


@given(st.sampled_from(known_nuclides()), st.booleans(), st.sampled_from(["", "-", " "]), st.booleans())
def test_every_name_is_read_back(name: str, mass_first: bool, between: str, lower: bool) -> None:
    element, _, mass = name.partition("-")
    text = f"{mass}{between}{element}" if mass_first else f"{element}{between}{mass}"
    assert nuclide_name(text.lower() if lower else text) == name


@pytest.mark.parametrize(("text", "near"), [("Tl-209x", "Tl-209"), ("Cs-138", "Cs-137"), ("Ba-137", "Ba-137m")])
def test_unknown_names_offer_near_ones(text: str, near: str) -> None:
    with pytest.raises(UnknownNameError, match=near):
        nuclide_name(text)


@settings(deadline=None)
@given(st.text(max_size=12))
def test_any_other_text_is_refused_as_unknown(text: str) -> None:
    with pytest.raises(UnknownNameError, match="is not known"):
        nuclide_name("?" + text)


def test_at_least_sixty_nuclides_have_lines() -> None:
    assert sum(bool(photon_lines(name)) for name in known_nuclides()) > 200


def test_wanted_nuclides_are_there() -> None:
    wanted = (
        "K-40 Am-241 Np-237 Cs-137 Ba-137m Co-57 Co-60 Ba-133 Na-22 Eu-152 Eu-154 Eu-155 Mn-54 Zn-65 Cd-109 Ce-139 "
        "Sn-113 Sr-85 Y-88 Lu-176 La-138 I-131 I-123 I-125 Tc-99m Mo-99 Ga-67 In-111 Tl-201 F-18 Ra-226 Ir-192 Se-75 "
        "Cs-134 Be-7 Rb-82 Lu-177 Sb-125 Hg-203 Xe-133 Sm-153 Bi-207 Ti-44 Al-26 Th-232 Ra-228 Ac-228 Th-228 Ra-224 "
        "Rn-220 Po-216 Pb-212 Bi-212 Po-212 Tl-208 U-238 Th-234 Pa-234m Pa-234 U-234 Th-230 Rn-222 Po-218 At-218 "
        "Pb-214 Bi-214 Po-214 Tl-210 Pb-210 Bi-210 Po-210 Hg-206 Tl-206 U-235 Th-231 Pa-231 Ac-227 Th-227 Fr-223 "
        "At-219 Bi-215 Ra-223 Rn-219 Po-215 At-215 Pb-211 Bi-211 Po-211 Tl-207"
    ).split()
    assert set(wanted) <= set(known_nuclides())


@pytest.mark.parametrize("name", known_nuclides())
def test_lines_are_sound(name: str) -> None:
    lines = photon_lines(name)
    assert [line.energy_kev for line in lines] == sorted(line.energy_kev for line in lines)
    for line in lines:
        assert line.nuclide == name
        assert 10 <= line.energy_kev < 6000
        assert 0 < line.intensity <= 2.0
        assert 0 <= line.u_intensity <= line.intensity * 1.0001 or line.intensity < 1e-2
        assert 0 < line.u_energy_kev < 100  # some lines of Tl-210 are known to 50 keV only
        assert line.kind in {"gamma", "x-ray", "annihilation"}


def test_min_intensity() -> None:
    all_lines, strong = photon_lines("Ac-228"), photon_lines("Ac-228", min_intensity=0.1)
    assert strong == tuple(line for line in all_lines if line.intensity >= 0.1)
    assert 0 < len(strong) < len(all_lines)


def test_annihilation_of_positron_emitters() -> None:
    for name, least in (("Na-22", 1.79), ("F-18", 1.93), ("Ga-68", 1.7)):
        (line,) = (r for r in photon_lines(name) if r.kind == "annihilation")
        assert line.energy_kev == pytest.approx(510.99895, abs=1e-5)
        assert line.intensity > least


def test_a_nuclide_without_photons_has_no_lines() -> None:
    assert photon_lines("Sr-90") == ()
