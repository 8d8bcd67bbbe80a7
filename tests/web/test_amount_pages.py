"""How much is in a sample, and what one's own source holds: asked on pages, kept, printed, worked out again."""

from __future__ import annotations

import re
import threading
from datetime import date
from pathlib import Path

import pypdfium2
import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from truekev.book.body import Value
from truekev.book.book import Book
from truekev.book.things import Source
from truekev.book.work import Result, SpectrumFile
from truekev.job.book_assay import ASSAYED
from truekev.job.book_own_source import OWN_SOURCE, OwnSourceAsked, keep_as_source, own_source_in_book
from truekev.job.book_results import recomputed
from truekev.job.book_sample import CountAsked, sample_text
from truekev.sheets.for_record import sheet_for
from truekev.sheets.html import sheet_html
from truekev.sources.settings import read_source_text
from truekev.web.app import create_app

HERE = "http://127.0.0.1:8361"
HOSTILE = """<script>alert(1)</script>"'><img src=x onerror=alert(2)>"""


@pytest.fixture
def client(demo_copy):
    with TestClient(create_app(demo_copy), base_url=HERE) as found:
        yield found


def _asked(client, address: str) -> dict[str, str]:
    """The form's fields as the page fills them."""
    page = client.get(address).text
    form = page[page.index(f'action="{address.partition("?")[0]}"') :]
    inputs = re.findall(r'<input[^>]* name="([\w.]+)"[^>]* value="([^"]*)"', form)
    given = {name: value for name, value in inputs if 'type="checkbox"' not in name}
    for name, options in re.findall(r'<select[^>]* name="([\w.]+)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(r'value="([^"]*)"', options)
        given[name] = chosen[1]
    given.pop("later", None)
    given["form_token"] = re.search(r'name="form_token" value="([^"]+)"', page)[1]
    return given


def _answered(client, address: str, fields: dict[str, str]) -> str:
    """The page of the answer once the work has ended; its address is that of the record."""
    started = client.post(address, data=fields, follow_redirects=False)
    assert started.status_code == 303, started.text
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(120)
    return client.get(started.headers["location"]).text


def _record(book: Path, question: str) -> int:
    with Book.open(book) as opened:
        return next(one.id for one in opened.current(Result) if one.body.question == question)


def _spectrum(book: Path, name: str) -> int:
    with Book.open(book) as opened:
        return opened.current(SpectrumFile, name)[0].id


def test_an_assay_is_asked_kept_and_printed(client, demo_copy):
    spectrum = _spectrum(demo_copy, "Rods, one hour")
    assert f"/how-much?spectrum={spectrum}" in client.get(f"/spectra/{spectrum}").text
    fields = _asked(client, f"/how-much?spectrum={spectrum}")
    assert fields["thing_id"], "the book knows what was counted"
    fields |= {"distance_mm": "10", "distance_mm.u": "1", "nuclides": "Th-228 part, Cs-137", "plan": "800"}
    page = _answered(client, "/how-much", fields)
    assert "Recognised: " in page
    assert "Not recognised (detection limit " in page
    assert all(words in page for words in ("decision threshold", "coverage, shortest", "These figures clear nothing"))
    assert "count for" in page
    assert "--detector" not in page
    assert "Background Room without rods: " in page, "the book's name of it, not that of a file that is gone"
    number = _record(demo_copy, ASSAYED)
    picture = client.get(f"/answers/{number}/figure.png")
    assert picture.content.startswith(b"\x89PNG")
    # the sheet, as page and as PDF
    sheet = client.get(f"/sheets/{number}").text
    assert "Assay of a sample" in sheet
    assert "Characteristic limits (ISO 11929-1)" in sheet
    pdf = pypdfium2.PdfDocument(client.get(f"/sheets/{number}/pdf").content)
    assert "Assay of a sample" in pdf[0].get_textpage().get_text_range()
    pdf.close()
    for place in (f"/records/{number}", "/sheets", "/how-much", f"/spectra/{spectrum}"):
        assert f"/{number}" in client.get(place).text, place
    with Book.open(demo_copy) as book:
        assert recomputed(book, number).same


def test_a_limit_out_of_reach_does_not_withhold_the_activity(client, demo_copy):
    fields = _asked(client, f"/how-much?spectrum={_spectrum(demo_copy, 'Rods, one hour')}")
    page = _answered(client, "/how-much", fields | {"thing_id": "", "nuclides": "Cs-137", "plan": "0.001"})
    assert "is not reached by counting longer" in page
    assert "decision threshold" in page


