"""Two servers on one book, a book that can only be read, books that cannot be opened, work that is stopped."""

from __future__ import annotations

import json
import re
import sqlite3
import sys
import threading
from datetime import datetime

import numpy as np
import pytest
from starlette.testclient import TestClient

from truekev.book import book as book_module
from truekev.book.book import Book
from truekev.book.layout import LAYOUT
from truekev.book.spectra import add_spectrum, stored_spectrum
from truekev.book.things import Source
from truekev.book.work import Batch, Note, Recovery, Result, Scale, SpectrumFile
from truekev.cli.app import main
from truekev.errors import InputError
from truekev.job.book_control import CONTROL, counts_of_source
from truekev.job.book_identify import IDENTIFIED
from truekev.job.book_results import PLAN
from truekev.spectra.columns_write import columns_text
from truekev.spectra.spectrum import Spectrum
from truekev.web import work as work_module
from truekev.web.app import create_app
from truekev.web.pages import spectra as spectra_pages
from truekev.web.server import Server

HERE = "http://127.0.0.1:8361"


def client_of(book) -> TestClient:
    return TestClient(create_app(book), base_url=HERE)


def post(client, address, fields, **more):
    token = re.search(r'name="form_token" value="([^"]+)"', client.get("/records/new/note").text)[1]
    return client.post(address, data=fields | {"form_token": token}, **more)


def test_two_servers_on_one_book(empty_book):
    with client_of(empty_book) as one, client_of(empty_book) as other:
        for i in range(5):
            assert post(one, "/records/new/note", {"name": f"one {i}", "text": "x"}).status_code == 200
            assert post(other, "/records/new/note", {"name": f"other {i}", "text": "x"}).status_code == 200
        assert one.get("/records").text.count("other ") == 5
        assert other.get("/records").text.count("one ") == 5
        # both correct the same record: the second is told, and nothing is lost
        first = {"name": "corrected", "text": "by one", "supersedes": "1"}
        assert post(one, "/records/new/note", first).status_code == 200
        late = post(other, "/records/new/note", first | {"text": "by other"})
        assert late.status_code == 409
        assert "superseded" in late.text
    with Book.open(empty_book) as book:
        assert len(book.current(Note)) == 10
        assert book.newest(1).body.text == "by one"


