"""Sources compared on a page; the answer is kept, and can be worked out again."""

from __future__ import annotations

import re
import threading

from starlette.testclient import TestClient

from truekev.book.book import Book
from truekev.book.things import Instrument
from truekev.book.work import Result
from truekev.job.book_forecast import FORECAST
from truekev.job.book_results import recomputed
from truekev.web.app import create_app


def _finished(client, answer) -> str:
    for thread in threading.enumerate():
        if thread.name.startswith("work-"):
            thread.join(60)
    return client.get(answer.headers["location"]).text


def test_sources_are_compared_and_the_answer_is_kept(demo_copy):
    with TestClient(create_app(demo_copy), base_url="http://127.0.0.1:8361") as client, Book.open(demo_copy) as book:
        page = client.get("/forecast").text
        assert "Rod bundle, drawer 3" in page
        assert "Gas mantles" not in page  # nothing is known of what is in them
        token = re.search(r'name="form_token" value="([^"]+)"', page)[1]
        fields = {
            "words": "Cs-137:10kBq\n", "only_these": "yes", "reach_percent": "5", "resolution_percent": "8",
            "instrument_id": str(book.current(Instrument)[0].id), "form_token": token,
        }  # fmt: skip
        shown = _finished(client, client.post("/forecast", data=fields, follow_redirects=False))
        assert "Cs-137, 10kBq" in shown
        assert "Counting time to 5 %" in shown
        assert "--detector" not in shown, "a page does not speak of the command line's options"
        (kept,) = (result for result in book.current(Result) if result.body.question == FORECAST)
        assert f"/forecast/{kept.id}" in client.get("/forecast").text
        assert recomputed(book, kept.id).same
        assert [client.get(f"/forecast/{n}").status_code for n in (1, 9999)] == [400, 400]
        # what cannot be compared is told at once, or on the page of the work
        for wrong, said in (
            ({"words": ""}, "0 sources"),
            ({"words": "Cs-137:10kBq\n" * 7}, "7 sources"),
            ({"reach_percent": "x"}, "is not a number"),
        ):
            answer = client.post("/forecast", data=fields | wrong)
            assert answer.status_code == 400
            assert said in answer.text
        answer = client.post("/forecast", data=fields | {"reach_percent": "0.1"}, follow_redirects=False)
        assert "it must lie above 0.15 %" in _finished(client, answer)
