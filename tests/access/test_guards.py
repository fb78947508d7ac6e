"""The door: foreign host names, other sites' pages, large bodies, and the headers that every answer carries."""

from collections.abc import Iterator
from uuid import uuid4

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.datastructures import Headers
from starlette.testclient import TestClient

from server.access.guards import SECURITY_HEADERS, comes_from_elsewhere, host_name
from server.app import create_app
from server.records.tables import JournalEntry
from server.settings import Settings


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    """An application that takes a megabyte at most, with a page that fails; its tests count from where they begin."""
    folder = tmp_path_factory.mktemp("house")
    settings = Settings(data=folder, database_url="", allowed_hosts=["testserver"], log_level="error", upload_most_mb=1)
    app = create_app(settings)

    @app.get("/fails")
    def fails() -> None:
        raise ZeroDivisionError

    return app


@pytest.fixture(scope="module")
def visitor(house: FastAPI) -> Iterator[TestClient]:
    with TestClient(house, raise_server_exceptions=False, follow_redirects=False) as client:
        yield client


def machine(**more: str) -> dict[str, str]:
    """What the form for a new machine sends; each time a machine of its own."""
    return {"tag": f"TM-{uuid4().hex[:12]}", "model": "Merle 40", **more}


def written(house: FastAPI) -> int:
    with house.state.store.reading() as session:
        return len(session.exec(select(JournalEntry.seq)).all())


# ---- Host: a page of elsewhere that has its own name point here (DNS rebinding) ----


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("127.0.0.1", "127.0.0.1"),
        ("127.0.0.1:8181", "127.0.0.1"),
        ("LocalHost:1", "localhost"),
        ("[::1]", "::1"),
        ("[::1]:8181", "::1"),
        ("localhost.evil.example", "localhost.evil.example"),
        ("evil.example@127.0.0.1", ""),
        ("127.0.0.1/evil", ""),
        ("[::1", ""),
        ("::1", ""),
        ("127.0.0.1:port", ""),
        ("127.0.0.1 ", ""),
        ("", ""),
    ],
)
def test_a_host_is_read_without_its_port(header: str, name: str) -> None:
    """And what is no plain host is none."""
    assert name == host_name(header)


@pytest.mark.parametrize("host", ["testserver", "TESTSERVER:8181", "testserver:1"])
def test_the_house_answers_to_its_own_names(visitor: TestClient, host: str) -> None:
    """Whatever the port and the case."""
    assert visitor.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "testserver.evil.example", "127.0.0.1", "[::1]:8181", "", "[x"])
def test_another_host_name_is_refused(house: FastAPI, visitor: TestClient, host: str) -> None:
    """The page says nothing of the record, and a form posted to it writes nothing."""
    before = written(house)
    read = visitor.get("/", headers={"Host": host})
    sent = visitor.post("/machines/new", data=machine(), headers={"Host": host})

    assert (read.status_code, sent.status_code) == (400, 400)
    assert "does not answer to that host name" in read.text
    assert before == written(house)


def test_addresses_in_brackets_are_known_however_they_are_set(settings: Settings) -> None:
    """`::1` and `[::1]` are the same setting."""
    for name in ("::1", "[::1]"):
        with TestClient(create_app(settings.model_copy(update={"allowed_hosts": [name]}))) as client:
            assert client.get("/", headers={"Host": "[::1]:8181"}).status_code == 200


# ---- Sec-Fetch-Site and Origin: a page of elsewhere that posts a form here ----


@pytest.mark.parametrize(
    ("headers", "elsewhere"),
    [
        ({}, False),
        ({"Sec-Fetch-Site": "same-origin"}, False),
        ({"Sec-Fetch-Site": "none"}, False),
        ({"Sec-Fetch-Site": "same-site"}, True),
        ({"Sec-Fetch-Site": "cross-site"}, True),
        ({"Sec-Fetch-Site": "anything new"}, True),
        ({"Sec-Fetch-Site": "cross-site", "Origin": "http://testserver"}, True),
        ({"Origin": "http://testserver"}, False),
        ({"Origin": "HTTP://TestServer"}, False),
        ({"Origin": "http://testserver:9999"}, True),
        ({"Origin": "http://evil.example"}, True),
        ({"Origin": "http://testserver.evil.example"}, True),
        ({"Origin": "null"}, True),
        ({"Origin": "http://[::1"}, True),
        ({"Origin": "testserver"}, True),
    ],
)
def test_a_write_from_another_sites_page_is_refused(
    house: FastAPI, visitor: TestClient, headers: dict[str, str], elsewhere: bool
) -> None:
    """By what the browser says of where it comes from; a program that is no browser says nothing."""
    before = written(house)
    answer = visitor.post("/machines/new", data=machine(), headers=headers)

    assert (403 if elsewhere else 303) == answer.status_code
    assert before + (not elsewhere) == written(house)
    assert elsewhere is comes_from_elsewhere(Headers({"Host": "testserver", **headers}))