def test_writing_from_many_threads(empty_book):
    with client_of(empty_book) as client:

        def write(i: int) -> None:
            answers.append(post(client, "/records/new/note", {"name": f"note {i}", "text": "x"}).status_code)

        answers: list[int] = []
        threads = [threading.Thread(target=write, args=(i,)) for i in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert answers == [200] * 8
    with Book.open(empty_book) as book:
        assert len(book.current(Note)) == 8


def test_a_book_that_can_only_be_read(demo_copy, monkeypatch):
    monkeypatch.setattr(book_module, "can_write", lambda path: False)
    before = demo_copy.read_bytes()
    with client_of(demo_copy) as client:
        page = client.get("/shelf")
        assert page.status_code == 200
        assert "can be read here, not written" in page.text
        answer = post(client, "/records/new/note", {"name": "a note", "text": "x"})
        assert "opened for reading only" in answer.text
        assert "nothing was written" in answer.text
        # nobody waits for an answer that could not be kept
        asked = {"words": "Cs-137:10kBq", "reach_percent": "5", "resolution_percent": "8"}
        assert post(client, "/forecast", asked).status_code == 409
    assert demo_copy.read_bytes() == before


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (lambda path: _newer(path), "written by a newer truekev"),
        (lambda path: path.write_bytes(path.read_bytes()[:5000]), "cut short"),
        (lambda path: path.write_bytes(b"not a book" * 100), "not a bench book"),
        (lambda path: path.unlink(), "truekev book new"),
    ],
    ids=["newer", "truncated", "other-file", "missing"],
)
def test_books_that_cannot_be_opened(empty_book, harm, said, capsys, monkeypatch):
    harm(empty_book)
    with pytest.raises(InputError, match=said):
        create_app(empty_book)
    monkeypatch.setattr(sys, "argv", ["truekev", "serve", "--book", str(empty_book), "--port", "0"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.splitlines()) == 1


def _newer(path) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute(f"PRAGMA user_version = {LAYOUT + 1}")
    connection.close()


def _started(client, counts):
    files = {"file": ("rods.csv", counts["rods"].read_bytes())}
    answer = post(
        client, "/spectra/new", {"word": "thoriated-rods", "then": "calibrate"}, files=files, follow_redirects=False
    )
    assert answer.status_code == 303
    return answer.headers["location"]


def test_work_is_stopped_and_keeps_nothing(empty_book, counts, monkeypatch):
    begun, go_on = threading.Event(), threading.Event()

    def slow(book, spectrum_id, words, *, made_on, progress):
        progress(0.5, "half-way")
        begun.set()
        go_on.wait(10)
        progress(0.6, "never said")
        book.add(Note(name="never written", text="x"))

    monkeypatch.setattr(spectra_pages, "calibrate_in_book", slow)
    with client_of(empty_book) as client:
        work = _started(client, counts)
        assert begun.wait(10)
        assert client.get(f"{work}/state").json() == {"state": "running", "share": 0.5, "what": "half-way"}
        assert "Under way" in client.get("/shelf").text
        assert post(client, f"{work}/stop", {}).status_code == 200
        go_on.set()
        _ended(client, work)
        page = client.get(work)
        assert "It was stopped. Nothing of it was kept." in page.text
    with Book.open(empty_book) as book:
        assert book.count() == {"spectrum": 1}


def _ended(client, work) -> str:
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(60)
    return client.get(f"{work}/state").json()["state"]


def test_refusals_and_faults_of_work_are_told(empty_book, counts, monkeypatch, caplog):
    with client_of(empty_book) as client:
        flat = b"channel,counts\n" + b"".join(b"%d,50\n" % i for i in range(1024))
        answer = post(
            client, "/spectra/new", {"word": "thoriated-rods", "then": "calibrate"}, files={"file": ("flat.csv", flat)},
            follow_redirects=False,
        )  # fmt: skip
        work = answer.headers["location"]
        assert _ended(client, work) == "failed"
        page = client.get(work).text
        assert "Refused." in page
        assert "/spectra/1" in page

        def faulty(*_args, **_more):
            raise ZeroDivisionError

        monkeypatch.setattr(spectra_pages, "calibrate_in_book", faulty)
        work = _started(client, counts)
        assert _ended(client, work) == "failed"
        assert "a fault of the program" in client.get(work).text
        assert "broke off" in caplog.text
    with Book.open(empty_book) as book:
        assert book.current(Scale) == ()


def test_too_much_work_at_once_is_refused(empty_book):
    list_of = work_module.WorkList()
    go_on = threading.Event()

    def wait(report):
        go_on.wait(10)
        report(1.0, "done")
        return "/"

    works = [list_of.start(f"work {i}", wait) for i in range(8)]
    with pytest.raises(Exception, match="waiting already"):
        list_of.start("one more", wait)
    list_of.stop_all()
    go_on.set()
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(10)
    assert {work.state for work in works} == {"stopped"}


def test_a_form_with_a_mistake_comes_back_filled(demo_copy):
    with client_of(demo_copy) as client, Book.open(demo_copy) as book:
        batch, recovery = book.current(Batch)[0].id, book.current(Recovery)[0].id
        book.add(book.get_as(batch, Batch).body.model_copy(update={"ended_on": None}), supersedes=batch)
        typed = {"current_a": "1,25", "voltage_v": "9999", "remark": "odd"}
        page = post(client, f"/batches/{batch}/readings", typed)
        assert page.status_code == 400
        assert "voltage_v 9999" in page.text
        assert all(f'value="{text}"' in page.text for text in typed.values())
        typed = {"name": "Vial no. 2", "place": "shelf A", "fill_height_mm": "1.5", "inner_diameter_mm": "wide"}
        page = post(client, f"/recoveries/{recovery}/vial", typed)
        assert page.status_code == 400
        assert "inner diameter" in page.text
        assert all(f'value="{text}"' in page.text for text in typed.values())
        page = post(client, "/spectra/new", {"name": "kept words", "then": "keep"}, files={"file": ("x.csv", b"no")})
        assert page.status_code == 400
        assert 'value="kept words"' in page.text
        assert len(book.current(SpectrumFile)) == 3


def test_a_result_is_worked_out_again(demo_copy):
    with client_of(demo_copy) as client, Book.open(demo_copy) as book:
        plan = next(result for result in book.current(Result) if result.body.question == PLAN)
        other = book.add(plan.body.model_copy(update={"answer": plan.body.answer | {"end": "never"}}))
        for number, said in ((plan.id, "the same figures"), (other.id, "the figures are not the same")):
            answer = post(client, f"/records/{number}/again", {}, follow_redirects=False)
            assert _ended(client, answer.headers["location"]) == "done"
            assert said in client.get(answer.headers["location"]).text


def test_serve_says_where_and_warns_where_others_can_reach_it(empty_book, capsys, monkeypatch):
    monkeypatch.setattr(Server, "run", lambda self: None)
    monkeypatch.setenv("TRUEKEV_PASSWORD", "given by hand")
    own = _serve(monkeypatch, capsys, empty_book)
    assert "open http://127.0.0.1:" in own[0]
    assert own[1] == ""
    out, err = _serve(monkeypatch, capsys, empty_book, "--listen", "0.0.0.0", "--allow-host", "bench.local", "--json")
    assert [a for a in json.loads(out)["addresses"] if a.startswith("http://bench.local:")]
    assert err.startswith("Warning: everybody in this network")
    assert "given by hand" not in err


def _serve(monkeypatch, capsys, book, *words) -> tuple[str, str]:
    monkeypatch.setattr(sys, "argv", ["truekev", "serve", "--book", str(book), "--port", "0", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    assert not ended.value.code
    out, err = capsys.readouterr()
    return out, err


def test_what_is_in_a_spectrum(demo_copy):
    with client_of(demo_copy) as client, Book.open(demo_copy) as book:
        cold = book.current(SpectrumFile)[0]
        answer = post(client, f"/spectra/{cold.id}/what", {"distance": "10", "distance.u": "1"}, follow_redirects=False)
        assert _ended(client, answer.headers["location"]) == "done"
        page = client.get(answer.headers["location"]).text
        assert "Th-228 part" in page
        assert "--background-scale" not in page
        amounts = re.search(r'href="(/how-much[^"]+)"', page)[1].replace("&amp;", "&")
        assert re.search(r'name="nuclides" value="[^"]*Th-228 part', client.get(amounts).text)
        kept = next(result for result in book.current(Result) if result.body.question == IDENTIFIED)
        # the room was counted at another gain: it comes with the scale of its own day
        assert [book.get(one.id).kind for one in kept.body.inputs] == ["spectrum", "relock", "spectrum", "scale"]
        assert f"/answers/{kept.id}" in client.get(f"/spectra/{cold.id}").text
        assert client.get(f"/answers/{cold.id}").status_code == 400
        for wrong in ({"distance": "-1", "distance.u": "1"}, {"form": "cylinder"}, {"form": "x", "material": "../x"}):
            assert post(client, f"/spectra/{cold.id}/what", wrong).status_code == 400


def test_no_scale_no_answer(empty_book, counts):
    with client_of(empty_book) as client:
        files = {"file": ("rods.csv", counts["rods"].read_bytes())}
        assert post(client, "/spectra/new", {"then": "keep"}, files=files).status_code == 200
        answer = post(client, "/spectra/1/what", {}, follow_redirects=False)
        assert _ended(client, answer.headers["location"]) == "failed"
        assert "its energies are not known" in client.get(answer.headers["location"]).text


def test_counts_of_a_source_are_charted(demo_copy):
    with client_of(demo_copy) as client, Book.open(demo_copy) as book:
        rods = book.current(Source, "Rod bundle, drawer 3")[0]
        first = next(record for record in counts_of_source(book, rods.id) if record.name == "Rods, one hour")
        counts = np.asarray(stored_spectrum(book, first.id).counts)
        rng = np.random.default_rng(4)
        for month in range(1, 5):
            again = Spectrum(rng.poisson(counts).astype(float), live_time_s=3600.0, start=datetime(2026, 5, month, 9))
            add_spectrum(
                book, columns_text(again).encode(), f"month-{month}.csv", instrument_id=first.body.instrument_id,
                thing_ids=(rods.id,), background_id=first.body.background_id,
            )  # fmt: skip
        assert len(counts_of_source(book, rods.id)) == 6
        assert "month-4.csv" in client.get(f"/sources/{rods.id}").text
        answer = post(client, f"/sources/{rods.id}/charts", {}, follow_redirects=False)
        assert _ended(client, answer.headers["location"]) == "done", client.get(answer.headers["location"]).text
        page = client.get(answer.headers["location"]).text
        assert all(f"{name}:" in page for name in ("Gain", "Resolution", "Strength"))
        kept = next(result for result in book.current(Result) if result.body.question == CONTROL)
        charts = {chart["name"]: chart["scores"] for chart in kept.body.answer["charts"]}
        # the second count, on the cold morning, had its gain moved by +1.8 %
        assert max(map(abs, charts["gain"])) == abs(charts["gain"][1])
        # a source that was never counted
        vial = book.current(Source, "Thoria vial no. 1")[0]
        answer = post(client, f"/sources/{vial.id}/charts", {}, follow_redirects=False)
        assert _ended(client, answer.headers["location"]) == "failed"
        assert "No dated count" in client.get(answer.headers["location"]).text
