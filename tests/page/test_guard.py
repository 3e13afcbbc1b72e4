"""Who may ask, how much may come in, what every answer carries (headers: Fetch standard, RFC 9110, CSP 3)."""

from __future__ import annotations

import pytest
from starlette.routing import Route
from starlette.testclient import TestClient

from partscreen.errors import UnusableInput
from partscreen.page.app import build_app
from partscreen.page.guard import HEADERS
from partscreen.page.settings import PageSettings
from tests.page.visitor import BASE

READ_ONLY = ("/", "/types", "/check", "/plan", "/suppliers", "/book", "/stage", "/sheet.css", "/page.js")


@pytest.mark.parametrize("path", READ_ONLY)
@pytest.mark.parametrize(
    "host", ["bench.example", "bench.example:8571", "127.0.0.1", "127.0.0.1:80", "", "127.0.0.1.x.example:8571"]
)
def test_a_foreign_host_header_is_refused(client, path, host):
    answer = client.get(path, headers={"host": host})
    assert answer.status_code == 421
    assert "partscreen page" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1:8571", "localhost:8571", "[::1]:8571"])
def test_this_machines_own_names_are_answered(client, host):
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("path", [*READ_ONLY, "/nothing-here", "/tray/none"])
def test_every_answer_carries_the_headers_of_safety(client, path):
    answer = client.get(path)
    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert "'unsafe" not in answer.headers["content-security-policy"]
    assert "server" not in answer.headers


def test_refusals_carry_the_headers_too(client):
    for answer in (client.get("/", headers={"host": "bench.example"}), client.post("/bring"), client.delete("/")):
        assert answer.status_code in (421, 403, 405)
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS


def post_paths():
    routes = build_app(PageSettings()).app.routes
    paths = [r.path for r in routes if isinstance(r, Route) and "POST" in (r.methods or ())]
    return [path.replace("{tray}", "none") for path in paths]


def test_there_are_forms_to_be_guarded():
    assert len(post_paths()) >= 7


@pytest.mark.parametrize("path", post_paths())
def test_a_form_without_this_runs_token_is_refused(client, path):
    for data in ({}, {"form_token": ""}, {"form_token": "x" * 32}):
        answer = client.post(path, data=data, headers={"origin": BASE})
        assert answer.status_code == 403
        assert "earlier run" in answer.text


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://bench.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
    ],
)
@pytest.mark.parametrize("path", post_paths())
def test_a_post_from_another_site_is_refused_even_with_the_token(visitor, path, headers):
    answer = visitor.post(path, headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_a_post_from_the_page_itself_is_taken(visitor):
    answer = visitor.post("/bring", headers={"origin": BASE, "sec-fetch-site": "same-origin"})
    assert answer.status_code == 422
    assert "PAGE_NO_FILE" in answer.text


def test_more_than_the_limit_is_refused_by_its_stated_length(visitor):
    answer = visitor.post("/bring", files=[("files", ("a.csv", b"x" * (4 << 20)))])
    assert answer.status_code == 413
    assert "3 MiB" in answer.text


def test_more_than_the_limit_is_refused_where_no_length_is_stated(client):
    head = b'--b\r\nContent-Disposition: form-data; name="files"; filename="a.csv"\r\n\r\n'

    def body():
        yield head
        for _ in range(64):
            yield b"x" * 65536

    answer = client.post("/bring", content=body(), headers={"content-type": "multipart/form-data; boundary=b"})
    assert "content-length" not in answer.request.headers
    assert answer.status_code == 413


def test_a_form_with_very_many_fields_or_files_is_refused(visitor):
    answer = visitor.post("/bring", files=[("files", (f"{i}.csv", b"x")) for i in range(61)])
    assert answer.status_code == 400
    answer = visitor.post("/bring", data={f"f{i}": "x" for i in range(4001)}, files=[("files", ("a.csv", b"x"))])
    assert answer.status_code == 400


def test_an_address_that_others_can_reach_needs_a_token_and_a_name():
    with pytest.raises(UnusableInput, match="needs a token"):
        PageSettings("192.168.1.5").checked()
    with pytest.raises(UnusableInput, match="every address"):
        PageSettings("0.0.0.0", token="t" * 32).checked()
    assert PageSettings("0.0.0.0", token="t" * 32, names=("bench.lan",)).checked().hosts == {"bench.lan"}
    assert PageSettings("127.0.0.1").checked().loopback


def test_with_a_token_nothing_is_shown_without_it():
    settings = PageSettings("192.168.1.5", token="t" * 32)
    with TestClient(build_app(settings), base_url="http://192.168.1.5:8571") as client:
        for path in READ_ONLY:
            assert client.get(path).status_code == 403
        assert client.get("/?token=" + "u" * 32).status_code == 403
        assert client.get("/", headers={"host": "127.0.0.1:8571"}).status_code == 421
        entered = client.get("/?token=" + "t" * 32, follow_redirects=False)
        assert entered.status_code == 303
        assert entered.headers["location"] == "/"  # the token does not stay in the address line
        cookie = entered.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert client.get("/types").status_code == 200