def test_a_known_source_tells_of_its_place(client, demo_copy):
    fields = _asked(client, f"/how-much?spectrum={_spectrum(demo_copy, 'Rods, one hour')}")
    page = _answered(client, "/how-much", fields | {"thing_id": "", "known": "Th-228", "known_bq": "30000"})
    assert "of its activity" in page, re.findall(r"role=\"alert\">(.*?)</p>", page)
    assert "<h2>Th-228 part</h2>" in page, "the nuclide that was named, not its progeny"
    again = re.search(r'href="(/how-much\?distance_mm=[^"]+)"', page)[1].replace("&amp;", "&")
    filled = client.get(again).text
    extra = re.search(r'name="extra_distance_mm" [^>]*value="([-0-9.]+)"', filled)
    assert float(extra[1]) != 0.0
    assert re.search(r'name="distance_mm" [^>]*value="100"', filled)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"nuclides": "Xx-1"}, "is not known"),
        ({"nuclides": HOSTILE}, "is not known"),
        ({"distance_mm": "-3"}, "below zero"),
        ({"distance_mm": ""}, "value and its standard uncertainty"),
        ({"distance_mm": "", "distance_mm.u": ""}, "a number with its uncertainty is needed"),
        ({"distance_mm": "1e400"}, "is not a number"),
        ({"thing_id": "", "form": "cylinder"}, "needs diameter"),
        (
            {"thing_id": "", "form": "cylinder", "diameter_mm": "10", "height_mm": "10", "mass_g": "500"},
            "more than solid soil has",
        ),
        ({"thing_id": "", "form": "cylinder", "material": "../../etc/passwd", "diameter_mm": "1", "height_mm": "1"},
         "is not known"),
        ({"thing_id": "", "form": HOSTILE}, "Input should be"),
        ({"thing_id": "9999"}, "none of those offered"),
        ({"spectrum": ""}, "choose one"),
        ({"spectrum": "1"}, "none of those offered"),
        ({"spectrum": HOSTILE}, "is not the number of a record"),
        ({"n_rods": "2.5"}, "no number of rods"),
        ({"n_rods": "0"}, "no number of rods"),
        ({"plan": "-1"}, "above zero"),
        ({"plan": HOSTILE}, "is not a number"),
        ({"known": "Cs-137"}, "give the activity"),
        ({"known_bq": "100"}, "name the nuclide"),
        ({"known": "tungsten K X-rays", "known_bq": "100"}, "has no activity"),
        ({"alpha": "60"}, "above 49"),
        ({"coverage": "100"}, "above 99.99"),
        ({"back": "-1"}, "greater than or equal to 0"),
        ({"u_efficiency": "200"}, "above 99"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_beside_its_field(client, demo_copy, wrong, said):
    fields = _asked(client, f"/how-much?spectrum={_spectrum(demo_copy, 'Rods, one hour')}") | wrong
    answer = client.post("/how-much", data=fields)
    assert answer.status_code == 400
    beside = re.findall(r'<p class="wrong" id="f-([\w-]+)-wrong"[^>]*>(.*?)</p>', answer.text)
    assert any(said in words for _, words in beside), beside
    assert len(beside) == len({name for name, _ in beside})
    for name, _ in beside:
        assert f'aria-describedby="f-{name}-wrong"' in answer.text, name
    assert "<script>alert" not in answer.text
    assert client.post("/how-much", data={"form_token": fields["form_token"]}).status_code == 400


def test_an_empty_book_says_what_comes_first(empty_book):
    with TestClient(create_app(empty_book), base_url=HERE) as client:
        for address in ("/how-much", "/my-source"):
            page = client.get(address)
            assert page.status_code == 200
            assert "add the count first" in page.text


def test_what_my_own_source_holds(client, demo_copy):
    spectrum = _spectrum(demo_copy, "Rods, one hour")
    fields = _asked(client, f"/my-source?spectrum={spectrum}")
    with Book.open(demo_copy) as book:
        rods = book.current(Source, "Rod bundle, drawer 3")[0]
    assert fields["thing_id"] == str(rods.id)
    page = _answered(client, "/my-source", fields)
    assert "Ra-228 over Th-228" in page
    assert "Ages that agree" in page
    assert "Its lines over ten years" in page
    number = _record(demo_copy, OWN_SOURCE)
    assert client.get(f"/answers/{number}/figure.png").content.startswith(b"\x89PNG")
    assert "Record of one&#x27;s own source" in client.get(f"/sheets/{number}").text
    assert client.get(f"/sheets/{number}/pdf").content.startswith(b"%PDF")
    # the source record: to download, and to keep in place of what was reckoned from the class of the rods
    file = client.get(f"/answers/{number}/source.toml")
    assert "attachment" in file.headers["content-disposition"]
    found = read_source_text(file.text, file="downloaded")
    assert found.history is not None
    with Book.open(demo_copy) as book:
        answer = book.get_as(number, Result).body.answer
        assert recomputed(book, number).same
    assert found.history.activities_bq["Th-228"] == pytest.approx(answer["thorium"]["best_estimate"]["value"], rel=1e-3)
    token = {"form_token": fields["form_token"]}
    kept = client.post(f"/answers/{number}/keep", data=token, follow_redirects=False)
    assert kept.status_code == 303
    with Book.open(demo_copy) as book:
        anew = book.current(Source, "Rod bundle, drawer 3")[0]
        assert anew.supersedes == rods.id
        assert anew.body.description == file.text
    assert "What is in it on" in client.get(kept.headers["location"]).text
    assert "what it holds (record" in client.get(f"/sheets/{anew.id}").text
    again = client.post(f"/answers/{number}/keep", data=token)
    assert again.status_code == 400
    assert "described by this answer already" in again.text
    # and calibration takes it
    scale = client.post(f"/spectra/{spectrum}/scale", data=token | {"then": "relock"}, follow_redirects=False)
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(120)
    assert "Re-lock with Rods, one hour" in client.get(scale.headers["location"]).text


def test_counts_before_after_later_and_sealed(demo_copy):
    with Book.open(demo_copy) as book:
        rods = book.current(Source, "Rod bundle, drawer 3")[0].id
        first, cold = (book.current(SpectrumFile, name)[0].id for name in ("Rods, one hour", "Rods, a cold morning"))
        sample = sample_text("rods", 10.0, 1.0, {})
        before = CountAsked(first, sample, rods)
        after = own_source_in_book(
            book,
            OwnSourceAsked(
                CountAsked(cold, sample, rods),
                before=before,
                separated=date(2026, 3, 10),
                sealed_id=first,
                oxide_mass_g=Value(value=2.2, u=0.1, unit="g"),
            ),
        )
        answer = after.body.answer
        # The same rods twice: as many counts, no radon lost, and no radium either. Counting and the fit bring a tenth
        # to each: 14 % to the ratio.
        assert answer["gain_over_rods"]["Tl-208 583 keV"] == pytest.approx(1.0, abs=0.2)
        assert answer["radon_escape"]["value"] == pytest.approx(0.0, abs=3 * answer["radon_escape"]["u"] + 0.05)
        assert answer["radium_kept"]["interval"][1] > 0.9
        assert answer["purity"][0] < answer["purity"][1]
        assert recomputed(book, after.id).same
        assert "radium kept" in sheet_html(sheet_for(book, str(after.id), date(2026, 11, 25)))
        later = own_source_in_book(book, OwnSourceAsked(before, later_ids=(cold,)))
        assert "ages" in later.body.answer
        assert {one.id for one in later.body.inputs} >= {first, cold, rods}
        assert recomputed(book, later.id).same


def test_a_point_of_unknown_body_becomes_a_new_source(client, demo_copy):
    fields = _asked(client, f"/my-source?spectrum={_spectrum(demo_copy, 'Rods, one hour')}") | {"thing_id": ""}
    page = _answered(client, "/my-source", fields)
    assert "Keep it as a source" in page
    number = _record(demo_copy, OWN_SOURCE)
    token = {"form_token": fields["form_token"]}
    for wrong, said in (({"place": "shelf"}, "needs a name"), ({"name": HOSTILE}, "needs a name and a place")):
        answer = client.post(f"/answers/{number}/keep", data=token | wrong)
        assert answer.status_code == 400
        assert said in answer.text
        assert "<script>alert" not in answer.text
    kept = client.post(f"/answers/{number}/keep", data=token | {"name": "Rods, counted", "place": "shelf A"})
    assert "Rods, counted" in kept.text
    with Book.open(demo_copy) as book:
        assert book.current(Source, "Rods, counted")[0].body.place == "shelf A"
        assay = next(one.id for one in book.current(Result) if one.body.question != OWN_SOURCE)
        with pytest.raises(ValueError, match="answers another question"):
            keep_as_source(book, assay)
    assert client.post(f"/answers/{assay}/keep", data=token).status_code == 400
    assert client.get(f"/answers/{assay}/source.toml").status_code == 400


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"separated": "2030-01-01"}, "comes after the count"),
        ({"separated": "soon"}, "is no day"),
        ({"oxide_mass_g": "2", "oxide_mass_g.u": "0"}, "must be above zero"),
        ({"oxide_mass_g": "2", "oxide_mass_g.u": ""}, "value and its standard uncertainty"),
        ({"later": "x"}, "is not the number of a record"),
        ({"later": "9999"}, "choose among"),
        ({"before": "SELF"}, "the count above itself"),
        ({"sealed": "SELF"}, "the count above itself"),
        ({"before": "OTHER", "before_distance_mm": "-1"}, "below zero"),
        ({"on": HOSTILE}, "is no day"),
    ],
)
def test_what_is_wrong_about_my_own_source(client, demo_copy, wrong, said):
    numbers = {"SELF": "Rods, one hour", "OTHER": "Rods, a cold morning"}
    wrong = {name: str(_spectrum(demo_copy, numbers[v])) if v in numbers else v for name, v in wrong.items()}
    fields = _asked(client, f"/my-source?spectrum={_spectrum(demo_copy, 'Rods, one hour')}") | wrong
    answer = client.post("/my-source", data=fields)
    assert answer.status_code == 400
    beside = re.findall(r'<p class="wrong" id="f-([\w-]+)-wrong"[^>]*>(.*?)</p>', answer.text)
    assert any(said in words for _, words in beside), beside


