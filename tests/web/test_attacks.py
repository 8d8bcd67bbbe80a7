"""Hostile input: script and SQL in every field, bombs, path tricks, impossible numbers: refused or harmless."""

from __future__ import annotations

import gzip
import re
import time
import zlib
from html.parser import HTMLParser

import numpy as np
import pytest
from starlette.testclient import TestClient
from tests.support.books import random_book

from truekev.book.book import Book
from truekev.book.check import check_book
from truekev.spectra.n42_write import n42_bytes
from truekev.spectra.spectrum import Spectrum
from truekev.web.app import create_app
from truekev.web.record_form import FORM_KINDS, fields_of

HERE = "http://127.0.0.1:8361"
SCRIPT = (
    """<script>alert(1)</script>"'><img src=x onerror=alert(2)>"""
    "{{7*1910101}}${7*1910101}</textarea><svg/onload=alert(3)>"
)
SQL = "'; DROP TABLE records; -- \" OR 1=1"
PLACES = (
    "/",
    "/records",
    "/shelf",
    "/sources",
    "/batches",
    "/spectra",
    "/scales",
    "/sheets",
    "/forecast",
    "/plan",
    "/spectra/new",
    "/how-much",
    "/my-source",
    "/emit",
    "/align",
)


class _Page(HTMLParser):
    """Notes what a browser would run or fetch from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        own = str(given.get("src", "")).startswith("/static/")
        if tag == "script" and not own and given.get("type") != "application/json":
            self.found.append(f"script {given}")
        if tag in ("iframe", "object", "embed", "base"):
            self.found.append(tag)
        for name, value in attrs:
            if name.startswith("on") or name == "style" or "javascript:" in str(value).lower():
                self.found.append(f"{tag} {name}={value}")
            if name in ("src", "href", "action", "formaction") and re.match(r"(?i)(https?:)?//", str(value)):
                self.found.append(f"{tag} {name}={value}")


def harmless(answer) -> None:
    """No fault, and nothing in the page that a browser would run."""
    assert answer.status_code < 500, answer.text[:2000]
    if answer.headers["content-type"].startswith("text/html"):
        page = _Page()
        page.feed(answer.text)
        assert page.found == []
        assert "13370707" not in answer.text


@pytest.fixture
def client(empty_book):
    with TestClient(create_app(empty_book), base_url=HERE) as made:
        made.book = empty_book
        yield made


def token_in(client) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', client.get("/records/new/note").text)[1]


def send(client, address, fields, **more):
    return client.post(address, data=dict(fields) | {"form_token": token_in(client)}, **more)


def _filled(book_path, kind: str, text: str) -> dict[str, str]:
    """Every field of the form of a kind: hostile text wherever text can stand, else something that can be."""
    given = {"answer.word": text, "answer.nuclide": "", "supersedes": ""}
    with Book.open(book_path) as book:
        for field in fields_of(book, kind, {}):
            match field.form:
                case "line" | "prose":
                    given[field.name] = text
                case "choice":
                    given[field.name] = field.choices[-1][0]
                case "record" | "records":
                    given[field.name] = field.choices[0][0] if field.choices else ""
                case "day":
                    given[field.name] = "2026-03-01"
                case "moment":
                    given[field.name] = "2026-03-01T10:00"
                case "shares":
                    given[field.name] = "Th = 1"
    given.pop("answer.word")
    return given


@pytest.mark.parametrize("text", [SCRIPT, SQL], ids=["script", "sql"])
def test_hostile_text_in_every_field_of_every_kind(client, text):
    # a batch by hand, so that what refers to one can be written too
    plan = {**_plan_fields(client), "name": text}
    assert send(client, "/plan/keep", plan).status_code == 200
    for kind in (*FORM_KINDS, *FORM_KINDS):
        answer = send(client, f"/records/new/{kind}", _filled(client.book, kind, text))
        harmless(answer)
    with Book.open(client.book) as book:
        written = set(book.count())
        last = book.lines(limit=1)[0].id
    assert written >= set(FORM_KINDS) - {"departure", "upkeep", "authority"}
    for place in PLACES:
        harmless(client.get(place))
    for number in range(1, last + 1):
        for page in (f"/records/{number}", f"/records/{number}/correct", f"/sheets/{number}", f"/sources/{number}",
                     f"/batches/{number}", f"/records/{number}/file"):  # fmt: skip
            harmless(client.get(page))
    shown = client.get("/records").text
    assert ("&lt;script&gt;" in shown) or ("DROP TABLE" in shown)
    with Book.open(client.book) as book:
        assert check_book(book).whole


def _plan_fields(client) -> dict[str, str]:
    page = client.get("/plan").text
    inputs = re.findall(r'<input[^>]* name="([\w.]+)"[^>]* value="([^"]*)"', page)
    choices = re.findall(r'<select[^>]* name="([\w.]+)".*?<option value="([^"]*)" selected', page, re.S)
    return {name: value for name, value in (*inputs, *choices) if name not in ("form_token", "stock_ids")}


@pytest.mark.parametrize("text", [SCRIPT, SQL], ids=["script", "sql"])
def test_hostile_text_in_readings_plans_vials_and_withdrawals(client, text):
    plan = _plan_fields(client)
    for name in plan:
        harmless(send(client, "/plan/results", plan | {name: text}))
        harmless(send(client, "/plan", plan | {name: text}))
    batch = send(client, "/plan/keep", plan).url.path.rsplit("/", 1)[1]
    for name in ("current_a", "at", "remark", "supersedes"):
        harmless(send(client, f"/batches/{batch}/readings", {"current_a": "1.2", name: text}))
    harmless(send(client, f"/batches/{batch}/end", {"ended_on": text}))
    harmless(send(client, f"/batches/{batch}/end", {"remarks": text, "ended_on": "2026-12-01T10:00"}))
    harmless(send(client, f"/records/{batch}/withdraw", {"why": text}))
    harmless(send(client, f"/records/{batch}/withdraw", {"why": text * 500}))
    plain = {"file": ("a.csv", "\n".join(f"{i},3" for i in range(100)).encode())}
    for name in (
        "name",
        "number",
        "role",
        "instrument_id",
        "thing_ids",
        "sample_id",
        "place",
        "temperature",
        "remarks",
    ):
        for sent in (text, text * 500):
            fields = {"then": "keep", name: sent, "temperature.u": "1", "form_token": token_in(client)}
            harmless(client.post("/spectra/new", data=fields, files=plain))
    harmless(send(client, f"/recoveries/{batch}/vial", {"name": text}))
    harmless(send(client, "/forecast", {"words": text, "reach_percent": "1", "resolution_percent": "8"}))
    for page in ("/lines?names=", "/dose?activity=1&word=", "/limits?unit=", "/peroxide?volume_ml=", "/records?kind=",
                 "/shelf?on=", "/?stop=", "/sheets/shelf?on=", "/sheets/shelf?which=",
                 "/spectra/new?then=", "/how-much?spectrum=", "/how-much?nuclides=", "/my-source?spectrum=",
                 "/emit?words=", "/emit?on="):  # fmt: skip
        harmless(client.get(page + text.replace("#", "%23").replace("&", "%26")))


@pytest.mark.parametrize(
    "name", [SCRIPT, SQL, "../../../etc/passwd", "C:\\windows\\x.csv", "a\x00b.csv", "x" * 500, "\u202egpj.exe"]
)
def test_hostile_file_names_and_texts_in_files(client, name, counts):
    token = token_in(client)
    answer = client.post(
        "/spectra/new", data={"form_token": token, "then": "keep"}, files={"file": (name, counts["room"].read_bytes())}
    )
    harmless(answer)
    document = n42_bytes(Spectrum(np.ones(64), live_time_s=10.0, title="title & more")).replace(
        b"title &amp; more", b"&lt;script&gt;alert(4)&lt;/script&gt;"
    )
    answer = client.post("/spectra/new", data={"form_token": token, "then": "keep"}, files={"file": (name, document)})
    harmless(answer)
    harmless(client.get("/spectra"))
    picture = b"\x89PNG\r\n\x1a\n" + SCRIPT.encode()
    answer = client.post(
        "/pictures/new", data={"form_token": token, "caption": SCRIPT}, files={"file": (name, picture)}
    )
    harmless(answer)
    with Book.open(client.book) as book:
        last = book.lines(limit=1)[0].id
    stored = client.get(f"/records/{last}/file")
    assert stored.headers["x-content-type-options"] == "nosniff"
    assert "html" not in stored.headers["content-type"]


BOMB = b'<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "aaaaaaaaaa">' + b"".join(
    b'<!ENTITY %c "%s">' % (c, b"&%c;" % (c - 1) * 10) for c in range(ord("b"), ord("k"))
)
BOMBS = {
    "entities": BOMB + b"]><RadInstrumentData>&j;</RadInstrumentData>",
    "file-entity": b'<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]><RadInstrumentData>&f;</RadInstrumentData>',
    "deep": b"<a>" * 200_000,
    "gzip": gzip.compress(bytes(50_000_000), 9),
    "zlib": zlib.compress(bytes(50_000_000), 9),
    "zip": b"PK\x03\x04" + bytes(1000),
    "zeros": n42_bytes(Spectrum(np.ones(64)))
    .replace(b"<ChannelData", b'<ChannelData compressionCode="CountedZeroes"', 1)
    .replace(b">1 1 1", b">0 4000000000 0 4000000000 1", 1),
    "nothing": b"",
    "noise": bytes(range(256)) * 300,
    "long-line": b"1," * 3_000_000,
    "channels": b"1\n" * 2_000_000,
}  # fmt: skip


@pytest.mark.parametrize("bomb", BOMBS)
def test_bombs_are_refused_at_once(client, bomb):
    start = time.process_time()
    answer = client.post("/spectra/new", data={"form_token": token_in(client)}, files={"file": ("a.n42", BOMBS[bomb])})
    assert time.process_time() - start < 8.0
    assert answer.status_code == 400, answer.text
    harmless(answer)
    with Book.open(client.book) as book:
        assert book.count() == {}


@pytest.mark.parametrize(
    "path",
    ["/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2fguard.py", "/static//etc/passwd", "/static/%00",
     "/static/book.css%00.js", "/..%2f..%2fetc%2fpasswd", "/sheets/..%2f..%2fetc%2fpasswd", "/sheets/..%2fx/pdf",
     "/records/new/..%2fnote", "/records/../../etc/passwd", "/invented/static/../../guard.py",
     "/templates/base.html", "/lines?names=/etc/passwd", "/lines?names=../../x.toml",
     "/dose?activity=1&nuclide=/etc/passwd"],
)  # fmt: skip
def test_no_path_leads_to_the_disk(client, path):
    answer = client.get(path)
    assert answer.status_code in (200, 400, 404), answer.status_code
    harmless(answer)
    assert "root:" not in answer.text
    assert "def " not in answer.text
    if path.startswith(("/static", "/..", "/templates", "/invented")):
        assert answer.status_code == 404


@pytest.mark.parametrize(
    "word", ["/etc/passwd", "../lab.toml", "x.toml", "rods:/etc/passwd", "vial:x.toml", "a:b:c", "~/x:1Bq"]
)
def test_a_source_is_never_a_file(client, word):
    fields = {"words": word, "reach_percent": "1", "resolution_percent": "8"}
    answer = send(client, "/forecast", fields)
    assert answer.status_code == 400
    files = {"file": ("a.csv", b"channel,counts\n" + b"".join(b"%d,3\n" % i for i in range(100)))}
    answer = client.post("/spectra/new", data={"form_token": token_in(client), "nuclide": word}, files=files)
    assert answer.status_code == 400


@pytest.mark.parametrize(
    "text",
    ["9" * 30, "-1", "0", "1e400", "nan", "٣", "1.5", "0x10", "%F0%9F%A6%86", "null", "9999-12-31", "0001-01-01"],
)
def test_impossible_numbers_and_days(client, text):
    for page in ("/records/", "/spectra/", "/scales/", "/sources/", "/batches/", "/work/", "/forecast/", "/sheets/"):
        harmless(client.get(page + text))
    for query in ("/records?skip=", "/spectra?skip=", "/shelf?on=", "/sheets/shelf?on=", "/sheets/moving/pdf?on=",
                  "/plan?stock=", "/lines?names=K-40&least=", "/limits?background=",
                  "/dose?word=thorium-vial&activity=",
                  "/peroxide?volume_ml=", "/?stop="):  # fmt: skip
        harmless(client.get(query + text))


def test_numbers_that_cannot_be_in_a_plan(client):
    plan = _plan_fields(client)
    for name, value in plan.items():
        if re.fullmatch(r"[\d.]+", value):
            for text in ("-1", "0", "nan", "inf", "1e308", "1e-308", "1e400", ""):
                harmless(send(client, "/plan/results", plan | {name: text}))


def test_random_book_with_hostile_words(tmp_path):
    random_book(tmp_path / "random.book", np.random.default_rng(7)).close()
    with TestClient(create_app(tmp_path / "random.book"), base_url=HERE) as client:
        with Book.open(tmp_path / "random.book") as book:
            lines = book.lines(limit=10_000, only_current=False)
        for place in PLACES:
            harmless(client.get(place))
        own = {"spectrum": "spectra", "scale": "scales", "relock": "scales", "source": "sources", "batch": "batches"}
        for line in lines:
            harmless(client.get(f"/records/{line.id}"))
            harmless(client.get(f"/sheets/{line.id}"))
            harmless(client.get(f"/{own.get(line.kind, 'forecast')}/{line.id}"))
