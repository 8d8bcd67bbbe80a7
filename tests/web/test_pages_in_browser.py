"""Every kind of page in a real browser: on a phone, by keyboard alone, for a screen reader, on the tour."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from truekev.book.book import Book
from truekev.book.run_readings import NewReading, add_readings
from truekev.book.things import Source, Stock
from truekev.book.work import Batch, Note, Relock, Scale, SpectrumFile

PHONE = {"width": 390, "height": 800}
PLAIN = (
    *("/", "/forecast", "/plan", "/batches", "/sources", "/spectra", "/spectra/new", "/scales", "/shelf", "/lines"),
    *(
        "/lines?names=Tl-208",
        "/dose?word=thorium-vial&activity=2700&distance=10cm",
        "/limits?gross=9&background=4&time=1h",
    ),
    *(
        "/peroxide?heel_ml=20&volume_ml=50&percent=30",
        "/sheets",
        "/sheets/shelf",
        "/records",
        "/records?all=yes",
        "/tour",
    ),
    *("/records/new/find", "/records/new/source", "/records/new/instrument", "/records/new/recovery", "/records/99"),
)
SERIOUS = ("serious", "critical")
ON_THE_PHONE_TOO = ("/plan", "/spectra/new", "/scales/", "/shelf", "/batches/", "/records/new/source", "/sheets/shelf")


def pages_of(book_file) -> list[str]:
    """One page of every kind."""
    with Book.open(book_file) as book:
        of = {model: book.current(model)[0].id for model in (Source, Stock, Batch, Relock, Scale, SpectrumFile)}
    return [
        *PLAIN, f"/sources/{of[Source]}", f"/records/{of[Stock]}", f"/records/{of[Stock]}/correct",
        f"/batches/{of[Batch]}", f"/scales/{of[Relock]}", f"/scales/{of[Scale]}", f"/spectra/{of[SpectrumFile]}",
        f"/sheets/{of[Batch]}?which=plan", f"/sheets/{of[Source]}",
    ]  # fmt: skip


def _named(path: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", path.lower()).strip("-")[:50] or "first"


def _go(page, address: str, path: str) -> None:
    if path == "/records/99":  # a page that is not there is an error to the browser's console, and meant here
        page.set_content(page.request.get(address + path).text())
    else:
        page.goto(address + path)


@pytest.mark.parametrize("width", [1280, 390])
def test_pages_fit_and_nothing_is_out_of_reach(demo_copy, serve, open_page, picture, width):
    address = serve(demo_copy)
    page = open_page(address, width=width, height=800)
    axe = Axe()
    for path in pages_of(demo_copy):
        _go(page, address, path)
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"{path} is {over} px too wide at {width} px"
        if width != PHONE["width"] or path.startswith(ON_THE_PHONE_TOO):
            found = axe.run(page).response["violations"]
            told = [f"{v['id']}: {[n['html'][:150] for n in v['nodes'][:3]]}" for v in found if v["impact"] in SERIOUS]
            assert told == [], path
        if width == PHONE["width"]:
            small = page.evaluate(
                "[...document.querySelectorAll('button, .button, input:not([type=hidden]), select')]"
                ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 20).map(e => e.outerHTML)"
            )
            assert small == [], path
        picture(page, f"page-{_named(path)}-{width}")


def test_by_keyboard_alone(demo_copy, serve, open_page):
    page = open_page(serve(demo_copy))

    def focused() -> str:
        return page.evaluate("(e => (e.innerText || e.ariaLabel || '').trim())(document.activeElement)")

    def tab_to(words: str) -> None:
        for _ in range(120):
            page.keyboard.press("Tab")
            if focused().startswith(words):
                return
        raise AssertionError(f"{words} cannot be reached by Tab")

    def enter() -> None:
        with page.expect_navigation():
            page.keyboard.press("Enter")

    page.keyboard.press("Tab")
    assert focused() == "To the content"
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    tab_to("Something was bought")
    enter()
    expect(page.get_by_role("heading", name="Rods, reagents or equipment")).to_be_visible()
    page.get_by_label("name").first.focus()
    page.keyboard.type("Peroxide 3 %")
    page.keyboard.press("Tab")
    page.keyboard.type("reagent")
    page.keyboard.press("Tab")
    page.keyboard.type("cabinet")
    enter()
    expect(page.get_by_role("heading", name="Peroxide 3 %")).to_be_visible()
    tab_to("A note about it")
    enter()
    page.get_by_label("name").first.focus()
    page.keyboard.type("Opened")
    page.keyboard.press("Tab")
    page.keyboard.type("Opened today.")
    tab_to("Write it down")
    enter()
    expect(page.get_by_text("Opened today.")).to_be_visible()
    # the figure
    tab_to("Scales")
    enter()
    tab_to("Scale from")
    enter()
    tab_to("Measured counts")
    told = page.locator(".figure output")
    seen = set()
    for key in ("ArrowRight", "ArrowRight", "Shift+ArrowRight", "End", "Home"):
        page.keyboard.press(key)
        seen.add(told.inner_text())
    assert len(seen) == 5
    assert all(re.search(r"[\d.]+ ± [\d.]+ keV · .* counts? · model .* · residual .*σ", words) for words in seen)
    tab_to("closer")
    page.keyboard.press("Enter")
    with Book.open(demo_copy) as book:
        assert book.current(Note)[0].body.text == "Opened today."
        assert book.current(Stock)[0].name == "Peroxide 3 %"


def test_figure_on_the_phone(demo_copy, serve, open_page, picture):
    with Book.open(demo_copy) as book:
        scale = book.current(Scale)[0].id
    address = serve(demo_copy)
    page = open_page(address, **PHONE)
    page.goto(f"{address}/scales/{scale}")
    figure = page.get_by_role("application")
    figure.click(position={"x": 120, "y": 100})
    first = page.locator(".figure output").inner_text()
    assert "keV" in first
    page.get_by_label("Components of the model").uncheck()
    page.get_by_label("plain").check()
    page.get_by_role("button", name="closer").click()
    figure.click(position={"x": 300, "y": 100})
    assert page.locator(".figure output").inner_text() != first
    picture(page, "phone-figure")


def test_a_reading_from_the_phone(empty_book, serve, open_page, picture):
    address = serve(empty_book)
    page = open_page(address, **PHONE)
    page.goto(f"{address}/plan")
    page.get_by_label("Name of the batch").fill("By phone")
    page.get_by_role("button", name="Keep it in the book").click()
    height = page.get_by_role("textbox", name="current, A").bounding_box()["height"]
    assert height >= 60, "fields for gloved fingers are large"
    page.get_by_role("textbox", name="current, A").fill("1,19")
    page.get_by_role("textbox", name="voltage, V").fill("2,2")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_role("cell", name="1.19")).to_be_visible()
    # a slip of the finger: the correction takes its place, the slip stays in the book
    page.get_by_role("textbox", name="current, A").fill("1.21")
    page.get_by_text("Another time, a remark, a correction").click()
    page.get_by_label("In place of reading no.").fill("1")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_role("cell", name="1.21")).to_be_visible()
    expect(page.get_by_role("cell", name="1.19")).to_have_count(0)
    picture(page, "phone-run")
    # what a logger writes meanwhile appears by itself
    with Book.open(empty_book) as book:
        batch = book.current(Batch)[0]
        later = datetime.now() + timedelta(hours=1)
        add_readings(book, batch.id, [NewReading(later, current_a=1.234, voltage_v=2.2)])
    page.get_by_role("textbox", name="current, A").fill("1.2")
    expect(page.get_by_role("cell", name="1.234")).to_be_visible(timeout=15_000)
    assert page.get_by_role("textbox", name="current, A").input_value() == "1.2", "what was being typed stays"


def test_the_tour(empty_book, serve, open_page, picture):
    page = open_page(serve(empty_book))
    page.get_by_role("link", name="Take the tour").click()
    page.get_by_role("button", name="Fill the invented book").click()
    page.wait_for_url("**/invented/?stop=1", timeout=60_000)
    stops = 1
    while page.get_by_role("link", name="Next:").count():
        page.get_by_role("link", name="Next:").click()
        stops += 1
        assert "Tour, stop" in page.locator(".strip").first.inner_text()
        picture(page, f"tour-{stops}")
    assert stops == 9
    page.get_by_role("link", name="Leave the tour").click()
    expect(page.get_by_text("This book is empty")).to_be_visible()
    expect(page.get_by_text("New here?")).to_have_count(0)
    with Book.open(empty_book) as book:
        assert book.count() == {}


def test_a_file_can_be_dropped(demo_copy, serve, open_page, counts):
    page = open_page(serve(demo_copy))
    page.get_by_role("link", name="A new count").click()
    carried = page.evaluate_handle(
        """text => { const carried = new DataTransfer();
        carried.items.add(new File([text], "dropped.csv", { type: "text/csv" })); return carried; }""",
        counts["room"].read_text(),
    )
    place = page.locator(".drop")
    place.dispatch_event("dragover", {"dataTransfer": carried})
    expect(place).to_have_class(re.compile("over"))
    place.dispatch_event("drop", {"dataTransfer": carried})
    page.get_by_label("Only keep it").check()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="dropped.csv")).to_be_visible()


def test_forms_work_without_the_pages_script(demo_copy, serve, browser):
    address = serve(demo_copy)
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/plan")
    page.get_by_role("textbox", name="pieces").fill("2")
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_text("These rods: 1830")).to_be_visible()
    page.goto(f"{address}/records/new/note")
    page.get_by_label("name").first.fill("Without script")
    page.get_by_label("text").first.fill("It is kept.")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("It is kept.")).to_be_visible()
    context.close()
