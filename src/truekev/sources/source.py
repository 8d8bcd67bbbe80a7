"""A source: what is in it, in which body, how far away, and the photons it emits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from truekev.errors import OutOfRangeError
from truekev.nuclides.lines import PhotonLine, photon_lines

__all__ = ["Body", "EmittedLine", "Source", "SourceComponent"]


@dataclass(frozen=True)
class Body:
    """The thing that holds the activity, in words and measures; a measure that does not apply is None.

    Parameters
    ----------
    form : str
        "point", "disc" (diameter_mm, length_mm its thickness), "vial" (a powder standing in a vial), "resin" (oxide set
        in a disc of resin), "bag" (a bag of salt, sizes as a disc), "rods" or "surroundings" (all around).
    material : str
        What it is made of, in words.
    n_rods, diameter_mm, length_mm
        Of a bundle of rods; diameter and thickness of a disc.
    thoria_fraction, u_thoria_fraction : float or None
        Mass fraction of ThO2 in the rods.
    oxide_mass_g, fill_height_mm, inner_diameter_mm, wall_mm
        Of a vial: mass of the oxide and height of the powder, inner diameter, thickness of the wall.
    tungsten_fraction, wall_material
        Of a vial: mass fraction of tungsten fines in the powder; what the vial is made of (glass).
    arrangement, counted_length_mm
        Of rods: "side by side" or "bundled"; the length about their middles that counts (all of it if None).
    salt_mass_g
        Of a bag of potassium chloride.
    """

    form: str
    material: str = ""
    n_rods: int | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    thoria_fraction: float | None = None
    u_thoria_fraction: float | None = None
    oxide_mass_g: float | None = None
    fill_height_mm: float | None = None
    inner_diameter_mm: float | None = None
    wall_mm: float | None = None
    tungsten_fraction: float | None = None
    wall_material: str | None = None
    arrangement: str | None = None
    counted_length_mm: float | None = None
    salt_mass_g: float | None = None


@dataclass(frozen=True)
class EmittedLine:
    """A line as the source emits it into all directions, before absorption in the body.

    `u_photons_per_s` comes from the intensity alone; the uncertainty of the activity is common to all lines of a
    nuclide and stands in `SourceComponent.u_activities_bq`.
    """

    nuclide: str
    energy_kev: float
    u_energy_kev: float
    photons_per_s: float
    u_photons_per_s: float
    kind: str


@dataclass(frozen=True)
class SourceComponent:
    """Nuclides (and lines) whose strengths stand in a fixed ratio, so that one strength multiplies them all.

    Parameters
    ----------
    name : str
        As "Th-228 part": its longest-lived member names it.
    activities_bq : mapping
        Activity of every member [Bq]; relative to 1 Bq where the activity of the source is unknown.
    u_activities_bq : mapping
        Their standard uncertainties [Bq]; empty where unknown.
    extra_lines : tuple of PhotonLine
        Lines that no decay makes directly (fluorescence of the body); intensity is photons per second at
        strength 1.
    tied_to : str or None
        None: a fit must let the strength float. A component's name: the ratio of the two activities as given
        here is known (same age and history), so one strength serves both.
    """

    name: str
    activities_bq: Mapping[str, float] = field(default_factory=dict)
    u_activities_bq: Mapping[str, float] = field(default_factory=dict)
    extra_lines: tuple[PhotonLine, ...] = ()
    tied_to: str | None = None

    @property
    def strength(self) -> str:
        """The word "free", or "tied" where the ratio to another component is known."""
        return "free" if self.tied_to is None else "tied"

    def lines(self, min_rate: float = 0.0) -> tuple[EmittedLine, ...]:
        """Emitted lines of at least `min_rate` photons per second, sorted by energy."""
        emitted = [
            _emitted(line, activity) for name, activity in self.activities_bq.items() for line in photon_lines(name)
        ]
        emitted += [_emitted(line, 1.0) for line in self.extra_lines]
        kept = [line for line in emitted if line.photons_per_s > 0 and line.photons_per_s >= min_rate]
        return tuple(sorted(kept, key=lambda line: line.energy_kev))


def _emitted(line: PhotonLine, activity_bq: float) -> EmittedLine:
    return EmittedLine(
        nuclide=line.nuclide,
        energy_kev=line.energy_kev,
        u_energy_kev=line.u_energy_kev,
        photons_per_s=line.intensity * activity_bq,
        u_photons_per_s=line.u_intensity * activity_bq,
        kind=line.kind,
    )


@dataclass(frozen=True)
class Source:
    """A source as declared: a word, a nuclide, or a description in a file.

    Parameters
    ----------
    name, kind : str
        What the person calls it; the word, "nuclide" or "nuclides".
    components : tuple of SourceComponent
        What is in it.
    body : Body
        The thing itself.
    distance_mm : float
        From the front of the detector's housing to the nearest point of the body; 0 is contact.
    activity_known : bool
        False: activities are relative to 1 Bq of the head.
    on : date or None
        The date for which the activities hold; None where they are relative.
    remarks : tuple of str
        What the person should know about these assumptions.
    """

    name: str
    kind: str
    components: tuple[SourceComponent, ...]
    body: Body
    distance_mm: float
    activity_known: bool = False
    on: date | None = None
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.distance_mm < 0:
            raise OutOfRangeError(f"distance_mm {self.distance_mm}: it must not be negative; 0 is contact.")
        names = [component.name for component in self.components]
        for component in self.components:
            if component.tied_to is not None and component.tied_to not in names:
                raise OutOfRangeError(
                    f"component {component.name!r} is tied to {component.tied_to!r}, which is not there."
                )

    @property
    def activities_bq(self) -> dict[str, float]:
        """Activity of every nuclide, all components together [Bq]."""
        total: dict[str, float] = {}
        for component in self.components:
            for name, activity in component.activities_bq.items():
                total[name] = total.get(name, 0.0) + activity
        return total

    def lines(self, min_rate: float = 0.0) -> dict[str, tuple[EmittedLine, ...]]:
        """Emitted lines by component's name: at least `min_rate` photons per second, sorted by energy."""
        return {component.name: component.lines(min_rate) for component in self.components}