def test_a_new_user_clicks_from_tonight_to_the_printed_sheet(demo_copy, serve, open_page, picture):
    page = open_page(serve(demo_copy))
    page.get_by_role("link", name=re.compile("How much is in it")).click()
    page.get_by_label("spectrum").select_option(index=2)
    page.get_by_label("source, rods or find").select_option(index=1)
    distance = page.get_by_label("distance from the housing's front to its nearest point", exact=True)
    distance.fill("-3")
    page.get_by_label("nuclides").fill("Th-228 part, Cs-137")
    page.keyboard.press("Enter")  # from the keyboard alone
    expect(page.get_by_text("below zero").first).to_be_visible()
    assert page.get_by_label("nuclides").input_value() == "Th-228 part, Cs-137"
    picture(page, "amounts-1-wrong")
    page.get_by_role("link", name=re.compile("below zero")).click()
    distance.fill("10")
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url(re.compile(r"/answers/\d+$"), timeout=120_000)
    expect(page.get_by_role("heading", name="Th-228 part", exact=True)).to_be_visible()
    page.get_by_role("img", name=re.compile("Cs-137: best estimate")).scroll_into_view_if_needed()
    assert page.evaluate("[...document.images].every((i) => i.complete && i.naturalWidth > 0)")
    picture(page, "amounts-2-answer")
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    picture(page, "amounts-3-phone")
    page.get_by_role("link", name="The sheet", exact=True).click()
    expect(page.get_by_role("heading", name="Assay of a sample")).to_be_visible()
    link = page.get_by_role("link", name="Print: the same sheet as PDF").get_attribute("href")
    assert (
        page.request.get(link if link.startswith("http") else page.url.split("/sheets")[0] + link).body()[:4] == b"%PDF"
    )

    page.get_by_role("link", name="Tonight").click()
    page.get_by_role("link", name=re.compile("What does my own source hold")).click()
    page.get_by_label("spectrum", exact=True).select_option(index=2)
    page.get_by_label("source or rods").select_option(index=2)
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url(re.compile(r"/answers/\d+$"), timeout=120_000)
    expect(page.get_by_role("heading", name="What was found")).to_be_visible()
    picture(page, "amounts-4-own-source-phone")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    # every field of both forms has a name that is read out
    for address in ("/how-much", "/my-source"):
        page.goto(page.url.split("/answers")[0].split("/how-much")[0] + address)
        nameless = page.evaluate(
            "[...document.querySelectorAll('main input:not([type=hidden]), main select, main textarea')]"
            ".filter((e) => !e.labels.length && !e.getAttribute('aria-label')).map((e) => e.name)"
        )
        assert nameless == []
