"""What a source gives off, and slices of a long count: asked on pages, answered, kept."""

from __future__ import annotations

import re
import threading
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from truekev.book.book import Book
from truekev.book.spectra import stored_spectrum
from truekev.book.things import Instrument, Source, Stock
from truekev.book.work import Result, Scale, SpectrumFile
from truekev.job.book_align import ALIGNED
from truekev.job.book_emit import GIVEN_OFF
from truekev.job.book_results import recomputed
from truekev.spectra.columns_write import columns_text
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import Spectrum
from truekev.web.app import create_app
from truekev.web.guard import LARGEST_FORM_BYTES

HERE = "http://127.0.0.1:8361"
N_SLICES = 6
DRIFT = 0.03


@pytest.fixture
def client(demo_copy):
    with TestClient(create_app(demo_copy), base_url=HERE) as found:
        yield found


def _token(client) -> dict[str, str]:
    return {"form_token": re.search(r'name="form_token" value="([^"]+)"', client.get("/emit").text)[1]}


def _answered(client, address: str, fields: dict[str, str], **more) -> str:
    started = client.post(address, data=_token(client) | fields, follow_redirects=False, **more)
    assert started.status_code == 303, re.findall(r'class="wrong"[^>]*>(.*?)</p>', started.text)
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(120)
    return client.get(started.headers["location"]).text


def _kept(path: Path, question: str) -> int:
    with Book.open(path) as book:
        return next(one.id for one in book.current(Result) if one.body.question == question)


def _slices(path: Path) -> list[Spectrum]:
    """An invented night: the hour of rods in slices, thinned to their share, the gain rising by 3 % in all."""
    rng = np.random.default_rng(20261125)
    with Book.open(path) as book:
        counts = np.asarray(stored_spectrum(book, book.current(SpectrumFile, "Rods, one hour")[0].id).counts)
    below = np.concatenate(([0.0], np.cumsum(counts)))
    edges = np.arange(below.size, dtype=float)
    made = []
    for number in range(N_SLICES):
        gain = 1.0 + DRIFT * (number / (N_SLICES - 1) - 0.5)
        mean = np.diff(np.interp(edges / gain, edges, below)) / N_SLICES
        start = datetime(2026, 3, 2, 20) + timedelta(minutes=10 * number)
        made.append(Spectrum(rng.poisson(mean).astype(float), live_time_s=600.0, real_time_s=600.0, start=start))
    return made


def test_what_a_source_of_the_book_gives_off(client, demo_copy):
    with Book.open(demo_copy) as book:
        rods = book.current(Source, "Rod bundle, drawer 3")[0]
    assert f"/emit?thing_id={rods.id}" in client.get(f"/sources/{rods.id}").text
    form = client.get(f"/emit?thing_id={rods.id}&on=2026-11-25").text
    assert f'value="{rods.id}" selected' in form
    page = _answered(client, "/emit", {"thing_id": str(rods.id), "on": "2026-11-25"})
    assert "2614.5" in page
    assert "Tl-208" in page
    assert "bremsstrahlung" in page
    assert '<svg class="chart"' in page
    assert "--" not in re.sub(r"<[^>]*>", "", page)
    number = _kept(demo_copy, GIVEN_OFF)
    assert f"/answers/{number}" in client.get(f"/records/{number}").text
    with Book.open(demo_copy) as book:
        assert recomputed(book, number).same


def test_what_a_source_in_words_gives_off(client, demo_copy):
    page = _answered(client, "/emit", {"words": "Cs-137:10kBq", "on": "2026-11-25"})
    assert "661.7" in page
    # 0.851 photons per decay (DDEP), and nothing absorbed in a point
    assert re.search(r"<td class=\"number\">85\d\d ± ", page)
    assert "per second and Bq of its head" in _answered(client, "/emit", {"word": "potassium-salt"})
    with Book.open(demo_copy) as book:
        stock = next(one for one in book.current(Stock) if one.body.what == "rods")
    assert "2614.5" in _answered(client, "/emit", {"thing_id": str(stock.id), "n_rods": "2"})


@pytest.mark.parametrize(
    ("wrong", "name", "said"),
    [
        ({}, "thing_id", "name one source"),
        ({"word": "potassium-salt", "words": "Cs-137:10kBq"}, "words", "name one source"),
        ({"words": "/etc/passwd"}, "words", "is not known"),
        ({"words": "rods:../../x.toml"}, "words", "write one source"),
        ({"words": "<script>alert(1)</script>"}, "words", "is not known"),
        ({"word": "../x"}, "word", "is not known"),
        ({"word": "potassium-salt", "on": "soon"}, "on", "is no day"),
        ({"thing_id": "99999"}, "thing_id", "none of those offered"),
        ({"word": "potassium-salt", "n_rods": "x"}, "n_rods", "is not a number"),
    ],
)
def test_what_is_wrong_with_a_source(client, wrong, name, said):
    answer = client.post("/emit", data=_token(client) | wrong)
    assert answer.status_code == 400
    assert said in re.search(rf'id="f-{name}-wrong"[^>]*>(.*?)</p>', answer.text)[1]
    assert "<script>alert" not in answer.text


