"""A vial made from a recovered oxide: its source description and its record."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.records import BookRecord
from truekev.book.things import Source
from truekev.book.work import Recovery
from truekev.errors import InputError
from truekev.sources.settings import read_source_text

__all__ = ["VialMeasures", "add_vial", "vial_description"]


@dataclass(frozen=True)
class VialMeasures:
    """What the vial measures [mm]: height of the fill, inner diameter, wall."""

    fill_height_mm: float
    inner_diameter_mm: float
    wall_mm: float


def vial_description(recovery: Recovery, name: str, measures: VialMeasures) -> str:
    """The source file of a vial that holds the oxide of a recovery; the rods' thorium is taken as aged.

    Raises
    ------
    InputError
        The oxide was not weighed, or a measure is out of range.
    """
    if recovery.oxide_mass_g is None:
        raise InputError(f"{recovery.name}: its oxide was not weighed; correct the record with oxide_mass_g first.")
    kept = ", ".join(f"{element} = {share!r}" for element, share in recovery.kept.items())
    text = (
        f"name = {json.dumps(name, ensure_ascii=False)}\n"
        'kind = "thorium-vial"\n'
        f"reference_date = {recovery.separated_on.isoformat()}\n"
        "aged = true\n\n"
        "[[separation]]\n"
        f"on = {recovery.separated_on.isoformat()}\n"
        f"kept = {{ {kept} }}\n"
        f"others_kept = {recovery.others_kept!r}\n\n"
        "[body]\n"
        'form = "vial"\n'
        f"oxide_mass_g = {recovery.oxide_mass_g.value!r}\n"
        f"fill_height_mm = {measures.fill_height_mm!r}\n"
        f"inner_diameter_mm = {measures.inner_diameter_mm!r}\n"
        f"wall_mm = {measures.wall_mm!r}\n"
    )
    read_source_text(text, file="vial")
    return text


def add_vial(
    book: Book,
    recovery_id: int,
    *,
    name: str,
    place: str,
    owner: str,
    made_on: date,
    measures: VialMeasures,
    resin: bool = False,
    gross_mass_g: Value | None = None,
) -> BookRecord[Source]:
    """Add the vial of a recovery as a home-made source.

    Raises
    ------
    InputError
        The record is no recovery, its oxide was not weighed, or a measure is out of range.
    """
    recovery = book.get_as(recovery_id, Recovery)
    body = Source(
        name=name,
        description=vial_description(recovery.body, name, measures),
        place=place,
        form="set in resin" if resin else "sealed vial",
        home_made=True,
        batch_id=recovery.body.batch_id,
        recovery_id=recovery.id,
        made_on=made_on,
        gross_mass_g=gross_mass_g,
        oxide_mass_g=recovery.body.oxide_mass_g,
        owner=owner,
    )
    return book.add(body)
