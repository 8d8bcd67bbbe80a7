"""Stock to source record by clicking, as a newcomer with an empty book would."""

from __future__ import annotations

from urllib.parse import urljoin

from playwright.sync_api import expect

from truekev.book.book import Book
from truekev.book.things import Source
from truekev.book.work import Relock, Scale


def _write(page, **fields):
    for label, value in fields.items():
        page.get_by_label(label.replace("_", " ")).first.fill(value)
    page.get_by_role("button", name="Write it down").click()


def test_stock_to_source_record_by_clicking(empty_book, serve, open_page, picture, counts):
    page = open_page(serve(empty_book))
    page.get_by_role("button", name="Not now").click()
    picture(page, "newcomer-01-empty")

    page.get_by_role("link", name="your spectrometer").click()
    _write(page, name="Pocket spectrometer", crystal="CsI(Tl) cube of 10 mm")
    expect(page.get_by_role("heading", name="Pocket spectrometer")).to_be_visible()

    page.get_by_role("link", name="Tonight").click()
    page.get_by_role("link", name="Something was bought").click()
    page.get_by_label("what", exact=False).first.select_option("rods")
    _write(
        page,
        name="Ten electrodes", place="drawer 3", pieces="10", class_of_the_electrodes="WT20",
        diameter="2.4", length="150",
    )  # fmt: skip
    expect(page.get_by_role("heading", name="Ten electrodes")).to_be_visible()
    picture(page, "newcomer-02-rods")
    page.get_by_role("link", name="Bundle rods as a source").click()
    page.get_by_label("pieces in the bundle").fill("10")
    page.get_by_label("distance to the detector's housing, mm").fill("10")
    _write(page, name="Rod bundle", place="drawer 3")
    expect(page.get_by_role("cell", name="Th-232")).to_be_visible()
    picture(page, "newcomer-03-bundle")

    # the room, then the rods: the first count calibrates
    page.get_by_role("link", name="Tonight").click()
    page.get_by_role("link", name="A new count").click()
    page.get_by_label("Choose the file").set_input_files(counts["room"])
    page.get_by_label("What the count was for").select_option("background")
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="room.csv")).to_be_visible()
    page.get_by_role("link", name="Spectra").click()
    page.get_by_role("link", name="Add a spectrum").click()
    page.get_by_label("Choose the file").set_input_files(counts["rods"])
    page.get_by_label("Rod bundle").check()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="To type into the instrument")).to_be_visible(timeout=120_000)
    figure = page.get_by_role("application")
    figure.focus()
    figure.press("Shift+ArrowRight")
    told = page.locator(".figure output")
    expect(told).to_contain_text("keV")
    expect(told).to_contain_text("model")
    picture(page, "newcomer-04-scale")
    figure.click(position={"x": 400, "y": 150})
    page.get_by_label("logarithmic").check()
    page.get_by_role("button", name="closer").click()
    picture(page, "newcomer-05-scale-logarithmic")

    # a cold night
    page.get_by_role("link", name="Tonight").click()
    page.get_by_role("link", name="Re-lock after a cold night").click()
    page.get_by_label("Choose the file").set_input_files(counts["later"])
    page.get_by_label("Rod bundle").check()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_text("The gain moved by")).to_be_visible(timeout=120_000)
    picture(page, "newcomer-06-relock")

    # the batch: the plan follows its inputs
    page.get_by_role("link", name="Plan", exact=True).click()
    page.get_by_label("Name of the batch").fill("First batch")
    page.get_by_label("Switched on").fill("2026-10-05T09:00")
    before = page.locator("#results").inner_text()
    page.get_by_role("textbox", name="pieces").fill("2")
    page.wait_for_function("before => document.querySelector('#results').innerText !== before", arg=before)
    page.get_by_label("Ten electrodes").check()
    picture(page, "newcomer-07-plan")
    page.get_by_role("button", name="Keep it in the book").click()
    expect(page.get_by_role("heading", name="First batch")).to_be_visible()
    for hour, current in (("10:00", "1,2"), ("12:00", "1.21")):
        page.get_by_role("textbox", name="current, A").fill(current)
        page.get_by_role("textbox", name="voltage, V").fill("2.1")
        page.get_by_role("textbox", name="bath, °C").fill("26")
        page.get_by_text("Another time, a remark, a correction").click()
        page.get_by_label("When (now, if empty)").fill(f"2026-10-05T{hour}")
        page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("2 readings")).to_be_visible()
    picture(page, "newcomer-08-run")
    page.get_by_label("Ended (now, if empty)").fill("2026-10-06T09:00")
    page.get_by_role("button", name="The run has ended").click()

    # oxide, vial, source record
    page.get_by_role("link", name="The oxide, washed and dried").click()
    page.get_by_label("separated on").fill("2026-10-09")
    page.get_by_label("oxide mass, g", exact=True).fill("0.50")
    page.get_by_label("standard uncertainty of oxide mass, g").fill("0.01")
    assert "Ra = 0.97" in page.get_by_label("kept of each element").input_value()
    _write(page, name="Oxide of the first batch")
    page.get_by_role("link", name="Set it into a vial").click()
    for label, value in (
        ("Name", "Vial no. 1"), ("Place on the shelf", "shelf A"), ("Height of the fill, mm", "1.2"),
        ("Inner diameter, mm", "16"), ("Wall, mm", "1"), ("Closed on", "2026-10-12"),
    ):  # fmt: skip
        page.get_by_label(label).first.fill(value)
    picture(page, "newcomer-09-vial")
    page.get_by_role("button", name="Write the source record").click()
    expect(page.get_by_role("heading", name="Vial no. 1")).to_be_visible()
    picture(page, "newcomer-10-source")
    page.get_by_role("link", name="The source record").click()
    expect(page.get_by_role("heading", name="Source record")).to_be_visible()
    expect(page.get_by_text("RADIOACTIVE")).to_be_visible()
    picture(page, "newcomer-11-source-record")
    sheet = page.request.get(urljoin(page.url, page.get_by_role("link", name="Print").get_attribute("href")))
    assert sheet.status == 200
    assert sheet.body().startswith(b"%PDF-")

    with Book.open(empty_book) as book:
        (vial,) = (source for source in book.current(Source) if source.body.home_made)
        assert vial.body.batch_id is not None
        assert len(book.current(Scale)) == len(book.current(Relock)) == 1