def test_a_night_in_slices_is_set_on_one_gain(client, demo_copy):
    slices = _slices(demo_copy)
    with Book.open(demo_copy) as book:
        scale, instrument = book.current(Scale)[0].id, book.current(Instrument)[0].id
        n_scales = len(book.current(Scale))
    fields = {
        "word": "thoriated-rods", "scale_id": str(scale), "instrument_id": str(instrument), "keep_scale": "yes",
        "temperatures": "\n".join(str(20.0 - number) for number in range(N_SLICES)),
    }  # fmt: skip
    files = [("slices", (f"night-{i}.csv", columns_text(one).encode())) for i, one in enumerate(slices)]
    page = _answered(client, "/align", fields, files=files)
    drift = re.search(r"the gain drifted by ([0-9.]+) ± ([0-9.]+) %", page)
    assert float(drift[1]) == pytest.approx(100 * DRIFT, abs=3 * float(drift[2]) + 0.1)
    assert "With the temperature the gain goes by" in page
    assert "To type into the instrument" in page
    number = _kept(demo_copy, ALIGNED)
    with Book.open(demo_copy) as book:
        total = book.get_as(book.get_as(number, Result).body.about_id, SpectrumFile)
        assert total.body.counts == pytest.approx(sum(one.counts.sum() for one in slices), rel=1e-3)
        assert len(book.current(Scale)) == n_scales + 1
    assert client.get(f"/spectra/{total.id}").status_code == 200
    assert f"/answers/{number}" in client.get("/align").text
    assert "Work it out again" not in client.get(f"/records/{number}").text, "its slices are not in the book"
    again = client.post(f"/records/{number}/again", data=_token(client), follow_redirects=False)
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(60)
    assert "cannot be answered again" in client.get(again.headers["location"]).text


def test_one_file_of_many_measurements(client, demo_copy):
    with Book.open(demo_copy) as book:
        scale, instrument = book.current(Scale)[0].id, book.current(Instrument)[0].id
    fields = {"word": "thoriated-rods", "scale_id": str(scale), "instrument_id": str(instrument)}
    page = _answered(client, "/align", fields, files={"slices": ("../night.n42", n42_bytes(_slices(demo_copy)))})
    assert "the gain drifted by" in page
    assert "No temperature coefficient" not in page


def test_what_is_wrong_with_slices(client, demo_copy):
    one = {"slices": ("a.csv", columns_text(_slices(demo_copy)[0]).encode())}
    for fields, files, name, said in (
        ({"word": "thoriated-rods"}, None, "slices", "no file was sent"),
        ({"word": "thoriated-rods"}, one, "slices", "that is one slice"),
        ({"word": "thoriated-rods"}, {"slices": ("a.csv", b"no spectrum")}, "slices", "a.csv"),
        ({"word": ""}, one, "word", "name what was counted"),
        ({"word": "../x"}, one, "word", "is not known"),
        ({"word": "thoriated-rods", "scale_id": "1"}, one, "scale_id", "none of those offered"),
    ):
        answer = client.post("/align", data=_token(client) | fields, files=files)
        assert answer.status_code == 400
        assert said in re.search(rf'id="f-{name}-wrong"[^>]*>(.*?)</p>', answer.text)[1], said
    many = {"slices": ("night.n42", b"no spectrum " * (LARGEST_FORM_BYTES // 10))}  # more than other forms may hold
    answer = client.post("/align", data=_token(client) | {"word": "thoriated-rods"}, files=many)
    assert answer.status_code == 400
    assert "night.n42" in answer.text
    two = [("slices", (f"{i}.csv", b"\n".join(b"%d,1" % c for c in range(n)))) for i, n in enumerate((64, 128))]
    answer = client.post("/align", data=_token(client) | {"word": "thoriated-rods"}, files=two, follow_redirects=False)
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(60)
    assert "not slices of one count" in client.get(answer.headers["location"]).text


def test_both_by_clicking(demo_copy, serve, open_page, picture, tmp_path):
    page = open_page(serve(demo_copy))
    page.get_by_role("link", name="Reckon").click()
    page.get_by_role("link", name="What a source gives off").click()
    page.get_by_role("button", name="Work it out").click()
    expect(page.get_by_text("name one source").first).to_be_visible()
    page.get_by_label("of this book").select_option(label=_option(page, "Rod bundle"))
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_url(re.compile(r"/answers/\d+$"), timeout=120_000)
    expect(page.get_by_role("region", name="Lines")).to_be_visible()
    picture(page, "emit-1-answer")
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    picture(page, "emit-2-phone")
    page.set_viewport_size({"width": 1280, "height": 900})

    names = []
    for number, one in enumerate(_slices(demo_copy)):
        file = tmp_path / f"night-{number}.csv"
        file.write_text(columns_text(one))
        names.append(file)
    page.get_by_role("link", name="Spectra").click()
    page.get_by_role("link", name="Slices of a long count").click()
    picture(page, "align-1-question")
    page.get_by_label("files of one count").set_input_files(names)
    page.get_by_label("or in a word, or a nuclide").fill("thoriated-rods")
    page.get_by_label("scale whose shape is held").select_option(index=1)
    page.get_by_role("button", name="Align them").click()
    page.wait_for_url(re.compile(r"/answers/\d+$"), timeout=180_000)
    expect(page.get_by_text("the gain drifted by")).to_be_visible()
    picture(page, "align-2-answer")
    page.set_viewport_size({"width": 390, "height": 844})
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("link", name="The aligned sum").click()
    expect(page.locator("canvas")).to_be_visible()


def _option(page, words: str) -> str:
    """The label of the option that holds some words."""
    return next(text for text in page.get_by_label("of this book").locator("option").all_inner_texts() if words in text)
