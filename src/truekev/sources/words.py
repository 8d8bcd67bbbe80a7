"""One word for a source: what it means, in its natural set-up at contact, with strengths relative to 1 Bq."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from truekev.nuclides.names import nuclide_name, specific_activity_bq_g
from truekev.sources.components import aged_bq, components_of, k_x_ray_component, short_progeny_bq
from truekev.sources.source import Body, Source, SourceComponent

__all__ = ["NUCLIDE_DISTANCE_MM", "SourceWord", "source_of_nuclide", "source_of_word", "source_words"]

NUCLIDE_DISTANCE_MM = 100.0
_ATOMS_U235_PER_U238 = 0.0072 / 0.9927  # natural uranium, IUPAC isotopic abundances, from memory


def _u235_per_u238() -> float:
    """Activity of U-235 over that of U-238 in natural uranium (0.046)."""
    mass_ratio = _ATOMS_U235_PER_U238 * 235 / 238
    return mass_ratio * specific_activity_bq_g("U-235") / specific_activity_bq_g("U-238")


def _thorium() -> dict[str, float]:
    return aged_bq("Th-232")


def _pure_uranium() -> dict[str, float]:
    """Uranium cleaned chemically: its three isotopes and what grew back within a year."""
    u235 = short_progeny_bq("U-235", _u235_per_u238())
    return short_progeny_bq("U-238") | {"U-234": 1.0} | u235


def _aged_uranium() -> dict[str, float]:
    return aged_bq("U-238") | aged_bq("U-235", _u235_per_u238())


def _surroundings() -> dict[str, float]:
    return {"K-40": 1.0} | aged_bq("Ra-226") | aged_bq("Th-232")


def _radon_progeny() -> dict[str, float]:
    return {name: 1.0 for name in ("Pb-214", "Bi-214", "Po-214")}


def _no_extra() -> tuple[SourceComponent, ...]:
    return ()


def _tungsten_x_rays() -> tuple[SourceComponent, ...]:
    return (k_x_ray_component("W", "tungsten K X-rays"),)


_IN_STEP = {"Th-232": "Ra-228 part"}
_ORE_TIES = {
    "U-234": "U-238 part",
    "Th-230": "U-238 part",
    "U-235 part": "U-238 part",
    "Pa-231": "U-238 part",
    "Ac-227 part": "U-238 part",
}
_FREE_PARTS = "Ra-228 part and Th-228 part grow in separately after a separation, so their strengths float."


@dataclass(frozen=True)
class SourceWord:
    """What one word stands for."""

    what: str
    activities: Callable[[], Mapping[str, float]]
    body: Body
    head: str
    extra: Callable[[], tuple[SourceComponent, ...]] = _no_extra
    ties: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


_WORDS: dict[str, SourceWord] = {
    "thoriated-rods": SourceWord(
        "a bundle of ten thoriated tungsten electrodes, 2 % thoria, side by side",
        _thorium,
        Body(
            "rods",
            "tungsten with 2 % thoria",
            n_rods=10,
            diameter_mm=2.4,
            length_mm=175.0,
            thoria_fraction=0.020,
            u_thoria_fraction=0.0014,
        ),
        "Th-232",
        _tungsten_x_rays,
        _IN_STEP,
        (_FREE_PARTS, "Tungsten K X-rays are made in the rods; how many is not known, so they float as well."),
    ),
    "thorium-vial": SourceWord(
        "thorium dioxide powder standing in a small vial",
        _thorium,
        Body(
            "vial",
            "thorium dioxide powder in glass",
            oxide_mass_g=3.0,
            fill_height_mm=6.0,
            inner_diameter_mm=16.0,
            wall_mm=1.0,
        ),
        "Th-232",
        ties=_IN_STEP,
        remarks=(_FREE_PARTS,),
    ),
    "gas-mantle": SourceWord(
        "a thoriated gas mantle, folded flat",
        _thorium,
        Body("disc", "fabric with thorium oxide", diameter_mm=40.0, length_mm=4.0),
        "Th-232",
        ties=_IN_STEP,
        remarks=(_FREE_PARTS,),
    ),
    "thoriated-lens": SourceWord(
        "an old camera lens of thorium glass",
        _thorium,
        Body("disc", "glass with thorium", diameter_mm=40.0, length_mm=10.0),
        "Th-232",
        ties=_IN_STEP,
        remarks=(_FREE_PARTS,),
    ),
    "potassium-salt": SourceWord(
        "a bag of potassium chloride (salt substitute, fertiliser)",
        lambda: {"K-40": 1.0},
        Body("disc", "potassium chloride", diameter_mm=100.0, length_mm=50.0),
        "K-40",
    ),
    "uranium-glass": SourceWord(
        "a piece of uranium glass: uranium cleaned chemically, without radium",
        _pure_uranium,
        Body("disc", "glass with uranium", diameter_mm=60.0, length_mm=5.0),
        "U-238",
        ties={"U-234": "U-238 part"},
        remarks=("U-235 floats against U-238 because depleted uranium went into glass too.",),
    ),
    "uranium-ore": SourceWord(
        "a piece of uranium ore with its whole series",
        _aged_uranium,
        Body("disc", "rock with uranium", diameter_mm=40.0, length_mm=20.0),
        "U-238",
        ties=_ORE_TIES,
        remarks=("Radon leaves ore and weather leaches radium, so the Ra-226 and Pb-210 parts float.",),
    ),
    "radium-dial": SourceWord(
        "a dial or hand painted with radium",
        lambda: aged_bq("Ra-226"),
        Body("disc", "paint with radium", diameter_mm=30.0, length_mm=1.0),
        "Ra-226",
        remarks=("The Pb-210 part floats: it tells how old the paint is and how much radon escapes.",),
    ),
    "lutetium": SourceWord(
        "lutetium metal, oxide or a lutetium crystal",
        lambda: {"Lu-176": 1.0},
        Body("disc", "lutetium", diameter_mm=20.0, length_mm=5.0),
        "Lu-176",
    ),
    "lanthanum": SourceWord(
        "a lanthanum salt or oxide",
        lambda: {"La-138": 1.0},
        Body("disc", "lanthanum oxide", diameter_mm=50.0, length_mm=20.0),
        "La-138",
    ),
    "smoke-detector": SourceWord(
        "the foil of an ionisation smoke detector, left in its holder",
        lambda: {"Am-241": 1.0},
        Body("point", "foil in its holder"),
        "Am-241",
    ),
    "radon-progeny": SourceWord(
        "radon progeny caught on a filter or wiped off after rain",
        _radon_progeny,
        Body("disc", "filter", diameter_mm=50.0, length_mm=1.0),
        "Pb-214",
        remarks=("Pb-214 and Bi-214 float apart: on a filter they are out of step for the first hour.",),
    ),
    "room-background": SourceWord(
        "the room itself: K-40 and the radium and thorium series all around",
        _surroundings,
        Body("surroundings", "building material"),
        "K-40",
        ties=_IN_STEP,
    ),
    "granite": SourceWord(
        "a slab of granite: K-40 and the radium and thorium series",
        _surroundings,
        Body("disc", "granite", diameter_mm=100.0, length_mm=20.0),
        "K-40",
        ties=_IN_STEP,
    ),
}


def source_words() -> dict[str, str]:
    """Every word for a source with what it means."""
    return {word: entry.what for word, entry in _WORDS.items()}


def word_entry(word: str) -> SourceWord:
    """The full meaning of one of `source_words`."""
    return _WORDS[word]


def source_of_word(word: str) -> Source:
    """The source that one of `source_words` stands for: at contact, strengths relative to 1 Bq of its head."""
    entry = _WORDS[word]
    return Source(
        name=word,
        kind=word,
        components=components_of(entry.activities(), tied_to=entry.ties) + entry.extra(),
        body=entry.body,
        distance_mm=0.0,
        remarks=entry.remarks,
    )


def source_of_nuclide(text: str) -> Source:
    """A point source of one nuclide 10 cm away, with the progeny that follows it within a year."""
    name = nuclide_name(text)
    return Source(
        name=name,
        kind="nuclide",
        components=components_of(short_progeny_bq(name)),
        body=Body("point", "small sealed source"),
        distance_mm=NUCLIDE_DISTANCE_MM,
    )
