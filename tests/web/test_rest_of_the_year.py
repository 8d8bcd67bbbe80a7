"""A year at the bench by clicking, after the vial: a find, a look, waste and its leaving, a slip, moving house."""

from __future__ import annotations

import re
from urllib.parse import urljoin

from playwright.sync_api import expect

from truekev.book.book import Book
from truekev.book.things import Departure, Find, HouseMove, Waste


def test_the_rest_of_the_year_by_clicking(demo_copy, serve, open_page, picture, counts):
    page = open_page(serve(demo_copy))

    def tonight(link: str) -> None:
        page.get_by_role("link", name="Tonight").click()
        page.get_by_role("link", name=link).first.click()

    def write() -> None:
        page.get_by_role("button", name="Write it down").click()
        expect(page.get_by_text("made by")).to_be_visible()

    # a find, described in a few answers, so that the shelf counts it
    tonight("A find")
    expect(page.get_by_text("A find is not opened, scraped, polished")).to_be_visible()
    page.get_by_label("name").first.fill("Alarm clock")
    page.get_by_label("what", exact=False).first.fill("clock with luminous hands")
    page.get_by_label("place").first.fill("shelf B, sealed bag")
    page.get_by_label("what sort of thing").select_option("radium-dial")
    page.get_by_label("activity, Bq").fill("2000")
    page.get_by_label("standard uncertainty of the activity").fill("1000")
    page.get_by_label("on the day").fill("2026-11-01")
    write()
    page.get_by_role("link", name="Shelf").click()
    row = page.get_by_role("region", name="Things on the shelf").get_by_role("row")
    expect(row.filter(has_text="Alarm clock")).to_contain_text("2000 ± 1000 Bq")
    picture(page, "year-1-shelf")

    # counted once, only kept: nothing is known of it yet
    tonight("A new count")
    page.get_by_label("Choose the file").set_input_files(counts["later"])
    page.get_by_label("Alarm clock").check()
    page.get_by_label("Only keep it").check()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("link", name="Alarm clock")).to_be_visible()

    # the yearly look at the vial, from what is due
    page.get_by_role("link", name="Shelf").click()
    page.get_by_role("link", name="yearly look: Thoria vial no. 1").click()
    page.get_by_label("name").first.fill("Yearly look")
    page.get_by_label("looked").check()
    page.get_by_label("wiped").check()
    page.get_by_label("gross mass, g", exact=True).fill("14.381")
    page.get_by_label("standard uncertainty of gross mass, g").fill("0.002")
    write()

    # waste: the authority replies, then the jar leaves under its number
    page.get_by_role("link", name="Shelf").click()
    page.get_by_role("link", name="has left").click()
    page.get_by_label("name").first.fill("Sludge fetched")
    page.get_by_label("thing").select_option(label="Sludge of the autumn batch (waste 25)")
    page.get_by_label("how").select_option("disposed of")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_role("alert")).to_contain_text("reference_no")
    assert page.get_by_label("name").first.input_value() == "Sludge fetched"
    page.get_by_label("to", exact=True).fill("licensed disposer (invented)")
    page.get_by_label("reference no").fill("LD-7 (invented)")
    write()
    page.get_by_role("link", name="Shelf").click()
    expect(row.filter(has_text="Sludge of the autumn batch")).to_have_count(0)
    expect(page.get_by_text("LD-7 (invented)")).to_be_visible()

    # a slip: the record is superseded, the old one stays readable
    page.get_by_role("link", name="Alarm clock").first.click()
    page.get_by_role("link", name="Correct it").click()
    assert "radium-dial" in page.get_by_label("as truekev new source prints it").input_value()
    page.get_by_label("place").first.fill("shelf B, steel box")
    write()
    expect(page.get_by_text("shelf B, steel box")).to_be_visible()
    page.get_by_role("link", name=re.compile("^record ")).first.click()
    expect(page.get_by_text("This record was superseded by")).to_be_visible()
    expect(page.get_by_text("shelf B, sealed bag")).to_be_visible()

    # moving house: the old background retires, and a new one is due
    page.get_by_role("link", name="Shelf").click()
    page.get_by_role("link", name="moving house").first.click()
    page.get_by_label("name").first.fill("To the new building")
    page.get_by_label("from place").fill("old lab")
    page.get_by_label("to place").fill("new lab")
    write()
    page.get_by_role("link", name="Tonight").click()
    expect(page.get_by_text("count a new background")).to_be_visible()
    picture(page, "year-2-tonight")
    page.get_by_role("link", name="Sheets").click()
    for name in ("the shelf", "moving house", "a spill or a broken vial", "for whoever finds this shelf"):
        sheet = page.request.get(urljoin(page.url, page.get_by_role("link", name=name).first.get_attribute("href")))
        assert sheet.status == 200
    page.get_by_role("link", name="moving house").click()
    picture(page, "year-3-moving")

    with Book.open(demo_copy) as book:
        assert book.current(Find, "Alarm clock")[0].supersedes is not None
        assert book.current(HouseMove)[0].body.to_place == "new lab"
        assert book.current(Departure)[0].body.reference_no == "LD-7 (invented)"
        assert len(book.current(Waste)) == 2
