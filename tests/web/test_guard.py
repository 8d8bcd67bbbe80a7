"""Who may ask, from where, and how much: host names, cross-site forms, passwords, sizes, what browsers are told."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from truekev.errors import InputError
from truekev.web.app import create_app
from truekev.web.guard import LARGEST_FILE_BYTES, LARGEST_FORM_BYTES
from truekev.web.server import Server

HERE = "http://127.0.0.1:8361"
NOTE = {"name": "a note", "text": "said"}


def client_of(book: Path, **options) -> TestClient:
    return TestClient(create_app(book, **options), base_url=HERE, follow_redirects=False)


@pytest.fixture
def client(empty_book):
    with client_of(empty_book) as made:
        yield made


def token_in(client) -> str:
    return re.search(r'name="form_token" value="([^"]+)"', client.get("/records/new/note").text)[1]


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8361", "localhost:8361", "LOCALHOST", "[::1]:8361"])
def test_own_names_are_answered(client, host):
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8361", "evil.example#127.0.0.1",
     "127.0.0.1@evil.example", "127.0.0.1/evil", "", "[::1", "127.0.0.1:port", "169.254.169.254"],
)  # fmt: skip
def test_other_hosts_are_refused(client, host):
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "My bench" not in answer.text


def test_a_name_can_be_allowed(empty_book):
    with client_of(empty_book, hosts=["bench.local"]) as client:
        assert client.get("/", headers={"host": "Bench.local:8361"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{"sec-fetch-site": "cross-site"}, {"sec-fetch-site": "same-site"}, {"origin": "http://evil.example"},
     {"origin": "null"}, {"origin": "http://127.0.0.1:9999"}, {"origin": "http://localhost:8361"}],
)  # fmt: skip
def test_cross_site_forms_are_refused(client, headers):
    fields = NOTE | {"form_token": token_in(client)}
    assert client.post("/records/new/note", data=fields, headers=headers).status_code == 403
    assert "a note" not in client.get("/records").text
    own = {"origin": HERE, "sec-fetch-site": "same-origin"}
    assert client.post("/records/new/note", data=fields, headers=own).status_code == 303


@pytest.mark.parametrize("token", ["", "guessed", "ü"])
def test_a_form_needs_the_token_of_this_server(client, token):
    answer = client.post("/records/new/note", data=NOTE | {"form_token": token})
    assert answer.status_code == 409
    assert "open the page again" in answer.text


def test_a_token_of_another_server_does_not_help(client, demo_copy):
    with client_of(demo_copy) as other:
        fields = NOTE | {"form_token": token_in(other)}
    assert client.post("/records/new/note", data=fields).status_code == 409


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(client, method):
    assert client.request(method, "/").status_code == 405


def test_password(empty_book):
    with client_of(empty_book, password="long enough ü") as client:
        assert client.get("/").status_code == 401
        assert client.get("/static/book.css").status_code == 401
        assert client.get("/", headers={"authorization": "Basic !!!"}).status_code == 401
        assert client.get("/", headers={"authorization": "Bearer long enough"}).status_code == 401
        assert client.get("/", auth=("anybody", "wrong")).status_code == 401
        assert client.get("/", auth=("anybody", "long enough ü".encode())).status_code == 200


def test_guessing_passwords_is_slowed_down(empty_book):
    with client_of(empty_book, password="long enough") as client:
        answers = [client.get("/", auth=("x", f"guess {i}")).status_code for i in range(12)]
        assert answers[:10] == [401] * 10
        assert answers[10:] == [429] * 2


def test_what_browsers_are_told(client):
    answer = client.get("/")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    # refusals carry the same
    assert "content-security-policy" in client.get("/", headers={"host": "evil.example"}).headers


def test_forms_that_are_too_large(client):
    token = token_in(client)
    large = {"name": "x", "text": "x" * (LARGEST_FORM_BYTES + 1), "form_token": token}
    assert client.post("/records/new/note", data=large).status_code == 413
    claimed = client.post("/spectra/new", content=b"x", headers={"content-length": str(LARGEST_FILE_BYTES + 1)})
    assert claimed.status_code == 413
    assert client.post("/records/new/note", content=b"", headers={"content-length": "-5"}).status_code == 413


def test_a_body_without_a_stated_length_is_counted(client):
    kind = {"content-type": "application/x-www-form-urlencoded"}
    answer = client.post("/records/new/note", content=iter([b"x" * 100_000] * 30), headers=kind)
    assert answer.status_code == 413


def test_too_many_fields(client):
    fields = {f"field{i}": "x" for i in range(2000)} | {"form_token": token_in(client)}
    assert client.post("/records/new/note", data=fields).status_code == 400


def test_server_needs_a_password_where_others_reach_it(empty_book):
    with Server(empty_book, listen="0.0.0.0", port=0) as server:
        assert server.reachable
        assert server.password_made
        assert len(server.password) >= 12
    with Server(empty_book, port=0) as server:
        assert not server.reachable
        assert server.password == ""
        port = server.socket.getsockname()[1]
        with pytest.raises(InputError, match="another --port"):
            Server(empty_book, port=port)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"listen": "the moon"}, "address"),
        ({"password": "short"}, "too few"),
        ({"listen": "203.0.113.9"}, "cannot be had"),
    ],
)
def test_server_options_that_cannot_be(empty_book, options, said):
    with pytest.raises(InputError, match=said):
        Server(empty_book, port=0, **options)