def test_reading_from_another_sites_link_is_no_write(visitor: TestClient) -> None:
    """A link in a letter or on a page leads here as links do."""
    assert visitor.get("/", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_the_port_belongs_to_the_origin(visitor: TestClient) -> None:
    """Another program's page on this machine is elsewhere too."""
    own = {"Host": "testserver:8181", "Origin": "http://testserver:8181"}
    other = {"Host": "testserver:8181", "Origin": "http://testserver:3000"}

    assert visitor.post("/machines/new", data=machine(), headers=own).status_code == 303
    assert visitor.post("/machines/new", data=machine(), headers=other).status_code == 403


# ---- Size ----


def test_a_body_that_says_it_is_too_large_is_refused(house: FastAPI, visitor: TestClient) -> None:
    """Before it is read."""
    before = written(house)
    answer = visitor.post("/machines/new", data=machine(provenance="x" * 1_000_001))

    assert (answer.status_code, written(house)) == (413, before)
    assert "too large" in answer.text


def test_a_body_that_grows_too_large_is_refused(house: FastAPI, visitor: TestClient) -> None:
    """Though it did not say how large it is."""

    def pieces() -> Iterator[bytes]:
        yield b"tag=TM-03&model=Merle&provenance="
        for _ in range(11):
            yield b"x" * 100_000

    before = written(house)
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = visitor.post("/machines/new", content=pieces(), headers=headers)

    assert (answer.status_code, written(house)) == (413, before)


@pytest.mark.parametrize("what", ["photographs", "files"])
def test_a_form_with_files_may_be_ten_times_as_large(visitor: TestClient, what: str) -> None:
    """So that one file which is too large costs no other; other addresses have no more than they had."""
    headers = {"Content-Type": "multipart/form-data; boundary=x"}

    def answered(address: str, size: int) -> int:
        return visitor.post(address, content=b"x" * size, headers=headers).status_code

    where = f"/machines/none/{what}/on/machine"
    assert answered(where, 2_000_000) != 413
    assert answered(where, 10_000_001) == 413
    assert answered("/machines/new", 2_000_000) == 413


@pytest.mark.parametrize("length", ["-1", "1e9", "²", "9" * 30])
def test_a_length_that_is_none_upsets_nothing(visitor: TestClient, length: str) -> None:
    """It is either no number, or a number that is too large."""
    headers = {"Content-Length": length.encode("latin-1")}

    answer = visitor.post("/machines/new", data=machine(), headers=headers)  # type: ignore[arg-type]
    assert answer.status_code in (303, 413)


# ---- Headers ----


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/", 200),
        ("/machines/new", 200),
        ("/machines/nobody", 404),
        ("/nothing/here", 404),
        ("/static/css/putback.css", 200),
        ("/static/none.css", 404),
        ("/machines/new/", 307),
        ("/fails", 500),
        ("/api/v1/openapi.json", 200),
    ],
)
def test_every_answer_carries_the_security_headers(visitor: TestClient, path: str, status: int) -> None:
    """Pages, files, redirects, refusals, and the program's own faults."""
    answer = visitor.get(path)

    assert status == answer.status_code
    assert SECURITY_HEADERS.items() <= {name: answer.headers.get(name) for name in SECURITY_HEADERS}.items()


def test_refusals_at_the_door_carry_them_too(visitor: TestClient) -> None:
    """A foreign host, a foreign page, a body too large."""
    answers = [
        visitor.get("/", headers={"Host": "evil.example"}),
        visitor.post("/machines/new", headers={"Origin": "null"}),
        visitor.post("/machines/new", data={"x": "x" * 1_000_001}),
        visitor.delete("/"),
    ]

    assert [answer.status_code for answer in answers] == [400, 403, 413, 405]
    assert all(name in answer.headers for answer in answers for name in SECURITY_HEADERS)


def test_the_policy_lets_nothing_in_from_elsewhere(visitor: TestClient) -> None:
    """Scripts, styles, pictures and forms are the house's own; nobody frames it."""
    policy = dict(part.split(" ", 1) for part in visitor.get("/").headers["Content-Security-Policy"].split("; "))

    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert {policy[f"{kind}-src"] for kind in ("script", "style", "img", "font", "connect")} == {"'self'"}
    assert policy["form-action"] == "'self'"


def test_an_unknown_machine_is_a_page_with_a_way_on(visitor: TestClient) -> None:
    """To the shelf, and to entering it."""
    answer = visitor.get("/machines/TM-99")

    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert "There is no machine “TM-99”." in answer.text
    assert 'href="/"' in answer.text
    assert 'href="/machines/new"' in answer.text


@pytest.mark.parametrize(
    "path", ["/machines/%00", "/machines/%ED%A0%80", "/machines/" + "x" * 5000, "/machines/%2e%2e"]
)
def test_an_odd_address_is_not_found(visitor: TestClient, path: str) -> None:
    """And is no fault of the program's."""
    answer = visitor.get(path)

    assert answer.status_code == 404
    assert len(answer.content) < 20_000
